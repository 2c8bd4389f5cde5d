"""Statements on figures of merit: what each number says to a listener, and where it is seen.

No statement is made of a figure that isn't available. The order is printed on the page: faults of balance
first, then how evenly the sound spreads, how deep it goes, how it sits in a room, how loud it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.coverage_words import (
    clause_angles,
    clause_edges,
    coverage_sentence,
)
from earwitness.derive.formatting import angle_text
from earwitness.derive.in_room import TREND_BAND_HZ
from earwitness.derive.level_figures import TOLERANCE_BAND_HZ, TOLERANCE_FRACTION
from earwitness.derive.numerals import (
    frequency,
    lost,
    measured,
    measured_size,
    not_determined,
    quantity,
    spread,
)
from earwitness.derive.orbit_figures import AGREEMENT_WARNING_DB
from earwitness.derive.sound_power import SAMPLING_WARNING_DB
from earwitness.derive.wording import band_words
from earwitness.findings.of_figure import of_figure
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.figures import Bound, Figure, FigureName, Plateaus, Quantity, Tolerance
from earwitness.records.findings import Finding, Place
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.sentences import Number, Sentence, Term, say

#: The printed order: a figure's place in it, 1 first.
IMPORTANCE: Final[Mapping[FigureName, float]] = {
    FigureName.TOLERANCE_ON_AXIS: 0.90,
    FigureName.COVERAGE_HORIZONTAL: 0.80,
    FigureName.F6: 0.70,
    FigureName.ORBIT_AGREEMENT: 0.65,
    FigureName.IN_ROOM_TILT: 0.60,
    FigureName.COVERAGE_VERTICAL: 0.55,
    FigureName.SOUND_POWER_SAMPLING: 0.50,
    FigureName.SENSITIVITY: 0.40,
}

#: A place that marks one frequency reaches so far to either side.
MARK_OCTAVES: Final = 1.0 / 6.0


def statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One finding for every figure that has something to say."""
    writers: Mapping[
        FigureName, Callable[[Figure, CurveSet, Mapping[FigureName, Figure]], Finding | None]
    ] = {
        FigureName.TOLERANCE_ON_AXIS: _tolerance,
        FigureName.COVERAGE_HORIZONTAL: _coverage,
        FigureName.COVERAGE_VERTICAL: _coverage,
        FigureName.F6: _extension,
        FigureName.ORBIT_AGREEMENT: _orbits,
        FigureName.IN_ROOM_TILT: _tilt,
        FigureName.SOUND_POWER_SAMPLING: _sampling,
        FigureName.SENSITIVITY: _sensitivity,
    }
    available = {name: figure for name, figure in figures.items() if figure.available}
    found = (
        write(available[name], curves, available) for name, write in writers.items() if name in available
    )
    return tuple(finding for finding in found if finding is not None)


def _tolerance(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding:
    value = figure.value
    assert isinstance(value, Tolerance)
    statement = say("On axis it keeps within ", tolerance_words(figure), ".")
    explanation = say(
        "That is how far the direct sound strays from its own mean from ",
        band_words("derive.level_figures", "TOLERANCE_BAND_HZ", TOLERANCE_BAND_HZ),
        ". ",
    )
    window = available.get(FigureName.TOLERANCE_LISTENING_WINDOW)
    if window is not None:
        explanation += say(
            "Averaged over the listening window it keeps within ", tolerance_words(window), "."
        )
    also = (window.name,) if window else ()
    return of_figure(
        IMPORTANCE[figure.name], figure, statement, explanation, _worst_place(curves, value.reference), *also
    )


def tolerance_words(figure: Figure) -> Sentence:
    """``+1.2 and −2.0 dB, give or take 0.4 dB``."""
    value = figure.value
    assert isinstance(value, Tolerance)
    root = f"figure:{figure.name}/value"
    words = say(
        "+",
        quantity(value.above, "", f"{root}/above"),
        " and −",
        quantity(value.below, "dB", f"{root}/below"),
    )
    if figure.uncertainty is None:
        return words
    return words + say(
        ", give or take ", spread(figure.uncertainty, "dB", f"figure:{figure.name}/uncertainty")
    )


def _worst_place(curves: CurveSet, reference_db: float) -> Place:
    """Where the smoothed on-axis response is farthest from its mean."""
    curve = curves.curves[CurveName.ON_AXIS]
    power = 10.0 ** (0.1 * np.where(curve.valid, curve.level_db, 0.0))
    smooth, valid = smooth_power(power, curve.valid, TOLERANCE_FRACTION, POINTS_PER_OCTAVE)
    low, high = TOLERANCE_BAND_HZ
    inside = valid & (curves.frequency_hz >= low) & (curves.frequency_hz <= high)
    away = np.where(inside, np.abs(10.0 * np.log10(np.where(inside, smooth, 1.0)) - reference_db), -1.0)
    worst = int(np.argmax(away))
    return _about(curves, CurveName.ON_AXIS, float(curves.frequency_hz[worst]))


def _about(curves: CurveSet, name: CurveName, frequency_hz: float) -> Place:
    nearest = int(np.argmin(np.abs(np.log(curves.frequency_hz / frequency_hz))))
    level = float(curves.curves[name].level_db[nearest])
    return Place(
        curve=name,
        band_hz=(frequency_hz * 2.0**-MARK_OCTAVES, frequency_hz * 2.0**MARK_OCTAVES),
        direction="on axis" if name is CurveName.ON_AXIS else None,
        drive=curves.drive,
        level_db=level if np.isfinite(level) else None,
    )


def _coverage(figure: Figure, curves: CurveSet, _: Mapping[FigureName, Figure]) -> Finding | None:
    """The plateau that holds over the widest band, and where the coverage is narrowest."""
    value = figure.value
    assert isinstance(value, Plateaus)
    if not value.clauses:
        return None
    longest, steady = max(enumerate(value.clauses), key=lambda pair: pair[1].to_hz / pair[1].from_hz)
    start, end = clause_edges(figure, longest, steady)
    sideways = figure.name is FigureName.COVERAGE_HORIZONTAL
    reaches = "Sideways it reaches " if sideways else "Up and down it reaches "
    statement = say(reaches, clause_angles(figure, longest, steady), " from ", start, " to ", end)
    marked = (steady.from_hz, steady.to_hz)
    if "narrowest" in figure.also:
        root, at_hz = f"figure:{figure.name}/also", figure.also["narrowest at"]
        angle = Number(angle_text(figure.also["narrowest"]), figure.also["narrowest"], f"{root}/narrowest")
        statement += say(", at its narrowest ", angle, " at ", frequency(at_hz, f"{root}/narrowest at", 2))
        marked = (at_hz, at_hz)
    place = Place(
        curve=str(figure.name),
        band_hz=(marked[0] * 2.0**-MARK_OCTAVES, marked[1] * 2.0**MARK_OCTAVES),
        drive=curves.drive,
    )
    meaning = say("In full: ", coverage_sentence(figure), ". ", _SEATS if sideways else _HEIGHT)
    return of_figure(IMPORTANCE[figure.name], figure, statement + say("."), meaning, place)


_SEATS: Final = (
    "At that angle the sound pressure has fallen to half of that on axis; where the angle narrows, seats to "
    "the side lose that range first."
)
_HEIGHT: Final = "Where that angle is narrow, sitting or standing changes what is heard in that range."


def _extension(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding | None:
    value = figure.value
    if isinstance(value, Bound):
        return _still_there(figure, value, curves)
    if not isinstance(value, Quantity):
        return None
    statement = _reaches(value.value, figure)
    explanation = say("There the response on axis has fallen to half its mean pressure (", Term("F6"), ").")
    others = [available[n] for n in (FigureName.F3, FigureName.F10) if n in available]
    for other in others:
        if isinstance(other.value, Quantity):
            number = _edge(other.value.value, other)
            explanation += say(" ", Term(str(other.name).upper()), " is ", number, ".")
    place = _about(curves, CurveName.ON_AXIS, value.value)
    return of_figure(
        IMPORTANCE[figure.name], figure, statement, explanation, place, *(o.name for o in others)
    )


def _reaches(value_hz: float, figure: Figure) -> Sentence:
    if lost(value_hz, figure.uncertainty):
        return say("How far down bass reaches is ", _edge(value_hz, figure), ".")
    return say("Bass reaches down to ", _edge(value_hz, figure), ".")


def _edge(value_hz: float, figure: Figure) -> Sentence:
    here = f"figure:{figure.name}"
    if figure.uncertainty and lost(value_hz, figure.uncertainty):
        return not_determined(value_hz, figure.uncertainty, "Hz", here)
    return measured(value_hz, figure.uncertainty, "Hz", here)


def _still_there(figure: Figure, value: Bound, curves: CurveSet) -> Finding:
    """What is known of the bass where the response hasn't fallen so far at the lowest valid frequency."""
    lowest = frequency(value.value, f"figure:{figure.name}/value/value")
    statement = say("Bass is still there at ", lowest, ", the lowest frequency that is valid.")
    explanation = say("On axis it hasn't fallen to half its mean pressure (", Term("F6"), ") down to there.")
    return of_figure(
        IMPORTANCE[figure.name],
        figure,
        statement,
        explanation,
        _about(curves, CurveName.ON_AXIS, value.value),
    )


def _tilt(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding | None:
    value = figure.value
    if not isinstance(value, Quantity):
        return None
    falls = "fall" if value.value < 0 else "rise"
    size = measured_size(value.value, figure.uncertainty, "dB", f"figure:{figure.name}")
    statement = say(f"In a room its sound is estimated to {falls} by ", size, " an octave.")
    explanation = say(
        "That is the straight line through what an ordinary room makes of direct sound, early reflections "
        "and sound power together."
    )
    smooth = available.get(FigureName.IN_ROOM_SMOOTHNESS)
    if smooth is not None and isinstance(smooth.value, Quantity):
        number = quantity(smooth.value.value, "dB", f"figure:{smooth.name}/value/value")
        explanation += say(" About that line it strays by ", number, " RMS.")
    place = Place(
        curve=CurveName.ESTIMATED_IN_ROOM,
        band_hz=_inside(curves, CurveName.ESTIMATED_IN_ROOM, TREND_BAND_HZ),
        drive=curves.drive,
    )
    return of_figure(
        IMPORTANCE[figure.name], figure, statement, explanation, place, *((smooth.name,) if smooth else ())
    )


def _sampling(figure: Figure, curves: CurveSet, _: Mapping[FigureName, Figure]) -> Finding | None:
    """A warning, and only where the two estimates part."""
    return _warning(
        figure,
        curves,
        SAMPLING_WARNING_DB,
        CurveName.SOUND_POWER,
        (
            "Two estimates of its sound power part by ",
            "Two orbits don't see the whole sphere. The second estimate fills what lies between them; what "
            "rests on sound power carries the difference as an uncertainty.",
        ),
    )


def _orbits(figure: Figure, curves: CurveSet, _: Mapping[FigureName, Figure]) -> Finding | None:
    """A warning, and only where the two orbits disagree on axis."""
    return _warning(
        figure,
        curves,
        AGREEMENT_WARNING_DB,
        CurveName.ON_AXIS,
        (
            "The two orbits disagree on axis by ",
            "Both measured the same sound there: what differs is the room, the stand, the drive or the unit "
            "itself. Every curve rests on their mean; measure the axis again before relying on it.",
        ),
    )


def _warning(
    figure: Figure, curves: CurveSet, limit_db: float, curve: CurveName, words: tuple[str, str]
) -> Finding | None:
    """How far two things part and where, with `words` before that and after it; None within the limit."""
    value = figure.value
    if not isinstance(value, Quantity) or value.value <= limit_db:
        return None
    root, worst_hz = f"figure:{figure.name}", figure.also["frequency"]
    parted = quantity(value.value, "dB", f"{root}/value/value")
    statement = say(words[0], parted, " at ", frequency(worst_hz, f"{root}/also/frequency"), ".")
    return of_figure(
        IMPORTANCE[figure.name], figure, statement, say(words[1]), _about(curves, curve, worst_hz)
    )


def _sensitivity(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding | None:
    value = figure.value
    if not isinstance(value, Quantity):
        return None
    number = measured(value.value, figure.uncertainty, "dB", f"figure:{figure.name}")
    statement = say("It plays ", number, " for the reference voltage at one metre.")
    looked_at = FigureName.COMPRESSION in available
    explanation = say(
        "Each doubling of the voltage adds six decibels, as long as the loudspeaker follows",
        "." if looked_at else "; up to what level it does hasn't been measured here.",
    )
    place = Place(CurveName.ON_AXIS, SENSITIVITY_BAND_HZ, "on axis", curves.drive, value.value)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _inside(curves: CurveSet, name: CurveName, band_hz: tuple[float, float]) -> tuple[float, float]:
    valid = curves.valid_band_hz(name) or band_hz
    return max(band_hz[0], valid[0]), min(band_hz[1], valid[1])
