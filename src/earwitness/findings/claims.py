"""The maker's claims, each held against every admissible definition.

A claim is confirmed if it holds under all of them, not confirmed only if it fails under all of them, and
otherwise depends on the definition. It has the benefit of the doubt: it fails a definition only where the
measured value is on the wrong side by more than twice its standard uncertainty. Where the data don't reach,
it can't be judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.low_frequency import SEARCH_FROM_HZ, find_crossing
from earwitness.derive.numerals import frequency, quantity
from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V, SENSITIVITY_BAND_HZ, mean_level_db
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.facts import CaseFacts, Claim
from earwitness.records.figures import Evidence, Figure, FigureName
from earwitness.records.findings import ClaimJudgement, ClaimReading, Finding, Judgement, Place
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.sentences import Number, Quoted, Sentence, Term, say

#: A claim fails a definition only beyond this many standard uncertainties.
COVERAGE_FACTOR: Final = 2.0
#: Curves whose response a maker may mean.
ADMISSIBLE_CURVES: Final = (CurveName.ON_AXIS, CurveName.LISTENING_WINDOW)
#: Smoothing that a maker's tolerance may mean, as a fraction of an octave.
ADMISSIBLE_SMOOTHING: Final = (24.0, 3.0)
#: A claimed band counts as measured if the data reach its ends to so much: smoothing needs a margin.
REACH_OCTAVES: Final = 0.2

IMPORTANCE: Final[Mapping[Judgement, float]] = {
    Judgement.NOT_CONFIRMED: 0.85,
    Judgement.DEPENDS: 0.45,
    Judgement.CONFIRMED: 0.35,
    Judgement.CANNOT_JUDGE: 0.10,
}
_FALL_DB: Final = {"f3": 3.0, "f6": 6.0, "f10": 10.0}


@dataclass(frozen=True)
class _Bench:
    """What claims are held against."""

    curves: CurveSet
    figures: Mapping[FigureName, Figure]
    facts: CaseFacts

    def uncertainty(self, name: FigureName) -> float:
        figure = self.figures.get(name)
        return (figure.uncertainty or 0.0) if figure is not None else 0.0

    def measured(self) -> Iterator[Curve]:
        for name in ADMISSIBLE_CURVES:
            curve = self.curves.curves[name]
            if curve.available:
                yield curve


def judge_claims(
    curves: CurveSet, figures: Mapping[FigureName, Figure], facts: CaseFacts
) -> tuple[Finding, ...]:
    """One finding a claim, in the order of ``case.toml``."""
    bench = _Bench(curves, figures, facts)
    return tuple(_judge(bench, index, claim) for index, claim in enumerate(facts.claims))


def judgement(readings: tuple[ClaimReading, ...]) -> Judgement:
    """What the readings come to."""
    if not readings:
        return Judgement.CANNOT_JUDGE
    holding = [reading.holds for reading in readings]
    if all(holding):
        return Judgement.CONFIRMED
    return Judgement.DEPENDS if any(holding) else Judgement.NOT_CONFIRMED


def _judge(bench: _Bench, index: int, claim: Claim) -> Finding:
    readers: Mapping[str, Callable[[_Bench, Claim], Iterator[ClaimReading]]] = {
        "f3": _extension,
        "f6": _extension,
        "f10": _extension,
        "sensitivity": _sensitivity,
        "tolerance": _tolerance,
    }
    readings = tuple(readers[claim.figure](bench, claim))
    outcome = judgement(readings)
    claimed = Quoted(claim.text, f"case:claims/{index}/text")
    takes = tuple(dict.fromkeys(take for curve in bench.measured() for take in curve.takes))
    return Finding(
        id=f"claim-{index}",
        subject="claim",
        statement=say("The maker's claim “", claimed, f"” {_VERB[outcome]}."),
        explanation=_explanation(readings, index),
        note=say("maker's claim · it fails a definition only beyond twice the standard uncertainty"),
        importance=IMPORTANCE[outcome],
        place=_place(bench, claim),
        figures=tuple(name for name in _figures_of(claim) if name in bench.figures),
        evidence=Evidence(tuple(curve.name for curve in bench.measured()), takes),
        claim=ClaimJudgement(index, outcome, readings),
    )


_VERB: Final[Mapping[Judgement, str]] = {
    Judgement.CONFIRMED: "is confirmed",
    Judgement.DEPENDS: "depends on the definition",
    Judgement.NOT_CONFIRMED: "is not confirmed",
    Judgement.CANNOT_JUDGE: "can't be judged",
}


def _explanation(readings: tuple[ClaimReading, ...], index: int) -> Sentence:
    if not readings:
        return say("The measurements don't reach as far as the claim does.")
    told = say()
    for holds, opening in ((True, "It holds"), (False, "It fails")):
        chosen = [(i, reading) for i, reading in enumerate(readings) if reading.holds is holds]
        for position, (i, reading) in enumerate(chosen):
            told += say(f"{opening} " if position == 0 else "; ", reading.definition, " (")
            told += say(_number(reading, f"claim:{index}/readings/{i}/value"), ")")
        told += say(". ") if chosen else say()
    return told


def _number(reading: ClaimReading, reference: str) -> Number:
    if reading.unit == "Hz":
        return frequency(reading.value, reference)
    if reading.unit == "± dB":
        exact = quantity(reading.value, "dB", reference)
        return Number(f"±{exact.text}", exact.value, reference)
    return quantity(reading.value, reading.unit, reference)


def _extension(bench: _Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The frequency where the response has lastingly fallen, by reference and by curve."""
    frequency_hz = bench.curves.frequency_hz
    allowed = claim.value + COVERAGE_FACTOR * bench.uncertainty(FigureName(claim.figure))
    for curve in bench.measured():
        searched = curve.valid & (frequency_hz <= SEARCH_FROM_HZ)
        if not _reaches(bench.curves, curve, SENSITIVITY_BAND_HZ) or not searched.any():
            continue
        below = np.flatnonzero(searched)[::-1]
        for on, words in (("power", "power"), ("level", "level")):
            reference = float(mean_level_db(frequency_hz, curve.level_db, on=on))  # type: ignore[arg-type]
            found = find_crossing(
                frequency_hz[below], reference - curve.level_db[below], _FALL_DB[claim.figure]
            )
            if found.kind == "found":
                definition = say(f"{curve.name.words}, about the mean {words}")
                yield ClaimReading(definition, found.frequency_hz, "Hz", found.frequency_hz <= allowed)


def _sensitivity(bench: _Bench, claim: Claim) -> Iterator[ClaimReading]:
    """The mean level by kind of mean, and for one watt into the rated impedance."""
    needed = claim.value - COVERAGE_FACTOR * bench.uncertainty(FigureName.SENSITIVITY)
    curve = bench.curves.curves[CurveName.ON_AXIS]
    if bench.facts.unit.active or not _reaches(bench.curves, curve, SENSITIVITY_BAND_HZ):
        return
    ohms = bench.facts.unit.rated_impedance_ohm
    for on, words in (("power", "mean power"), ("level", "mean level")):
        level = float(mean_level_db(bench.curves.frequency_hz, curve.level_db, on=on))  # type: ignore[arg-type]
        volts = say(f"as the {words} for ", Term(bench.curves.drive))
        yield ClaimReading(volts, level, "dB", level >= needed)
        if ohms is not None:
            watt = level - 10.0 * float(np.log10(REFERENCE_VOLTAGE_V**2 / ohms))
            yield ClaimReading(
                say(f"as the {words} for one watt into the rated impedance"), watt, "dB", watt >= needed
            )


def _tolerance(bench: _Bench, claim: Claim) -> Iterator[ClaimReading]:
    """Half the span between highest and lowest level over the band, by curve and smoothing."""
    if claim.band_hz is None:
        return
    low, high = claim.band_hz
    allowed = claim.value + COVERAGE_FACTOR * bench.uncertainty(FigureName.TOLERANCE_ON_AXIS)
    for curve in bench.measured():
        power = 10.0 ** (0.1 * np.where(curve.valid, curve.level_db, 0.0))
        for fraction in ADMISSIBLE_SMOOTHING:
            smooth, valid = smooth_power(power, curve.valid, fraction, POINTS_PER_OCTAVE)
            reached = bench.curves.frequency_hz[valid]
            if not reached.size or not _within_reach(reached, claim.band_hz):
                continue
            inside = valid & (bench.curves.frequency_hz >= low) & (bench.curves.frequency_hz <= high)
            levels = 10.0 * np.log10(smooth[inside])
            half = 0.5 * float(levels.max() - levels.min())
            definition = say(f"{curve.name.words}, smoothed over ", Term(f"1/{fraction:g} octave"))
            yield ClaimReading(definition, half, "± dB", half <= allowed)


def _reaches(curves: CurveSet, curve: Curve, band_hz: tuple[float, float]) -> bool:
    valid = curves.valid_band_hz(curve.name)
    return valid is not None and valid[0] <= band_hz[0] and valid[1] >= band_hz[1]


def _within_reach(frequency_hz: np.ndarray, band_hz: tuple[float, float]) -> bool:
    margin = 2.0**REACH_OCTAVES
    return bool(frequency_hz[0] <= band_hz[0] * margin and frequency_hz[-1] >= band_hz[1] / margin)


def _figures_of(claim: Claim) -> tuple[FigureName, ...]:
    if claim.figure == "tolerance":
        return (FigureName.TOLERANCE_ON_AXIS, FigureName.TOLERANCE_LISTENING_WINDOW)
    return (FigureName(claim.figure),)


def _place(bench: _Bench, claim: Claim) -> Place | None:
    """The claimed place itself, as far as it was measured."""
    valid = bench.curves.valid_band_hz(CurveName.ON_AXIS)
    if valid is None:
        return None
    if claim.figure in _FALL_DB:
        band = (claim.value * 2.0 ** (-1 / 6), claim.value * 2.0 ** (1 / 6))
    else:
        band = SENSITIVITY_BAND_HZ if claim.band_hz is None else claim.band_hz
    low, high = max(band[0], valid[0]), min(band[1], valid[1])
    if low >= high:
        return None
    return Place(CurveName.ON_AXIS, (low, high), "on axis", bench.curves.drive)
