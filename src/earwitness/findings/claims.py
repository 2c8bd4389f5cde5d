"""The maker's claims, judged by every admissible definition.

A claim is confirmed if it holds by all of them, not confirmed only if it fails by all of them, and depends on
the definition if it holds by one and fails by another. Where the data don't reach, or where what would decide
it isn't stated, it can't be judged.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.formatting import value_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.claim_readings import FALLS, Bench, readings
from earwitness.findings.claim_takes import Deciding, decide_sentence
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.facts import CaseFacts, Claim
from earwitness.records.figures import Evidence, Figure, FigureName
from earwitness.records.findings import ClaimJudgement, ClaimReading, Finding, Judgement, Place, Story
from earwitness.records.sentences import EMPTY, Number, Quoted, Sentence, say
from earwitness.records.sources import Source, Standing

NOTHING_KNOWN: Final = Deciding()
IMPORTANCE: Final[Mapping[Judgement, float]] = {
    Judgement.NOT_CONFIRMED: 0.85,
    Judgement.DEPENDS: 0.45,
    Judgement.CONFIRMED: 0.35,
    Judgement.CANNOT_JUDGE: 0.10,
}
_VERB: Final[Mapping[Judgement, str]] = {
    Judgement.CONFIRMED: "is confirmed",
    Judgement.DEPENDS: "depends on the definition",
    Judgement.NOT_CONFIRMED: "is not confirmed",
    Judgement.CANNOT_JUDGE: "can't be judged",
}
SOURCE: Final = Source("Earwitness", "", "claims by every admissible definition", Standing.OWN)
#: A mark on a claimed frequency reaches so far to either side.
_MARK_OCTAVES: Final = 1.0 / 6.0


def judge_claims(
    curves: CurveSet,
    figures: Mapping[FigureName, Figure],
    facts: CaseFacts,
    deciding: Deciding = NOTHING_KNOWN,
) -> tuple[Finding, ...]:
    """One finding a claim, in the order of ``case.toml``; `deciding` says what could be measured yet."""
    bench = Bench(curves, figures, facts)
    return tuple(_judge(bench, index, claim, deciding) for index, claim in enumerate(facts.claims))


def judgement(tried: tuple[ClaimReading, ...]) -> Judgement:
    """What the readings come to."""
    outcomes = {reading.holds for reading in tried}
    if outcomes == {True}:
        return Judgement.CONFIRMED
    if outcomes == {False}:
        return Judgement.NOT_CONFIRMED
    return Judgement.DEPENDS if {True, False} <= outcomes else Judgement.CANNOT_JUDGE


def _judge(bench: Bench, index: int, claim: Claim, deciding: Deciding) -> Finding:
    tried = readings(bench, claim)
    outcome = judgement(tried)
    following = deciding.take(bench, claim, tried) if outcome is Judgement.CANNOT_JUDGE else None
    settle = decide_sentence(following, f"claim:{index}/decided_by")
    measured = () if claim.figure == "impedance" else bench.measured()
    electrical = bench.curves.impedance if claim.figure == "impedance" else None
    takes = () if electrical is None else electrical.takes
    takes += tuple(dict.fromkeys(take for curve in measured for take in curve.takes))
    claimed = Quoted(claim.text, f"case:claims/{index}/text")
    return Finding(
        id=f"claim-{index}",
        subject="claim",
        statement=say("The maker's claim “", claimed, f"” {_VERB[outcome]}."),
        explanation=_explanation(tried, outcome, f"claim:{index}/readings"),
        note=say("maker's claim · it fails a definition only beyond twice the standard uncertainty"),
        importance=IMPORTANCE[outcome],
        place=_place(bench, claim),
        figures=tuple(name for name in _figures_of(claim) if name in bench.figures),
        evidence=Evidence(tuple(curve.name for curve in measured), takes),
        claim=ClaimJudgement(index, outcome, tried, following),
        story=Story(EMPTY, settle=settle) if settle.parts else None,
        next_measurement=following,
    )


def _explanation(tried: tuple[ClaimReading, ...], outcome: Judgement, path: str) -> Sentence:
    if not tried:
        return say("The measurements don't reach as far as the claim does.")
    if outcome is Judgement.CONFIRMED:
        return say("It holds by every definition that was tried: ", _span(tried, path), ".")
    if outcome is Judgement.NOT_CONFIRMED:
        return say("It fails by every definition that was tried: ", _span(tried, path), ".")
    if outcome is Judgement.DEPENDS:
        holds, fails = (_first(tried, kept, path) for kept in (True, False))
        return say("It holds ", holds, " and fails ", fails, ".")
    return next(reading.doubt for reading in tried if reading.holds is None)


def _span(tried: tuple[ClaimReading, ...], path: str) -> Sentence:
    """The least and the greatest value, or the one that all have in common as it is printed."""
    order = sorted(range(len(tried)), key=lambda i: tried[i].value)
    least, greatest = (reading_number(tried[i], f"{path}/{i}/value") for i in (order[0], order[-1]))
    return say(least) if least.text == greatest.text else say(least, " to ", greatest)


def _first(tried: tuple[ClaimReading, ...], kept: bool, path: str) -> Sentence:
    i = next(i for i, reading in enumerate(tried) if reading.holds is kept)
    return say(tried[i].definition, " (", reading_number(tried[i], f"{path}/{i}/value"), ")")


def reading_number(reading: ClaimReading, reference: str) -> Number:
    """A reading's value as it is printed: ``72.8 Hz``, ``≤ 20.1 Hz``, ``±1.2 dB``."""
    if reading.unit == "Hz":
        plain = frequency(reading.value, reference)
        sign = {None: "", "at most": "≤ ", "at least": "≥ "}[reading.bound]
        return Number(f"{sign}{plain.text}", plain.value, reference)
    if reading.unit == "Ω":
        sign = "" if reading.bound is None else "≤ "
        return Number(f"{sign}{value_text(reading.value, 'Ω', 1)}", reading.value, reference)
    if reading.unit == "± dB":
        plain = quantity(reading.value, "dB", reference)
        return Number(f"±{plain.text}", plain.value, reference)
    return quantity(reading.value, reading.unit, reference)


def _figures_of(claim: Claim) -> tuple[FigureName, ...]:
    if claim.figure == "tolerance":
        return (FigureName.TOLERANCE_ON_AXIS, FigureName.TOLERANCE_LISTENING_WINDOW)
    if claim.figure == "impedance":
        return (FigureName.IMPEDANCE_MINIMUM, FigureName.IMPEDANCE_RATING)
    return (FigureName(claim.figure),)


def _least_impedance(bench: Bench) -> Place | None:
    least = bench.figures.get(FigureName.IMPEDANCE_MINIMUM)
    if least is None or not least.available:
        return None
    hertz = least.also["frequency"]
    return Place("impedance", (hertz * 2.0**-_MARK_OCTAVES, hertz * 2.0**_MARK_OCTAVES))


def _place(bench: Bench, claim: Claim) -> Place | None:
    """The claimed place itself, as far as it was measured."""
    if claim.figure == "impedance":
        return _least_impedance(bench)
    valid = bench.curves.valid_band_hz(CurveName.ON_AXIS)
    if valid is None:
        return None
    if claim.figure in FALLS:
        band = (claim.value * 2.0**-_MARK_OCTAVES, claim.value * 2.0**_MARK_OCTAVES)
    else:
        band = SENSITIVITY_BAND_HZ if claim.band_hz is None else claim.band_hz
    low, high = max(band[0], valid[0]), min(band[1], valid[1])
    if low >= high:
        return None
    return Place(CurveName.ON_AXIS, (low, high), "on axis", bench.curves.drive)
