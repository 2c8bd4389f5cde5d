"""What counts as a true feature: made-up effects whose extrema are known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from evaluation.population import FOREIGN, HELD_OUT, TUNING, draw
from evaluation.truth import Spot, TrueFeature, apart, extrema, kth_largest, meets, tracks

from earwitness.records.grid import derived_grid

Floats = npt.NDArray[np.float64]

GRID = derived_grid()


def hump(centre_hz: float, height_db: float, width_octaves: float) -> Floats:
    """A Gaussian hump of that full width at half height."""
    return np.asarray(height_db * 0.5 ** ((2.0 * np.log2(GRID / centre_hz) / width_octaves) ** 2))


def test_an_extremum_has_its_place_height_and_width() -> None:
    (spot,) = extrema(hump(1000.0, -4.0, 0.5), GRID, 3)
    assert (spot.row, spot.sign) == (3, -1)
    assert spot.frequency_hz == pytest.approx(1000.0)
    assert spot.height_db == pytest.approx(-4.0)
    assert spot.width_octaves == pytest.approx(0.5, rel=0.01)


def test_small_ones_and_high_ones_are_none() -> None:
    assert extrema(hump(1000.0, 1.4, 0.5), GRID, 0) == []
    assert extrema(hump(17_000.0, 4.0, 0.1), GRID, 0) == []
    on_a_shoulder = hump(1000.0, 6.0, 3.0) + hump(1000.0, 0.9, 0.1)
    assert len(extrema(on_a_shoulder, GRID, 0)) == 1


def test_tracks_follow_what_moves_and_part_what_jumps() -> None:
    moving = [[Spot(k, 1000.0 * 1.1**k, 3.0, 0.3)] for k in range(4)]
    assert [len(track) for track in tracks(moving)] == [4]
    jumping = [[Spot(0, 1000.0, 3.0, 0.3)], [Spot(1, 1200.0, 3.0, 0.3)], [Spot(2, 1200.0, -3.0, 0.3)]]
    assert [len(track) for track in tracks(jumping)] == [1, 1, 1]


def test_a_found_place_meets_a_true_one_near_it() -> None:
    true = TrueFeature("m", "resonance", "fault", (Spot(2, 1000.0, 3.0, 0.4),), 3.0)
    assert meets([Spot(2, 1000.0 * 2**0.19, 1.0, 0.1)], true)
    assert not meets([Spot(2, 1000.0 * 2**0.21, 1.0, 0.1)], true)
    assert not meets([Spot(3, 1000.0, 1.0, 0.1)], true)
    assert not meets([Spot(2, 1000.0, -1.0, 0.1)], true)


def test_octaves_and_ranks() -> None:
    assert apart(Spot(0, 500.0, 1.0, 1.0), Spot(0, 1000.0, 1.0, 1.0)) == 1.0
    assert kth_largest([1.0, 3.0, 2.0], 2) == 2.0
    assert kth_largest([1.0, 3.0], 3) == 0.0


def test_families_have_no_seed_in_common() -> None:
    ranges = (range(1200), TUNING, HELD_OUT, FOREIGN)
    assert sum(len(set(one)) for one in ranges) == len(set().union(*ranges))


def test_the_foreign_family_is_foreign() -> None:
    for seed in FOREIGN[:40]:
        drawn = draw(seed)
        drivers = drawn.scenario.loudspeaker.source.drivers
        assert "upper woofer" in drivers
        assert drawn.scenario.turntable.angle_spread_deg == 2.0
    assert {draw(seed).has_phase for seed in FOREIGN[:4]} == {True, False}
