"""Summing up half-angles: shapes whose plateaus are known by construction."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from earwitness.derive.plateaus import MAX_CLAUSES, STEADY_DEG, stretches
from earwitness.records.grid import Floats

SAMPLES = 70
HZ = 300.0 * 2.0 ** (np.arange(SAMPLES) / 12.0)


def both(half_angle_deg: Floats) -> Floats:
    return np.stack((half_angle_deg, half_angle_deg))


def drawn(*points: tuple[float, float]) -> Floats:
    """Straight in log frequency between points of (Hz, degrees)."""
    hz, degrees = zip(*points, strict=True)
    return np.asarray(np.interp(np.log(HZ), np.log(hz), degrees))


def described(half_angle_deg: Floats) -> list[tuple[float, float, float]]:
    found = stretches(both(half_angle_deg))
    return [
        (HZ[s.first], HZ[s.last], float(np.minimum(half_angle_deg[s.first : s.last + 1], 180.0).mean()))
        for s in found
    ]


def test_two_plateaus_and_a_transition() -> None:
    found = described(drawn((300, 65), (1200, 65), (2500, 45), (9000, 45), (16_200, 45)))
    assert len(found) == 2
    # Ends of plateaus lie on a grid of 1/6 octave.
    np.testing.assert_allclose([f[:2] for f in found], [(300, 1200), (2500, HZ[-1])], rtol=0.13)
    np.testing.assert_allclose([f[2] for f in found], [65, 45], atol=1)


@pytest.mark.parametrize("cycles_per_octave", [0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("share", [0.0, 0.05, 0.08])
def test_ripple_adds_no_plateau(cycles_per_octave: float, share: float) -> None:
    ripple = 1 + share * np.sin(2 * np.pi * cycles_per_octave * np.log2(HZ))
    assert len(stretches(both(60.0 * ripple))) == 1
    steps = drawn((300, 65), (1200, 65), (2500, 45), (16_200, 45)) * ripple
    assert len(stretches(both(steps))) == 2


def test_a_waist_is_a_plateau_of_its_own() -> None:
    found = described(60.0 - 30.0 * np.exp(-((np.log2(HZ / 2000.0) / 0.3) ** 2)))
    assert [round(angle, -1) for *_, angle in found] == [60, 30, 60]


@pytest.mark.parametrize(("start_deg", "end_deg"), [(150, 136), (95, 82), (70, 56), (45, 30)])
def test_what_drifts_is_not_called_steady(start_deg: float, end_deg: float) -> None:
    angle = drawn((300, start_deg), (16_200, end_deg))
    for found in stretches(both(angle)):
        plateau = angle[found.first : found.last + 1]
        assert np.abs(plateau - plateau.mean()).max() < STEADY_DEG + 0.6


def test_from_all_round_to_a_beam() -> None:
    found = described(np.where(HZ < 2000.0, np.inf, 60.0))
    assert [round(angle) for *_, angle in found] == [180, 60]


def test_sides_share_their_clauses() -> None:
    one, other = drawn((300, 60), (16_200, 60)), drawn((300, 70), (2000, 70), (2200, 35), (16_200, 35))
    found = stretches(np.stack((one, other)))
    assert len(found) == 2
    assert HZ[found[1].first] == pytest.approx(2200, rel=0.13)


@given(arrays.arrays(np.float64, (2, 40), elements=st.floats(1.0, 200.0)))
def test_clauses_are_in_order_from_the_first_sample_to_the_last(half_angle_deg: Floats) -> None:
    found = stretches(half_angle_deg)
    assert 1 <= len(found) <= MAX_CLAUSES
    assert found[0].first == 0
    assert found[-1].last == 39
    assert all(s.first <= s.last for s in found)
    assert all(a.last < b.first for a, b in pairwise(found))
