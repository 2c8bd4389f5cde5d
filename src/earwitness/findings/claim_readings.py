"""What a maker's claim comes to under each admissible definition, each with its own uncertainty.

A reading holds if the measured value lies on the right side, or on the wrong one by no more than twice its
standard uncertainty. Where what decides that uncertainty isn't stated, a reading can hold, but it can't fail.
Nothing is read where the response isn't valid throughout.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.impedance_figures import least
from earwitness.derive.low_frequency import FALL_DB, SEARCH_FROM_HZ, find_crossing
from earwitness.methods.gum import combined, expanded
from earwitness.methods.iec_60268_5 import (
    LEAST_PART_OF_RATED,
    REFERENCE_VOLTAGE_V,
    SENSITIVITY_BAND_HZ,
    mean_level_db,
)
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.facts import CaseFacts, Claim
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.findings import ClaimReading
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.sentences import EMPTY, Sentence, Term, say
from earwitness.records.uncertainty import ComponentName

#: Curves whose response a maker may mean.
ADMISSIBLE_CURVES: Final = (CurveName.ON_AXIS, CurveName.LISTENING_WINDOW)
#: Smoothing that a maker's tolerance may mean, as a fraction of an octave.
ADMISSIBLE_SMOOTHING: Final = (24.0, 3.0)
#: Means over the band 300 Hz to 3 kHz that may be the reference, and how they are called.
MEANS: Final[tuple[tuple[Literal["power", "level"], str], ...]] = (
    ("power", "mean power"),
    ("level", "mean level"),
)
#: Nominal ends of the audible band: the grid's first and last points stand for them.
AUDIBLE_HZ: Final = (20.0, 20_000.0)
#: The fall in dB that each claim about the low end is about.
FALLS: Final[Mapping[str, float]] = dict(zip(("f3", "f6", "f10"), FALL_DB, strict=True))


@dataclass(frozen=True)
class Bench:
    """What claims are held against."""

    curves: CurveSet
    figures: Mapping[FigureName, Figure]
    facts: CaseFacts

    def measured(self) -> tuple[Curve, ...]:
        """The admissible curves that are there."""
        chosen = (self.curves.curves[name] for name in ADMISSIBLE_CURVES)
        return tuple(curve for curve in chosen if curve.available)

    def valid_throughout(self, curve: Curve, band_hz: tuple[float, float]) -> bool:
        """Whether every grid point of a band is valid, and the band lies on the grid."""
        low, high = band_hz
        inside = self.inside(band_hz)
        return (
            AUDIBLE_HZ[0] <= low < high <= AUDIBLE_HZ[1]
            and bool(inside.any())
            and bool(curve.valid[inside].all())
        )

    def inside(self, band_hz: tuple[float, float]) -> Bools:
        """The grid points of a band."""
        frequency = self.curves.frequency_hz
        return np.asarray((frequency >= band_hz[0]) & (frequency <= band_hz[1]))


def readings(bench: Bench, claim: Claim) -> tuple[ClaimReading, ...]:
    """The claim under every definition that the data allow; empty where they allow none."""
    if claim.figure == "sensitivity":
        return tuple(_sensitivity(bench, claim))
    if claim.figure == "tolerance":
        return tuple(_tolerance(bench, claim))
    if claim.figure == "impedance":
        return tuple(_impedance(bench, claim))
    return tuple(_extension(bench, claim))


def _reading(
    definition: Sentence, value: float, unit: str, missed_by: float, u: float | None
) -> ClaimReading:
    """A reading of a claim that is missed by so much (negative: kept)."""
    if missed_by > 0.0 and u is None:
        return ClaimReading(definition, value, unit, None, None, doubt=NOT_STATED)
    return ClaimReading(definition, value, unit, u, missed_by <= float(expanded(u or 0.0)))


def _extension(bench: Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The frequency where the response has lastingly fallen, by reference and by curve."""
    frequency = bench.curves.frequency_hz
    for curve in bench.measured():
        searched = _searched(bench, curve)
        if searched.size == 0 or not bench.valid_throughout(curve, SENSITIVITY_BAND_HZ):
            continue
        for on, words in MEANS:
            reference = float(mean_level_db(frequency, curve.level_db, on=on))
            depth = reference - curve.level_db[searched]
            crossing = find_crossing(frequency[searched], depth, FALLS[claim.figure])
            found, definition = crossing.frequency_hz, say(f"{curve.name.words}, about the {words}")
            match crossing.kind:
                case "found":
                    u = _crossing_uncertainty_hz(bench.curves, curve, found)
                    yield _reading(definition, found, "Hz", found - claim.value, u)
                case "lower":
                    lowest = float(frequency[searched[-1]])
                    holds = True if lowest <= claim.value else None
                    doubt = EMPTY if holds else _NOT_FALLEN
                    yield ClaimReading(definition, lowest, "Hz", None, holds, "at most", doubt)
                case "above":
                    yield ClaimReading(definition, found, "Hz", None, found <= claim.value, "at least")
                case "step":
                    yield ClaimReading(definition, found, "Hz", None, None, None, STEP)
    yield from _fitted(bench, claim)


def _fitted(bench: Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The same of a high-pass that is fitted to the response on axis, where there is one."""
    figure = bench.figures.get(FigureName(claim.figure))
    curve = bench.curves.curves[CurveName.ON_AXIS]
    if figure is None or not figure.available or "fitted high-pass" not in figure.also or not curve.available:
        return
    found = figure.also["fitted high-pass"]
    u = _crossing_uncertainty_hz(bench.curves, curve, found)
    yield _reading(say("on axis, of a fitted high-pass"), found, "Hz", found - claim.value, u)


NOT_STATED: Final = say(
    "It was missed, and whether by more than the measurement's own uncertainty isn't known: that of the "
    "microphone, the level or the impedance isn't stated."
)
_NOT_FALLEN: Final = say("The response hasn't fallen that far at the lowest frequency that is valid.")
STEP: Final = say("The response steps down there without rolling off, so the end of its range can't be seen.")


def _searched(bench: Bench, curve: Curve) -> np.ndarray:
    """Grid points from 300 Hz down to the first that isn't valid, falling."""
    down = np.flatnonzero(bench.curves.frequency_hz <= SEARCH_FROM_HZ)[::-1]
    gaps = np.flatnonzero(~curve.valid[down])
    return down[: gaps[0]] if gaps.size else down


def _crossing_uncertainty_hz(curves: CurveSet, curve: Curve, frequency_hz: float) -> float | None:
    """The relative level's uncertainty there over the curve's slope."""
    at = int(np.argmin(np.abs(np.log(curves.frequency_hz / frequency_hz))))
    level = _relative_uncertainty_db(curve, at)
    if level is None:
        return None
    octave = np.log2(curves.frequency_hz)
    near = np.flatnonzero(curve.valid & (np.abs(octave - octave[at]) <= 1.0 / 6.0))
    slope = abs(float(np.polyfit(octave[near], curve.level_db[near], 1)[0]))
    return level / slope * frequency_hz * float(np.log(2.0)) if slope > 0 else None


def _relative_uncertainty_db(curve: Curve, at: int) -> float | None:
    """The uncertainty of a level re its own mean: all components but the one that moves the whole curve.

    None where the microphone's isn't stated: it is what decides a response's shape.
    """
    if curve.components_db.get(ComponentName.MICROPHONE) is None:
        return None
    parts = [
        u for name, u in curve.components_db.items() if u is not None and name is not ComponentName.LEVEL
    ]
    return float(combined([float(u[at]) for u in parts if np.isfinite(u[at])]))


def _sensitivity(bench: Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The mean level by kind of mean, and for one watt into the rated impedance."""
    figure = bench.figures.get(FigureName.SENSITIVITY)
    curve = bench.curves.curves[CurveName.ON_AXIS]
    if figure is None or not figure.available or not bench.valid_throughout(curve, SENSITIVITY_BAND_HZ):
        return
    needed = (ComponentName.LEVEL, ComponentName.MICROPHONE)
    known = all(figure.components.get(name) is not None for name in needed)
    uncertainty = figure.uncertainty if known else None
    for band, over in _bands(bench, claim, curve):
        for per, words, offset in _powers(bench, claim):
            for on, mean in MEANS:
                level = float(mean_level_db(bench.curves.frequency_hz, curve.level_db, band, on)) + offset
                definition = say(f"as the {mean} for ", per, words, over)
                yield _reading(definition, level, "dB", claim.value - level, uncertainty)


def _bands(bench: Bench, claim: Claim, curve: Curve) -> Iterator[tuple[tuple[float, float], str]]:
    """Bands of the mean: the usual one, and the maker's own where one is stated (IEC 60268-5 asks for it)."""
    yield SENSITIVITY_BAND_HZ, ""
    if claim.band_hz is not None and bench.valid_throughout(curve, claim.band_hz):
        yield claim.band_hz, " over the claim's own band"


def _powers(bench: Bench, claim: Claim) -> Iterator[tuple[Sentence, str, float]]:
    """What a sensitivity may be per: in words, and the level re that for the reference voltage."""
    if claim.per != "watt":
        yield say(Term(bench.curves.drive)), "", 0.0
    ohms = bench.facts.unit.rated_impedance_ohm
    if claim.per != "voltage" and ohms is not None:
        watts = REFERENCE_VOLTAGE_V**2 / ohms
        yield say("one watt"), " into the rated impedance", -10.0 * float(np.log10(watts))


def _impedance(bench: Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The least impedance against 80 % of a claimed rated one, in the rated range and in that of hearing."""
    found = bench.curves.impedance
    if found is None:
        return
    asked = LEAST_PART_OF_RATED * claim.value
    ranges = {
        "the rated range": claim.band_hz or bench.facts.unit.rated_band_hz,
        "the audible range": AUDIBLE_HZ,
    }
    for words, band in ranges.items():
        if band is None:
            continue
        lowest = least(found, (min(band), max(band)))
        definition = say(f"least impedance in {words}, of which ", Term("IEC 60268-5"), " asks four fifths")
        if isinstance(lowest.value, Quantity):
            level = lowest.components.get(ComponentName.LEVEL)
            known = [value for value in lowest.components.values() if value is not None]
            u = None if level is None else float(combined(known))
            tried = _reading(definition, lowest.value.value, "Ω", asked - lowest.value.value, u)
            unsure = tried.holds and not lowest.whole
            yield replace(tried, holds=None, doubt=_NOT_REACHED) if unsure else tried
        elif isinstance(lowest.value, Bound):
            yield ClaimReading(definition, lowest.value.value, "Ω", None, None, "at most", _NOT_REACHED)


_NOT_REACHED: Final = say("The impedance isn't valid throughout that range.")


def _tolerance(bench: Bench, claim: Claim) -> Iterator[ClaimReading]:
    """How far the response strays over the band: by curve, smoothing and reference."""
    if claim.band_hz is None:
        return
    inside = np.flatnonzero(bench.inside(claim.band_hz))
    for curve in bench.measured():
        if not bench.valid_throughout(curve, claim.band_hz):
            continue
        for fraction in ADMISSIBLE_SMOOTHING:
            level = _smoothed_db(curve, fraction)
            highest, lowest = (int(inside[f(level[inside])]) for f in (np.argmax, np.argmin))
            smoothing = say(f"{curve.name.words}, smoothed over ", Term(f"1/{fraction:g} octave"), ", about ")
            half = 0.5 * float(level[highest] - level[lowest])
            ends = [_relative_uncertainty_db(curve, at) for at in (highest, lowest)]
            u = None if None in ends else 0.5 * float(combined([e for e in ends if e is not None]))
            yield _reading(smoothing + say("its middle"), half, "± dB", half - claim.value, u)
            if bench.valid_throughout(curve, SENSITIVITY_BAND_HZ):
                away = level - float(mean_level_db(bench.curves.frequency_hz, curve.level_db))
                worst = highest if abs(away[highest]) >= abs(away[lowest]) else lowest
                most, u = abs(float(away[worst])), _relative_uncertainty_db(curve, worst)
                yield _reading(smoothing + say("its mean"), most, "± dB", most - claim.value, u)


def _smoothed_db(curve: Curve, fraction: float) -> Floats:
    """The smoothed level; as it stands where the window reaches beyond what is valid."""
    power = 10.0 ** (0.1 * np.where(curve.valid, curve.level_db, 0.0))
    smooth, valid = smooth_power(power, curve.valid, fraction, POINTS_PER_OCTAVE)
    return np.asarray(np.where(valid, 10.0 * np.log10(np.where(valid, smooth, 1.0)), curve.level_db))
