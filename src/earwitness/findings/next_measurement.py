"""What to measure next: the take whose outcome is expected to tell most about which causes act.

Where a scene was fitted it foretells outcomes (`findings.next_from_scene`). Where none was, causes are known
by their frequency alone, and each take either shows what a cause foretells or doesn't, as often as the table
says (`findings.next_table`). Then the expected information is the mutual information of cause and outcome,
I = H(c) − Σ P(o)·H(c|o) (C. E. Shannon, 1948; recalled), over the causes in question by their probability.
What was measured already is no candidate; of what tells alike the quickest is proposed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.cause_words import LOST, NAMES
from earwitness.findings.next_from_scene import proposed
from earwitness.findings.next_question import Question
from earwitness.findings.next_question import in_question as open_causes
from earwitness.findings.next_table import COLUMNS, EFFORT_MIN, SHOWS, Possible
from earwitness.findings.outcomes import entropy_bits, information_bits
from earwitness.findings.take_exposure import CLOSE, SILENT, caution, exposure_of
from earwitness.records.causes import Cause, FeatureCauses
from earwitness.records.curves import CurveSet
from earwitness.records.next_measurement import Apart, NextMeasurement, NextTake, Steps
from earwitness.records.responses import Responses
from earwitness.records.sentences import EMPTY, Number, Quoted, Sentence, say

__all__ = [
    "COLUMNS",
    "LEAST_BITS",
    "SHOWS",
    "WORDS",
    "Possible",
    "entropy_bits",
    "in_question",
    "information_bits",
    "named_radiator",
    "next_measurement",
    "settle_sentence",
    "unsettled_sentence",
    "with_exposure",
]

#: A cause is in question between these probabilities; so many at most are.
IN_QUESTION: Final = (0.1, 0.9)
MOST: Final = 3
#: A take that tells less isn't worth the walk, bits; what tells alike within this is tied.
LEAST_BITS, TIED_BITS = 0.1, 0.03


def next_measurement(
    causes: FeatureCauses, possible: Possible, asked: Question | None = None
) -> NextMeasurement | None:
    """The take that tells most; None where nothing is open, or nothing that is left would tell.

    `asked` is the question as the fitted scene has it, where there is one.
    """
    if causes.cannot_tell >= LOST and possible.needs_clock:
        return NextMeasurement(NextTake.SHARED_CLOCK, 0.0, 0.0, ())
    if asked is not None and causes.cannot_tell < LOST:
        return proposed(asked, possible)
    between = in_question(causes)
    if len(between) < 2:
        return None
    odds = np.array([probability for _, probability in between])
    columns = [COLUMNS.index(cause) for cause, _ in between]
    told = {
        take: information_bits(odds, np.array(SHOWS[take])[columns])
        for take in SHOWS
        if take in possible.takes
    }
    most = max(told.values(), default=0.0)
    if most < LEAST_BITS:
        return None
    best = min((take for take in told if told[take] >= most - TIED_BITS), key=lambda take: EFFORT_MIN[take])
    radiators = [one.name for one in possible.near if one.is_port == (best is NextTake.NEAR_PORT)]
    return NextMeasurement(
        best,
        told[best],
        entropy_bits(odds / odds.sum()),
        tuple(cause for cause, _ in between),
        radiator=radiators[0] if best in CLOSE and len(radiators) == 1 else None,
    )


def with_exposure(
    found: NextMeasurement | None, possible: Possible, curves: CurveSet, responses: Responses
) -> NextMeasurement | None:
    """With what it does to ears, where that can be worked out."""
    if found is None:
        return None
    sizes = [one.radius_m for one in possible.near if one.name == found.radiator and one.radius_m]
    return replace(found, exposure=exposure_of(found.take, min(sizes, default=None), curves, responses))


def in_question(causes: FeatureCauses) -> tuple[tuple[Cause, float], ...]:
    """Causes that are neither sure nor out of the question, the likeliest first; none where one is sure."""
    low, high = IN_QUESTION
    ranked = sorted(((each.cause, each.probability) for each in causes.said), key=lambda pair: -pair[1])
    if not ranked or ranked[0][1] > high:
        return ()
    return tuple((cause, p) for cause, p in ranked if p >= low)[:MOST]


def settle_sentence(found: NextMeasurement | None, here: str = "") -> Sentence:
    """In words: ``The impedance … would tell most between … and …``, what is foretold, and the caution.

    `here` is the reference of the measurement.
    """
    if found is None:
        return EMPTY
    said = say(_what(found, here), f" would {_tells(found)}.")
    if found.apart is not None:
        said += _foretold(found.apart, here)
    if found.take in SILENT:
        return said
    return said + say(" ") + caution(found.exposure, f"{here}/exposure")


def unsettled_sentence(causes: FeatureCauses) -> Sentence:
    """Where a scene leaves causes open that no take at hand would settle: which, and why."""
    fitted = any(each.effect_db is not None for each in causes.said)
    open_ = sorted(open_causes(causes), key=lambda one: -one.probability)
    if causes.cannot_tell >= LOST or not fitted or not open_:
        return EMPTY
    names = [NAMES[one.cause] for one in open_]
    return say(
        f"No take at hand would settle whether it is {_or(names)}: what is open lies closer to what "
        "counts than another take could tell."
    )


def _or(names: Sequence[str]) -> str:
    """``one, another or a third``."""
    return " or ".join([part for part in (", ".join(names[:-1]), names[-1]) if part])


def _tells(found: NextMeasurement) -> str:
    if not found.between:
        return "let causes be told at all"
    names = [NAMES[cause] for cause in found.between]
    if len(names) == 1:
        return f"tell most about {names[0]}, for or against"
    return f"tell most between {', '.join(names[:-1])} and {names[-1]}"


def _what(found: NextMeasurement, here: str) -> Sentence:
    if found.steps is not None:
        return _steps(found.steps, f"{here}/steps")
    if found.radiator is not None:
        return named_radiator(found.radiator)
    return say(WORDS[found.take])


def named_radiator(name: str) -> Sentence:
    """The near field of a stated radiator."""
    return say(
        "The near field of the ", Quoted(name.replace("_", " "), "case:unit.radiators"), ", at a low drive,"
    )


def _steps(steps: Steps, here: str) -> Sentence:
    step = quantity(steps.step_deg, "°", f"{here}/step_deg", 0)
    low, high = (angle(getattr(steps, end), f"{here}/{end}") for end in ("low_deg", "high_deg"))
    if steps.new_side:
        return say(
            f"The other side of the {steps.orbit} plane, from ", low, " to ", high, " in steps of ", step, ","
        )
    return say("Steps of ", step, " between ", low, " and ", high, f" in the {steps.orbit} plane")


def _foretold(apart: Apart, here: str) -> Sentence:
    size = abs(apart.difference_db)
    shown = Number(f"{size:.0f} dB", apart.difference_db, f"{here}/apart/difference_db")
    more = "more" if apart.difference_db > 0.0 else "less"
    return say(
        " Foretold at ",
        angle(apart.angle_deg, f"{here}/apart/angle_deg"),
        " and ",
        frequency(apart.frequency_hz, f"{here}/apart/frequency_hz", 2),
        ": ",
        shown,
        f" {more} with {NAMES[apart.cause]} than without.",
    )


def angle(degrees: float, reference: str) -> Number:
    """``+10°``; the axis is ``0°``."""
    text = f"{degrees:+.0f}°" if abs(degrees) >= 0.5 else "0°"
    return Number(text.replace("-", "−"), degrees, reference)


WORDS: Final[Mapping[NextTake, str]] = {
    NextTake.NEAR_DRIVERS: "The near field of each drive unit, at a low drive,",
    NextTake.NEAR_PORT: "The near field of the port, at a low drive,",
    NextTake.IMPEDANCE: "The impedance, looked at for a wrinkle there,",
    NextTake.FINE_VERTICAL: "Steps of five degrees in the vertical plane",
    NextTake.FINE_HORIZONTAL: "Steps of five degrees in the horizontal plane",
    NextTake.FELT: "The same take with felt over the box's edges",
    NextTake.ELSEWHERE: "The take on axis again at another place in the room",
    NextTake.LONGER_GATE: "The take on axis in the open or on a hard floor, with a longer gate,",
    NextTake.CALIBRATION: "A calibration of the microphone, with its uncertainty stated,",
    NextTake.SHARED_CLOCK: "Both orbits again with a loopback, so that all takes share one clock,",
    NextTake.LONGER_SWEEP: "The highest drive with a sweep twice as long, which warms a coil more,",
    NextTake.LOAD: "A load that lasts, with weak probes among it,",
    NextTake.RULER: (
        "A ruler, with each drive unit's diameter and height and the box's sizes stated in the case,"
    ),
    NextTake.DRIVE_AGAIN: "The highest drive again, with the voltage at the terminals measured,",
}
