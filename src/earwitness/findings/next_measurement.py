"""What to measure next: the take whose outcome is expected to tell most about which cause it is.

Each take either shows what a cause foretells or doesn't; how often it shows is stated below for every cause,
after what each mechanism does (the table's own judgement, to a tenth; defined here). The expected information
is the mutual information of cause and outcome, I = H(c) − Σ P(o)·H(c|o) (C. E. Shannon, 1948; recalled), over
the causes that are in question, each by its probability. What was measured already is no candidate, and where
one cause is sure nothing is proposed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.cause_words import LOST, NAMES
from earwitness.records.causes import Cause, FeatureCauses
from earwitness.records.facts import CaseFacts
from earwitness.records.next_measurement import NextMeasurement, NextTake
from earwitness.records.responses import Responses
from earwitness.records.sentences import EMPTY, Sentence, say
from earwitness.records.takes import Orbit

Float64s = npt.NDArray[np.float64]

#: A cause is in question between these probabilities; so many at most are.
IN_QUESTION: Final = (0.1, 0.9)
MOST: Final = 3
#: A take that tells less isn't worth the walk, bits.
LEAST_BITS: Final = 0.1
#: An orbit is fine where neighbouring angles lie no farther apart than this.
FINE_DEG: Final = 5.0
#: The columns of the table below.
COLUMNS: Final = (
    Cause.RESONANCE,
    Cause.EDGE_DIFFRACTION,
    Cause.SPACED_SOURCES,
    Cause.CROSSOVER_MISALIGNMENT,
    Cause.DRIVER_DIRECTIVITY,
    Cause.VOICING,
    Cause.PORT_OR_CAVITY,
    Cause.ARTEFACT,
)
#: How often each take shows the feature (near fields), a wrinkle there (impedance), a dip that moves with the
#: angle as two ways foretell (fine steps), or a change (felt, another place), by cause.
SHOWS: Final[Mapping[NextTake, tuple[float, ...]]] = {
    NextTake.NEAR_DRIVERS: (0.9, 0.1, 0.1, 0.1, 0.1, 0.5, 0.2, 0.1),
    NextTake.NEAR_PORT: (0.2, 0.1, 0.1, 0.1, 0.1, 0.2, 0.9, 0.1),
    NextTake.IMPEDANCE: (0.6, 0.1, 0.1, 0.1, 0.1, 0.1, 0.5, 0.1),
    NextTake.FINE_VERTICAL: (0.1, 0.4, 0.9, 0.9, 0.2, 0.1, 0.1, 0.1),
    NextTake.FINE_HORIZONTAL: (0.1, 0.9, 0.1, 0.1, 0.3, 0.1, 0.2, 0.1),
    NextTake.FELT: (0.1, 0.9, 0.1, 0.1, 0.2, 0.1, 0.1, 0.1),
    NextTake.ELSEWHERE: (0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.9),
}


@dataclass(frozen=True, slots=True)
class Possible:
    """Takes that a case hasn't, and whether it has a port and lacks a common clock."""

    takes: frozenset[NextTake]
    needs_clock: bool

    @classmethod
    def of(cls, responses: Responses, facts: CaseFacts) -> Possible:
        """What is not measured yet; a near field of the port only where one is stated."""
        takes = set(SHOWS)
        near = any(responses.near_field_takes)
        ports = any("port" in str(radiator.name) for radiator in facts.unit.radiators)
        takes -= {NextTake.NEAR_DRIVERS} if near else set()
        takes -= set() if ports and not near else {NextTake.NEAR_PORT}
        takes -= {NextTake.IMPEDANCE} if responses.impedance is not None else set()
        for orbit, take in (
            (Orbit.VERTICAL, NextTake.FINE_VERTICAL),
            (Orbit.HORIZONTAL, NextTake.FINE_HORIZONTAL),
        ):
            takes -= {take} if _is_fine(responses, orbit) else set()
        clock = responses.microphone_m is None or bool(np.isnan(responses.microphone_m).all())
        return cls(frozenset(takes), clock)


def next_measurement(causes: FeatureCauses, possible: Possible) -> NextMeasurement | None:
    """The take that tells most; None where nothing is open, or nothing that is left would tell."""
    if causes.cannot_tell >= LOST and possible.needs_clock:
        return NextMeasurement(NextTake.SHARED_CLOCK, 0.0, 0.0, ())
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
    if not told:
        return None
    best = max(told, key=lambda take: told[take])
    if told[best] < LEAST_BITS:
        return None
    return NextMeasurement(
        best, told[best], entropy_bits(odds / odds.sum()), tuple(cause for cause, _ in between)
    )


def in_question(causes: FeatureCauses) -> tuple[tuple[Cause, float], ...]:
    """Causes that are neither sure nor out of the question, the likeliest first; none where one is sure."""
    low, high = IN_QUESTION
    ranked = sorted(((each.cause, each.probability) for each in causes.said), key=lambda pair: -pair[1])
    if not ranked or ranked[0][1] > high:
        return ()
    return tuple((cause, p) for cause, p in ranked if p >= low)[:MOST]


def information_bits(odds: Sequence[float] | Float64s, shows: Sequence[float] | Float64s) -> float:
    """Mutual information of K causes, by their odds, and an outcome that shows by `shows` for each."""
    prior, shown = np.asarray(odds, dtype=np.float64), np.asarray(shows, dtype=np.float64)
    prior = prior / prior.sum()
    left = 0.0
    for likelihood in (shown, 1.0 - shown):
        joint = prior * likelihood
        if joint.sum() > 0.0:
            left += float(joint.sum()) * entropy_bits(joint / joint.sum())
    return max(entropy_bits(prior) - left, 0.0)


def entropy_bits(probability: Float64s) -> float:
    """−Σ p·log₂ p."""
    some = probability[probability > 0.0]
    return float(-np.sum(some * np.log2(some)))


def settle_sentence(found: NextMeasurement | None) -> Sentence:
    """In words: ``The impedance … would tell most between … and …``."""
    if found is None:
        return EMPTY
    words = WORDS[found.take]
    if not found.between:
        return say(words, " would let causes be told at all.")
    names = [NAMES[cause] for cause in found.between]
    return say(words, f" would tell most between {', '.join(names[:-1])} and {names[-1]}.")


WORDS: Final[Mapping[NextTake, str]] = {
    NextTake.NEAR_DRIVERS: "The near field of each drive unit, at a low drive,",
    NextTake.NEAR_PORT: "The near field of the port, at a low drive,",
    NextTake.IMPEDANCE: "The impedance, looked at for a wrinkle there,",
    NextTake.FINE_VERTICAL: "Steps of five degrees in the vertical plane",
    NextTake.FINE_HORIZONTAL: "Steps of five degrees in the horizontal plane",
    NextTake.FELT: "The same take with felt over the box's edges",
    NextTake.ELSEWHERE: "The take on axis again at another place in the room",
    NextTake.SHARED_CLOCK: "Both orbits again with a loopback, so that all takes share one clock,",
    NextTake.LONGER_SWEEP: "The highest drive with a sweep twice as long, which warms a coil more,",
    NextTake.LOAD: "A load that lasts, with weak probes among it,",
    NextTake.DRIVE_AGAIN: "The highest drive again, with the voltage at the terminals measured,",
}


def _is_fine(responses: Responses, orbit: Orbit) -> bool:
    """Whether an orbit has steps of five degrees about the axis."""
    angles = sorted(
        {
            take.key.direction.angle_deg
            for take in responses.takes
            if take.key.direction is not None and take.key.direction.orbit is orbit
        }
    )
    steps = np.diff([angle for angle in angles if abs(angle) <= 30.0])
    return bool(steps.size) and float(steps.max()) <= FINE_DEG
