"""What to measure next: information by its closed form, and what is proposed in which case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import specimen
from closed_forms import omni, orbits, responses
from features_made import causes
from hypothesis import given
from hypothesis import strategies as st

from earwitness.findings.next_measurement import (
    COLUMNS,
    SHOWS,
    WORDS,
    Possible,
    entropy_bits,
    information_bits,
    next_measurement,
    settle_sentence,
)
from earwitness.records.causes import OF_RESPONSE, Cause
from earwitness.records.next_measurement import NextTake
from earwitness.records.takes import Direction, Orbit, TakeId

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
    assert str(settle_sentence(found)) == (
        "Steps of five degrees in the vertical plane would tell most between two drive units apart and a "
        "resonance of a drive unit or of the box."
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
