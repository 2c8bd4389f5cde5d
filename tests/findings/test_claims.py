"""The maker's claims: confirmed, dependent, refuted, or beyond the data."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import specimen
from hypothesis import given
from hypothesis import strategies as st

from earwitness.findings.claims import judge_claims, judgement
from earwitness.records.curves import CurveSet
from earwitness.records.facts import Claim
from earwitness.records.figures import Figure, FigureName
from earwitness.records.findings import ClaimJudgement, ClaimReading, Judgement
from earwitness.records.sentences import say

#: Of the specimen's second-order high-pass at 60 Hz with Q = 0.7: half power, FACTS "sealed box" formula of
#: Small, JAES 20(10) 1972 (recalled): F3/fc = sqrt((b + sqrt(b² + 4a))/2a), b = 1/Q² − 2, a = 10^0.3 − 1.
SPECIMEN_F3_HZ = 60.0 * 1.0112


def judged(claim: Claim, curves: CurveSet | None = None, uncertainty: float = 0.5) -> ClaimJudgement:
    figures: dict[FigureName, Figure] = {
        f.name: replace(f, uncertainty=uncertainty) for f in specimen.results().figures
    }
    facts = replace(specimen.facts(), claims=(claim,))
    found = judge_claims(curves or specimen.curve_set(), figures, facts)[0].claim
    assert found is not None
    return found


def test_the_specimen_reaches_as_deep_as_its_formula_says() -> None:
    b = 1 / 0.7**2 - 2
    a = 10**0.3 - 1
    assert np.sqrt((b + np.sqrt(b**2 + 4 * a)) / (2 * a)) == pytest.approx(SPECIMEN_F3_HZ / 60.0, rel=1e-3)


def test_a_claim_that_holds_by_every_definition_is_confirmed() -> None:
    found = judged(Claim("Bass from 70 Hz", "f3", 70.0))
    assert found.judgement is Judgement.CONFIRMED
    assert len(found.readings) == 4


def test_a_claim_that_fails_by_every_definition_is_not_confirmed() -> None:
    found = judged(Claim("Bass from 45 Hz", "f3", 45.0))
    assert found.judgement is Judgement.NOT_CONFIRMED
    for reading in found.readings:
        assert reading.value == pytest.approx(SPECIMEN_F3_HZ, rel=0.05)


def test_twice_the_uncertainty_is_the_makers() -> None:
    claim = Claim("Bass from 58 Hz", "f3", 58.0)
    assert judged(claim, uncertainty=0.1).judgement is not Judgement.CONFIRMED
    assert judged(claim, uncertainty=5.0).judgement is Judgement.CONFIRMED


def test_a_sensitivity_that_is_met_for_the_voltage_and_not_for_a_watt_depends_on_the_definition() -> None:
    """2.83 V into 4 Ω are 2 W: the level for one watt is 3.0 dB lower (handbook arithmetic)."""
    facts = replace(
        specimen.facts(),
        claims=(Claim("86 dB", "sensitivity", 86.0),),
        unit=replace(specimen.facts().unit, rated_impedance_ohm=4.0),
    )
    figures = {f.name: replace(f, uncertainty=0.1) for f in specimen.results().figures}
    found = judge_claims(specimen.curve_set(), figures, facts)[0].claim
    assert found is not None
    assert found.judgement is Judgement.DEPENDS
    volts, watt = found.readings[0], found.readings[1]
    assert volts.value - watt.value == pytest.approx(3.0151, abs=1e-3)


def test_a_band_beyond_the_data_cannot_be_judged() -> None:
    assert judged(Claim("to 30 kHz", "tolerance", 3.0, (100.0, 30_000.0))).judgement is Judgement.CANNOT_JUDGE
    limited = specimen.curve_set(valid_from_hz=555.0)
    assert judged(Claim("Bass from 45 Hz", "f3", 45.0), limited).judgement is Judgement.CANNOT_JUDGE


def test_a_tolerance_is_half_the_span() -> None:
    """The specimen's ripple is 0.8 dB up and down: ±0.8 dB on axis above 500 Hz."""
    found = judged(Claim("±1 dB", "tolerance", 1.0, (600.0, 16_000.0)), uncertainty=0.0)
    assert found.readings[0].value == pytest.approx(0.8, rel=0.02)
    assert found.readings[0].holds


@given(st.lists(st.booleans(), max_size=6))
def test_only_unanimity_decides(holding: list[bool]) -> None:
    readings = tuple(ClaimReading(say("so"), 1.0, "dB", holds) for holds in holding)
    found = judgement(readings)
    assert (found is Judgement.CANNOT_JUDGE) == (not holding)
    assert (found is Judgement.CONFIRMED) == (bool(holding) and all(holding))
    assert (found is Judgement.NOT_CONFIRMED) == (bool(holding) and not any(holding))
