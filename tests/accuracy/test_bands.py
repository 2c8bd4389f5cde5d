"""The counting of bands, on errors whose distribution is known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from accuracy.bands import THIRDS_HZ, Banded, banded, count_of, root_mean_square, share_of, smooth_error_db
from accuracy.run import LEAST, MOST

from earwitness.records.grid import derived_grid


def made_up(seed: int, spread_db: float) -> Banded:
    """A level error of 0.4 dB and one of each point's own of 0.3 dB; said to be `spread_db` in all."""
    lots = np.random.default_rng(seed)
    points = len(THIRDS_HZ)
    return Banded(
        seed=seed,
        shape="sphere",
        frequency_hz=THIRDS_HZ,
        error_db=0.4 * lots.normal() + 0.3 * lots.normal(size=points),
        uncertainty_db=np.full(points, spread_db),
        region=np.arange(points) % 4,
        lot=int(lots.integers(points)),
    )


def within(share: float) -> bool:
    return LEAST <= share <= MOST


def test_right_bands_are_counted_as_right() -> None:
    cases = [made_up(seed, 0.5) for seed in range(2000)]
    assert share_of(cases).value == pytest.approx(0.95, abs=0.01)
    assert count_of(cases).value == pytest.approx(0.95, abs=0.015)
    assert root_mean_square(cases) == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("factor", [0.8, 1.3])
def test_bands_that_are_a_quarter_too_narrow_or_too_wide_are_seen(factor: float) -> None:
    cases = [made_up(seed, 0.5 * factor) for seed in range(200)]
    assert not within(share_of(cases).value)


def test_errors_that_go_together_widen_the_share_s_own_error() -> None:
    """Points of one case aren't trials of their own: 2 % of points inside or not would be 0.3 % of 5800."""
    share = share_of([made_up(seed, 0.5) for seed in range(200)])
    assert share.error > 2.0 * np.sqrt(0.95 * 0.05 / (200 * len(THIRDS_HZ)))


def test_a_region_counts_its_own_points() -> None:
    case = made_up(1, 0.5)
    wrong = dataclasses.replace(case, error_db=np.where(case.region == 2, 9.0, 0.0))
    assert share_of([wrong], 2).value == 0.0
    assert share_of([wrong], 1).value == 1.0


def test_the_microphone_s_error_has_unit_variance_and_its_memory() -> None:
    frequency = 1000.0 * 2.0 ** np.array([-3.0, 0.0, 1.0])
    lots = np.random.default_rng(3)
    drawn = np.stack([smooth_error_db(frequency, 1.0, lots) for _ in range(8000)])
    assert drawn.std(axis=0) == pytest.approx(np.ones(3), abs=0.03)
    assert np.mean(drawn[:, 1] * drawn[:, 2]) == pytest.approx(np.exp(-0.5), abs=0.03)


def test_the_fixed_frequencies_are_points_of_the_grid() -> None:
    steps = 96.0 * np.log2(THIRDS_HZ / derived_grid()[0])
    assert steps == pytest.approx(np.round(steps), abs=1e-6)


def test_a_drawn_case_goes_through() -> None:
    """A ball: its points lie on the grid of thirds and have a band."""
    case = banded(1000)
    assert case.refused == ""
    assert case.error_db.size > 15
    assert 0.2 < root_mean_square([case]) < 2.5
