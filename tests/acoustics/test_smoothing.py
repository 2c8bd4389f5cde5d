from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from earwitness.acoustics.smoothing import OCTAVE_RATIO, band_mean_weights, smooth_power
from earwitness.records.grid import POINTS_PER_OCTAVE, derived_grid

GRID = derived_grid()
EVERYWHERE = np.ones(len(GRID), dtype=np.bool_)


@pytest.mark.parametrize("fraction", [1, 3, 6, 12, 24, 48])
def test_a_constant_stays_what_it_is(fraction: int) -> None:
    smooth, valid = smooth_power(np.full(len(GRID), 0.25), EVERYWHERE, fraction, POINTS_PER_OCTAVE)
    assert valid.any()
    np.testing.assert_allclose(smooth[valid], 0.25, rtol=1e-9)


@pytest.mark.parametrize("fraction", [1, 3])
@pytest.mark.parametrize("slope", [-2.0, 1.0, 4.0])
def test_a_power_law_keeps_its_slope_and_is_raised_by_the_closed_form(fraction: int, slope: float) -> None:
    # Mean of f^n over the window: f^n·sinh(nh)/(nh), h = ln(G)/2b (integral in closed form).
    power = (GRID / 1000.0) ** slope
    smooth, valid = smooth_power(power, EVERYWHERE, fraction, POINTS_PER_OCTAVE)
    h = np.log(OCTAVE_RATIO) / (2 * fraction)
    expected_db = 10 * np.log10(np.sinh(slope * h) / (slope * h))
    raised_db = 10 * np.log10(smooth[valid] / power[valid])
    # Steps of 1/96 octave are worth about 2e-5·n² dB, under 1 % of what is expected (0.0096·n² dB or more).
    np.testing.assert_allclose(raised_db, expected_db, atol=2e-5 * slope**2)


def test_a_line_spreads_over_the_window_and_no_further() -> None:
    power = np.zeros(len(GRID))
    power[400] = 1.0
    smooth, valid = smooth_power(power, EVERYWHERE, 3, POINTS_PER_OCTAVE)
    reached = GRID[valid & (smooth > 0)]
    width = np.log2(OCTAVE_RATIO) / 3
    assert np.log2(reached[-1] / reached[0]) == pytest.approx(width, abs=1 / POINTS_PER_OCTAVE)
    assert smooth[400] == pytest.approx(1 / (width * POINTS_PER_OCTAVE), rel=1e-9)
    assert np.nansum(smooth) == pytest.approx(1.0, rel=1e-9)


def test_what_touches_an_invalid_point_is_not_valid() -> None:
    valid = EVERYWHERE.copy()
    valid[300] = False
    power = np.where(valid, 1.0, np.nan)
    smooth, smooth_valid = smooth_power(power, valid, 3, POINTS_PER_OCTAVE)
    half = 0.5 * np.log2(OCTAVE_RATIO) / 3
    away = np.abs(np.log2(GRID / GRID[300]))
    assert not smooth_valid[away < half].any()
    far = (away > half + 1 / POINTS_PER_OCTAVE) & (np.arange(len(GRID)) > 20) & (np.arange(len(GRID)) < 930)
    assert smooth_valid[far].all()
    np.testing.assert_array_equal(np.isfinite(smooth), smooth_valid)


def test_the_ends_of_the_grid_are_refused() -> None:
    _, valid = smooth_power(np.ones(len(GRID)), EVERYWHERE, 1, POINTS_PER_OCTAVE)
    assert GRID[valid][0] / GRID[0] == pytest.approx(np.sqrt(OCTAVE_RATIO), rel=0.01)
    assert GRID[-1] / GRID[valid][-1] == pytest.approx(np.sqrt(OCTAVE_RATIO), rel=0.01)


def test_a_window_within_one_step_changes_nothing() -> None:
    power = np.linspace(1.0, 2.0, len(GRID))
    smooth, valid = smooth_power(power, EVERYWHERE, 96, POINTS_PER_OCTAVE)
    np.testing.assert_array_equal(smooth, power)
    assert valid.all()


def test_a_grid_shorter_than_the_window_gives_nothing() -> None:
    smooth, valid = smooth_power(np.ones(20), np.ones(20, dtype=np.bool_), 1, POINTS_PER_OCTAVE)
    assert not valid.any()
    assert np.isnan(smooth).all()


@given(arrays.arrays(np.float64, (2, 3, 120), elements=st.floats(1e-6, 1e3)))
def test_rows_are_smoothed_alike_and_stay_between_their_extremes(power: np.ndarray) -> None:
    valid = np.ones(120, dtype=np.bool_)
    smooth, smooth_valid = smooth_power(power, valid, 3, POINTS_PER_OCTAVE)
    one, _ = smooth_power(power[1, 2], valid, 3, POINTS_PER_OCTAVE)
    np.testing.assert_allclose(smooth[1, 2], one)
    inside = smooth[smooth_valid]
    assert inside.max() <= power.max() * (1 + 1e-9)
    assert inside.min() >= power.min() * (1 - 1e-6) - 1e-9


@given(st.floats(21.0, 5000.0), st.floats(1.3, 3.9))
def test_a_line_over_log_frequency_has_the_mean_of_its_ends(low: float, ratio: float) -> None:
    weights = band_mean_weights(GRID, (low, low * ratio))
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert weights @ np.log(GRID) == pytest.approx(np.log(low * np.sqrt(ratio)), abs=1e-9)
    assert weights.min() >= 0


def test_a_band_beyond_the_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="beyond the grid"):
        band_mean_weights(GRID, (10.0, 100.0))
