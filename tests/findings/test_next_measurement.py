"""What to measure next: information by its closed form, and what is proposed in which case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import specimen
from closed_forms import omni, orbits, responses
from features_made import V, causes
from hypothesis import given
from hypothesis import strategies as st

from earwitness.findings.next_measurement import (
    WORDS,
    next_measurement,
    settle_sentence,
    unsettled_sentence,
    with_exposure,
)
from earwitness.findings.next_table import COLUMNS, EFFORT_MIN, SHOWS, Possible
from earwitness.findings.outcomes import entropy_bits, information_bits
from earwitness.findings.take_exposure import caution, exposure_of
from earwitness.records.causes import OF_RESPONSE, Cause, CauseSaid, FeatureCauses
from earwitness.records.curves import CurveName
from earwitness.records.facts import CaseFacts, Radiator, Sphere
from earwitness.records.next_measurement import Apart, NextMeasurement, NextTake, Steps
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeId, TakeKey, TakeKind

ALL = Possible(frozenset(SHOWS), needs_clock=False)


def test_information_of_a_perfect_and_of_an_idle_take() -> None:
    """Two causes alike probable: one bit, if the outcome is sure; none, if both show alike."""
    assert information_bits([0.5, 0.5], [1.0, 0.0]) == pytest.approx(1.0)
    assert information_bits([0.5, 0.5], [0.3, 0.3]) == pytest.approx(0.0, abs=1e-12)


def test_information_of_a_noisy_take() -> None:
    """A binary symmetric channel that errs in a tenth: 1 − H(0.1) = 0.5310 bit (Shannon 1948; computed)."""
    assert information_bits([0.5, 0.5], [0.9, 0.1]) == pytest.approx(0.5310, abs=5e-5)


@given(
    st.lists(st.floats(0.01, 1.0), min_size=2, max_size=5).flatmap(
        lambda odds: st.tuples(
            st.just(odds), st.lists(st.floats(0.0, 1.0), min_size=len(odds), max_size=len(odds))
        )
    )
)
def test_information_is_never_negative_nor_more_than_what_is_open(
    case: tuple[list[float], list[float]],
) -> None:
    odds, shows = case
    told = information_bits(odds, shows)
    assert 0.0 <= told <= entropy_bits(np.array(odds) / np.sum(odds)) + 1e-9
    assert told <= 1.0 + 1e-9


def test_every_take_has_a_likelihood_for_every_cause_and_words() -> None:
    assert all(len(row) == len(COLUMNS) for row in SHOWS.values())
    assert all(0.0 < p < 1.0 for row in SHOWS.values() for p in row)
    assert set(WORDS) == set(NextTake)
    assert set(EFFORT_MIN) == set(SHOWS)
    assert set(COLUMNS) == set(OF_RESPONSE)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (Cause.RESONANCE, Cause.SPACED_SOURCES, {NextTake.NEAR_DRIVERS, NextTake.FINE_VERTICAL}),
        (
            Cause.EDGE_DIFFRACTION,
            Cause.RESONANCE,
            {NextTake.NEAR_DRIVERS, NextTake.FINE_HORIZONTAL, NextTake.FELT},
        ),
        (Cause.PORT_OR_CAVITY, Cause.RESONANCE, {NextTake.NEAR_PORT, NextTake.NEAR_DRIVERS}),
        (Cause.ARTEFACT, Cause.VOICING, {NextTake.ELSEWHERE}),
    ],
)
def test_the_take_fits_the_causes_in_question(first: Cause, second: Cause, expected: set[NextTake]) -> None:
    found = next_measurement(causes((first, 0.6), (second, 0.4)), ALL)
    assert found is not None
    assert found.take in expected
    assert found.between == (first, second)
    assert 0.1 <= found.information_bits <= found.open_bits <= 1.0


def test_what_only_one_plane_tells_apart_is_measured_there() -> None:
    planes = Possible(frozenset({NextTake.FINE_VERTICAL, NextTake.FINE_HORIZONTAL}), needs_clock=False)
    found = next_measurement(causes((Cause.SPACED_SOURCES, 0.5), (Cause.RESONANCE, 0.5)), planes)
    assert found is not None
    assert found.take is NextTake.FINE_VERTICAL
    assert str(settle_sentence(found)).startswith(
        "Steps of five degrees in the vertical plane would tell most between two drive units apart and a "
        "resonance of a drive unit or of the box. How loud that is isn’t known here: start low, leave the "
    )


def test_where_one_cause_is_sure_nothing_is_proposed() -> None:
    sure = causes((Cause.SPACED_SOURCES, 0.95), (Cause.RESONANCE, 0.5))
    assert next_measurement(sure, ALL) is None
    assert str(settle_sentence(None)) == ""


def test_what_tells_nothing_is_not_proposed() -> None:
    both = causes((Cause.SPACED_SOURCES, 0.5), (Cause.CROSSOVER_MISALIGNMENT, 0.5))
    assert next_measurement(both, ALL) is None


def test_without_a_common_clock_a_loopback_comes_first() -> None:
    lost = causes((Cause.RESONANCE, 0.4), (Cause.VOICING, 0.3), cannot_tell=1.0)
    found = next_measurement(lost, replace(ALL, needs_clock=True))
    assert found is not None
    assert found.take is NextTake.SHARED_CLOCK
    assert "loopback" in str(settle_sentence(found))


def test_what_is_measured_already_is_not_possible() -> None:
    measured = responses(omni)
    found = Possible.of(measured, specimen.facts())
    assert found.needs_clock
    assert {NextTake.FINE_VERTICAL, NextTake.IMPEDANCE, NextTake.NEAR_DRIVERS} <= found.takes
    near = tuple((TakeId("near.wav"),) for _ in measured.takes)
    assert (
        NextTake.NEAR_DRIVERS
        not in Possible.of(replace(measured, near_field_takes=near), specimen.facts()).takes
    )
    fine = responses(omni, orbits(5))
    assert NextTake.FINE_VERTICAL not in Possible.of(fine, specimen.facts()).takes
    one_more = (*orbits(), Direction(Orbit.VERTICAL, 5.0))
    assert NextTake.FINE_VERTICAL in Possible.of(responses(omni, one_more), specimen.facts()).takes


def radiators(*names: str) -> CaseFacts:
    unit = replace(specimen.facts().unit, radiators=tuple(Radiator(n, 0.13 + 0.01 * len(n)) for n in names))
    return replace(specimen.facts(), unit=unit)


def close(name: str) -> Take:
    return Take(f"{name}.wav", TakeKey(TakeKind.NEAR_FIELD, drive=Drive(0.28), radiator=name))


def test_a_ruler_is_possible_until_radiators_and_cabinet_are_stated() -> None:
    stated = specimen.facts()
    unit = stated.unit
    placed = replace(unit, radiators=(Radiator("woofer", 0.16),), cabinet=Sphere(0.3))
    for one, expected in (
        (placed, False),
        (replace(placed, cabinet=None), True),
        (replace(placed, radiators=()), True),
    ):
        assert Possible.of(responses(omni), replace(stated, unit=one)).ruler is expected


def test_a_ruler_plays_nothing_and_has_no_caution() -> None:
    said = str(settle_sentence(NextMeasurement(NextTake.RULER, 0.3, 1.0, (Cause.DRIVER_DIRECTIVITY,))))
    assert said.endswith("would tell most about a drive unit that beams, for or against.")


def test_where_nothing_at_hand_would_settle_it_that_is_said() -> None:
    beams = CauseSaid(Cause.DRIVER_DIRECTIVITY, 0.5, 1.1)
    open_ = FeatureCauses((CauseSaid(Cause.EDGE_DIFFRACTION, 0.6, 1.0), beams), 0.0)
    assert str(unsettled_sentence(open_)).startswith(
        "No take at hand would settle whether it is the box’s edges or a drive unit that beams: "
    )
    assert str(unsettled_sentence(replace(open_, cannot_tell=1.0))) == ""
    sure = FeatureCauses((CauseSaid(Cause.EDGE_DIFFRACTION, 0.99, 3.0),), 0.0)
    assert str(unsettled_sentence(sure)) == ""


def test_a_near_field_of_one_radiator_leaves_the_others_open() -> None:
    near = tuple((TakeId("woofer.wav"),) for _ in responses(omni).takes)
    measured = replace(responses(omni), near_field_takes=near)
    facts = radiators("woofer", "tweeter", "port")
    found = Possible.of(measured, facts, (close("woofer"),))
    assert [one.name for one in found.near] == ["tweeter", "port"]
    assert {NextTake.NEAR_DRIVERS, NextTake.NEAR_PORT} <= found.takes
    every = Possible.of(measured, facts, tuple(close(n) for n in ("woofer", "tweeter", "port")))
    assert every.near == ()
    assert not {NextTake.NEAR_DRIVERS, NextTake.NEAR_PORT} & every.takes


def test_radiators_that_are_the_same_need_one_near_field() -> None:
    facts = radiators("upper", "lower")
    alike = replace(facts.unit.radiators[1], same_as="upper")
    facts = replace(facts, unit=replace(facts.unit, radiators=(facts.unit.radiators[0], alike)))
    assert Possible.of(responses(omni), facts, (close("lower"),)).near == ()
    assert [one.name for one in Possible.of(responses(omni), facts).near] == ["upper"]


def test_a_take_has_its_exposure_worked_out() -> None:
    """86 dB at 2.83 V: 85 dB last 8 h a day, 3 dB more half of it (NIOSH 98-126): 8/2^(1/3) = 6.35 h."""
    flat = replace(
        specimen.curve_set(),
        curves={
            **specimen.curve_set().curves,
            CurveName.ON_AXIS: replace(
                specimen.curve_set().curves[CurveName.ON_AXIS], level_db=np.full(specimen.GRID.size, 86.0)
            ),
        },
    )
    open_ = causes((Cause.SPACED_SOURCES, 0.6), (Cause.RESONANCE, 0.4))
    found = with_exposure(
        next_measurement(open_, replace(ALL, takes=frozenset({NextTake.FINE_VERTICAL}))),
        ALL,
        flat,
        responses(omni),
    )
    assert found is not None
    assert found.exposure is not None
    assert found.exposure.hours == pytest.approx(6.35, rel=2e-3)
    told = str(settle_sentence(found, "feature:1/next_measurement"))
    assert "At 2.83 V it plays some 86 dB at one metre" in told
    assert "local law and qualified advice come first" in told


def test_a_near_field_is_loud_before_the_radiator() -> None:
    """A tenth of the drive is 20 dB less; in front of a disc of 65 mm it is 4/0.065 times, 35.8 dB, more."""
    flat = replace(specimen.curve_set().curves[CurveName.ON_AXIS], level_db=np.full(specimen.GRID.size, 86.0))
    curves = replace(specimen.curve_set(), curves={**specimen.curve_set().curves, CurveName.ON_AXIS: flat})
    found = exposure_of(NextTake.NEAR_DRIVERS, 0.065, curves, responses(omni))
    assert found is not None
    assert found.level_db == pytest.approx(86.0 - 20.0 + 35.78, abs=0.01)
    assert "keep ears away" in str(caution(found, "feature:1/next_measurement/exposure"))
    assert exposure_of(NextTake.NEAR_DRIVERS, None, curves, responses(omni)) is None


def test_one_cause_in_question_is_told_for_or_against() -> None:
    found = NextMeasurement(NextTake.NEAR_DRIVERS, 0.2, 0.8, (Cause.RESONANCE,), radiator="mid_1")
    assert str(settle_sentence(found, "feature:1/next_measurement")).startswith(
        "The near field of the mid 1, at a low drive, would tell most about a resonance of a drive unit or "
        "of the box, for or against."
    )


def test_steps_and_what_is_foretold_in_words() -> None:
    here = "feature:1/next_measurement"
    fine = NextMeasurement(
        NextTake.FINE_VERTICAL,
        0.4,
        1.0,
        (Cause.SPACED_SOURCES, Cause.CROSSOVER_MISALIGNMENT),
        steps=Steps(V, 10.0, 40.0, 5.0),
        apart=Apart(Cause.SPACED_SOURCES, 25.0, 2140.0, -6.2),
    )
    told = str(settle_sentence(fine, here))
    assert told.startswith(
        "Steps of 5° between +10° and +40° in the vertical plane would tell most between two"
    )
    assert " Foretold at +25° and 2.1 kHz: 6 dB less with two drive units apart than without." in told
    down = replace(fine, steps=Steps(V, -30.0, 0.0, 5.0))
    assert str(settle_sentence(down, here)).startswith("Steps of 5° between −30° and 0° in")
    side = replace(fine, steps=Steps(V, -60.0, -10.0, 10.0, new_side=True))
    assert str(settle_sentence(side, here)).startswith(
        "The other side of the vertical plane, from −60° to −10° in steps of 10°, would tell"
    )
