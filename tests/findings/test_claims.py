"""The maker's claims: confirmed, dependent, refuted, or beyond the data."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import specimen
from closed_forms import omni, responses
from hypothesis import given
from hypothesis import strategies as st

from earwitness.findings.claim_takes import Deciding
from earwitness.findings.claims import judge_claims, judgement
from earwitness.findings.next_table import SHOWS, CloseUp, Possible
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.facts import Claim
from earwitness.records.figures import FigureName
from earwitness.records.findings import ClaimJudgement, ClaimReading, Finding, Judgement
from earwitness.records.grid import Bools, Floats
from earwitness.records.next_measurement import NextTake
from earwitness.records.sentences import say
from earwitness.records.uncertainty import ComponentName

#: Of the specimen's second-order high-pass at 60 Hz with Q = 0.7: half power, FACTS "sealed box" formula of
#: Small, JAES 20(10) 1972 (recalled): F3/fc = sqrt((b + sqrt(b² + 4a))/2a), b = 1/Q² − 2, a = 10^0.3 − 1.
SPECIMEN_F3_HZ = 60.0 * 1.0112


def judged(
    claim: Claim, curves: CurveSet | None = None, uncertainty: float | None = 0.1, ohms: float | None = None
) -> ClaimJudgement:
    """A claim held against the specimen, whose microphone has that uncertainty (None: not stated)."""
    curves = with_microphone(curves or specimen.curve_set(), uncertainty)
    known = {ComponentName.MICROPHONE: uncertainty, ComponentName.LEVEL: uncertainty}
    figures = {
        f.name: replace(f, uncertainty=uncertainty, components=known) for f in specimen.results().figures
    }
    unit = replace(specimen.facts().unit, rated_impedance_ohm=ohms)
    facts = replace(specimen.facts(), claims=(claim,), unit=unit)
    found = judge_claims(curves, figures, facts)[0].claim
    assert found is not None
    return found


def with_microphone(curves: CurveSet, uncertainty: float | None) -> CurveSet:
    known = None if uncertainty is None else np.full(specimen.GRID.size, uncertainty)
    return replace(
        curves,
        curves={
            name: replace(curve, components_db={ComponentName.MICROPHONE: known})
            for name, curve in curves.curves.items()
        },
    )


def with_levels(level_db: Floats, valid: Bools | None = None) -> CurveSet:
    """The specimen with these levels on axis and nothing else."""
    curves = specimen.curve_set()
    found = np.ones(specimen.GRID.size, dtype=bool) if valid is None else valid
    on_axis = replace(
        curves.curves[CurveName.ON_AXIS], level_db=np.where(found, level_db, np.nan), valid=found
    )
    window = replace(curves.curves[CurveName.LISTENING_WINDOW], valid=np.zeros_like(found))
    return replace(
        curves,
        curves={**curves.curves, CurveName.ON_AXIS: on_axis, CurveName.LISTENING_WINDOW: window},
    )


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
    """At its F3 the specimen falls by about 7 dB an octave: 0.1 dB is half a hertz, 1 dB are 6 Hz."""
    claim = Claim("Bass from 54 Hz", "f3", 54.0)
    assert judged(claim, uncertainty=0.1).judgement is Judgement.NOT_CONFIRMED
    assert judged(claim, uncertainty=1.0).judgement is Judgement.CONFIRMED
    reading = judged(claim, uncertainty=0.1).readings[0]
    b, w = 1 / 0.7**2 - 2, (SPECIMEN_F3_HZ / 60.0) ** 2
    # d/d(ln W) of 10 lg(W⁴/(W⁴ + bW² + 1)), per octave
    slope = (40.0 - 10.0 * (4.0 * w**2 + 2.0 * b * w) / (w**2 + b * w + 1.0)) / np.log(10.0) * np.log(2.0)
    expected = 0.1 / slope * reading.value * np.log(2.0)
    assert reading.uncertainty == pytest.approx(expected, rel=0.05)  # the slope is fitted over 1/3 octave


def test_what_nobody_stated_confirms_but_never_refutes() -> None:
    assert judged(Claim("from 70 Hz", "f3", 70.0), uncertainty=None).judgement is Judgement.CONFIRMED
    assert judged(Claim("from 45 Hz", "f3", 45.0), uncertainty=None).judgement is Judgement.CANNOT_JUDGE
    assert judged(Claim("90 dB", "sensitivity", 90.0), uncertainty=None).judgement is Judgement.CANNOT_JUDGE


def test_a_sensitivity_that_is_met_for_the_voltage_and_not_for_a_watt_depends_on_the_definition() -> None:
    """2.83 V into 4 Ω are 2 W: the level for one watt is 3.0 dB lower (FACTS arithmetic of 2.83 V)."""
    found = judged(Claim("86 dB", "sensitivity", 86.0), ohms=4.0)
    assert found.judgement is Judgement.DEPENDS
    volts, watt = found.readings[0], found.readings[2]
    assert volts.value - watt.value == pytest.approx(3.0151, abs=1e-3)
    stated = Claim("86 dB for 2.83 V", "sensitivity", 86.0, per="voltage")
    assert judged(stated, ohms=4.0).judgement is Judgement.CONFIRMED


def test_a_band_beyond_the_data_cannot_be_judged() -> None:
    assert judged(Claim("to 30 kHz", "tolerance", 3.0, (100.0, 30_000.0))).readings == ()
    limited = specimen.curve_set(valid_from_hz=66.0)
    assert judged(Claim("±2 dB", "tolerance", 2.0, (60.0, 16_000.0)), limited).readings == ()
    narrow = Claim("±2 dB", "tolerance", 2.0, (1000.5, 1001.0))
    assert judged(narrow).judgement is Judgement.CANNOT_JUDGE


def test_a_hole_in_the_band_cannot_be_judged() -> None:
    hole = (specimen.GRID < 4000.0) | (specimen.GRID > 5500.0)
    curves = with_levels(np.full(specimen.GRID.size, 86.0), hole)
    assert judged(Claim("±1 dB", "tolerance", 1.0, (100.0, 10_000.0)), curves).readings == ()
    hole = (specimen.GRID < 800.0) | (specimen.GRID > 1150.0)
    curves = with_levels(np.full(specimen.GRID.size, 86.0), hole)
    for figure, value in (("sensitivity", 86.0), ("f6", 60.0)):
        assert judged(Claim("so", figure, value), curves).readings == ()  # type: ignore[arg-type]


def test_a_tolerance_is_half_the_span_about_the_middle_and_the_farthest_about_the_mean() -> None:
    """The specimen's ripple is 0.8 dB up and down: ±0.8 dB on axis above 500 Hz."""
    found = judged(Claim("±1 dB", "tolerance", 1.0, (600.0, 16_000.0)))
    assert found.readings[0].value == pytest.approx(0.8, rel=0.02)
    assert found.readings[0].holds


def test_a_one_sided_response_is_wider_about_its_mean() -> None:
    """4 dB down above 5 kHz: ±2 dB about its middle, ±4 dB about its mean from 300 Hz to 3 kHz."""
    curves = with_levels(np.where(specimen.GRID > 5000.0, 82.0, 86.0))
    found = judged(Claim("±2.5 dB", "tolerance", 2.5, (100.0, 10_000.0)), curves)
    assert found.judgement is Judgement.DEPENDS
    assert [r.value for r in found.readings[:2]] == pytest.approx([2.0, 4.0], abs=1e-6)


def test_a_response_that_never_falls_keeps_a_claim_it_reaches_and_leaves_a_lower_one_open() -> None:
    curves = with_levels(np.full(specimen.GRID.size, 86.0))
    assert judged(Claim("from 28 Hz", "f3", 28.0), curves).judgement is Judgement.CONFIRMED
    deeper = judged(Claim("from 15 Hz", "f3", 15.0), curves)
    assert deeper.judgement is Judgement.CANNOT_JUDGE
    assert "hasn’t fallen" in str(deeper.readings[0].doubt)


def test_a_response_that_has_fallen_already_at_the_start_fails() -> None:
    curves = with_levels(np.where(specimen.GRID < 320.0, 80.0, 86.0))
    assert judged(Claim("from 50 Hz", "f3", 50.0), curves).judgement is Judgement.NOT_CONFIRMED


@given(st.lists(st.sampled_from([True, False, None]), max_size=6))
def test_only_unanimity_decides(holding: list[bool | None]) -> None:
    readings = tuple(ClaimReading(say("so"), 1.0, "dB", None, holds) for holds in holding)
    found = judgement(readings)
    assert (found is Judgement.CONFIRMED) == (bool(holding) and all(holding))
    assert (found is Judgement.NOT_CONFIRMED) == (bool(holding) and set(holding) == {False})
    assert (found is Judgement.DEPENDS) == ({True, False} <= set(holding))


def deciding(*near: CloseUp) -> Deciding:
    return Deciding(Possible(frozenset(SHOWS), needs_clock=False, near=near), responses(omni))


def decided(claim: Claim, what: Deciding, curves: CurveSet | None = None, u: float | None = 0.1) -> Finding:
    facts = replace(specimen.facts(), claims=(claim,))
    (found,) = judge_claims(with_microphone(curves or specimen.curve_set(), u), {}, facts, what)
    return found


DEEP = Claim("Bass from 30 Hz", "f3", 30.0)
WOOFER = CloseUp("woofer", up_m=0.0, radius_m=0.065)


def test_a_low_end_beyond_the_data_is_decided_by_a_near_field_that_is_missing() -> None:
    """Flat down to the lowest valid frequency, 200 Hz: it hasn't fallen yet."""
    curves = with_levels(np.full(specimen.GRID.size, 86.0), specimen.GRID > 200.0)
    found = decided(DEEP, deciding(WOOFER), curves)
    assert found.claim is not None
    assert found.claim.judgement is Judgement.CANNOT_JUDGE
    assert found.claim.decided_by is not None
    assert (found.claim.decided_by.take, found.claim.decided_by.radiator) == (NextTake.NEAR_DRIVERS, "woofer")
    assert found.story is not None
    told = str(found.story.settle)
    assert told.startswith(
        "The near field of the woofer, at a low drive, would decide it. At 0.28 V it plays"
    )
    assert "keep ears away" in told
    port = decided(DEEP, deciding(CloseUp("port", is_port=True)), curves)
    assert port.next_measurement is not None
    assert port.next_measurement.take is NextTake.NEAR_PORT


def test_with_every_near_field_there_a_longer_gate_decides() -> None:
    curves = with_levels(np.full(specimen.GRID.size, 86.0), specimen.GRID > 200.0)
    found = decided(DEEP, deciding(), curves).next_measurement
    assert found is not None
    assert found.take is NextTake.LONGER_GATE


def test_above_what_is_derived_no_take_decides() -> None:
    found = decided(Claim("to 30 kHz", "tolerance", 3.0, (100.0, 30_000.0)), deciding(WOOFER))
    assert found.claim is not None
    assert found.claim.judgement is Judgement.CANNOT_JUDGE
    assert (found.next_measurement, found.story) == (None, None)
    short = with_levels(np.full(specimen.GRID.size, 86.0), specimen.GRID > 200.0)
    wide = Claim("to 30 kHz", "tolerance", 3.0, (60.0, 30_000.0))
    assert decided(wide, deciding(WOOFER), short).next_measurement is None
    enough = decided(replace(wide, band_hz=(60.0, 10_000.0)), deciding(WOOFER), short).next_measurement
    assert enough is not None
    assert enough.take is NextTake.NEAR_DRIVERS


def test_what_nobody_stated_is_decided_by_a_calibration_which_plays_nothing() -> None:
    found = decided(Claim("from 45 Hz", "f3", 45.0), deciding(WOOFER), u=None)
    assert found.next_measurement is not None
    assert found.next_measurement.take is NextTake.CALIBRATION
    assert found.story is not None
    assert str(found.story.settle).endswith("would decide it.")


def test_a_rated_impedance_without_its_take_is_decided_by_it() -> None:
    found = decided(Claim("4 ohms", "impedance", 4.0), deciding())
    assert found.next_measurement is not None
    assert found.next_measurement.take is NextTake.IMPEDANCE


def test_what_is_judged_needs_no_take() -> None:
    assert decided(Claim("Bass from 70 Hz", "f3", 70.0), deciding(WOOFER)).next_measurement is None


def test_a_sensitivity_over_the_makers_own_band_is_admissible_too() -> None:
    """3 dB more above 3 kHz: 86 dB from 300 Hz to 3 kHz, 89 dB from 3.1 to 12 kHz."""
    curves = with_levels(np.where(specimen.GRID > 3000.0, 89.0, 86.0))
    found = judged(Claim("88 dB", "sensitivity", 88.0, (3100.0, 12_000.0), per="voltage"), curves)
    assert [r.value for r in found.readings] == pytest.approx([86.0, 86.0, 89.0, 89.0], abs=0.05)
    assert found.judgement is Judgement.DEPENDS


def test_a_fitted_high_pass_is_admissible_too() -> None:
    """Its F3 stands beside the figure, by the formula of Small at the top of this file."""
    figures = {f.name: f for f in specimen.results().figures}
    f3 = replace(figures[FigureName.F3], also={"fitted high-pass": SPECIMEN_F3_HZ})
    facts = replace(specimen.facts(), claims=(Claim("from 55 Hz", "f3", 55.0),))
    (found,) = judge_claims(with_microphone(specimen.curve_set(), 0.1), {FigureName.F3: f3}, facts)
    assert found.claim is not None
    assert len(found.claim.readings) == 5
    assert found.claim.readings[-1].value == SPECIMEN_F3_HZ
    assert "fitted high-pass" in str(found.claim.readings[-1].definition)
