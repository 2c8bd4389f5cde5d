"""Where limits are passed, against closed forms of a polynomial driven at several levels."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics.passing import Passing, crossing, earliest, first_passing, lasting_from, runs

DRIVES_DB = np.arange(0.0, 25.0, 3.0)


def test_distortion_that_grows_with_the_level() -> None:
    """x + a·x²: the second harmonic is a·A/2 of the fundamental, a straight line in decibels."""
    amplitude = 10.0 ** (DRIVES_DB / 20.0)
    ratios_db = 20.0 * np.log10(np.outer(amplitude, [0.002, 0.02, 0.0002]))
    found = first_passing(DRIVES_DB[:, None], ratios_db, 20.0 * np.log10(0.01))
    assert found.level_db == pytest.approx([20.0 * np.log10(5.0), 0.0, 24.0], abs=1e-9)
    assert found.found.tolist() == [True, False, False]
    assert found.less_than.tolist() == [False, True, False]
    assert found.at_least.tolist() == [False, False, True]


def test_compression_of_a_cubic() -> None:
    """x − a·x³ has its fundamental at A·(1 − ¾·a·A²): 1 dB down where A² = (1 − 10^(−1/20))·4/(3a)."""
    a = 1e-3
    amplitude = 10.0 ** (DRIVES_DB / 20.0)
    change = 20.0 * np.log10(1.0 - 0.75 * a * amplitude**2)
    passed_db = 10.0 * np.log10((1.0 - 10.0 ** (-1.0 / 20.0)) * 4.0 / (3.0 * a))
    found = first_passing(DRIVES_DB[:, None], -change[:, None], 1.0)
    # between levels 3 dB apart the bend is taken as straight
    assert found.level_db[0] == pytest.approx(passed_db, abs=0.5)
    fine = np.arange(0.0, 24.0, 0.05)
    change = 20.0 * np.log10(1.0 - 0.75 * a * 10.0 ** (fine / 10.0))
    assert first_passing(fine[:, None], -change[:, None], 1.0).level_db[0] == pytest.approx(
        passed_db, abs=1e-3
    )


def test_nothing_is_said_past_what_is_not_known() -> None:
    value = np.array([[-60.0, np.nan, -60.0], [np.nan, -50.0, -50.0], [-20.0, -20.0, -20.0]])
    found = first_passing(np.array([[80.0], [86.0], [92.0]]), value, -40.0)
    assert found.level_db[[0, 2]] == pytest.approx([80.0, 88.0])
    assert np.isnan(found.level_db[1])
    assert found.at_least.tolist() == [True, False, False]
    assert found.found.tolist() == [False, False, True]


def test_what_noise_hides_at_the_lowest_drives_may_be_passed_over() -> None:
    """Straight lines between known levels; a first known value over the limit bounds it from above."""
    nan = np.nan
    value = np.array(
        [[nan, nan, nan, -60.0, nan], [-50.0, -30.0, -50.0, nan, nan], [-20.0, -20.0, nan, -20.0, nan]]
    )
    levels = np.array([[80.0], [86.0], [92.0]])
    found = first_passing(levels, value, -40.0, hidden_below=True)
    assert found.level_db[:4] == pytest.approx([88.0, 86.0, 86.0, 80.0])
    assert np.isnan(found.level_db[4])
    assert found.found.tolist() == [True, False, False, False, False]
    assert found.less_than.tolist() == [False, True, False, False, False]
    assert found.at_least.tolist() == [False, False, True, True, False]


def test_the_earliest_of_several() -> None:
    def of(level: list[float], kinds: str) -> Passing:
        return Passing(np.array(level), *(np.array([k == sign for k in kinds]) for sign in ("f", "a", "l")))

    both = earliest(
        [of([90.0, 100.0, 100.0, 80.0, np.nan], "faalu"), of([95.0, 97.0, 100.0, 99.0, 90.0], "ffaff")]
    )
    assert both.level_db[:4] == pytest.approx([90.0, 97.0, 100.0, 80.0])
    assert np.isnan(both.level_db[4])
    assert both.found.tolist() == [True, True, False, False, False]
    assert both.at_least.tolist() == [False, False, True, False, False]
    assert both.less_than.tolist() == [False, False, False, True, False]


def test_stretches() -> None:
    within = np.array([True, False, True, True, False, True, True, False])
    known = np.array([True, True, True, True, True, True, True, False])
    assert runs(within) == [(0, 0), (2, 3), (5, 6)]
    assert lasting_from(within, known) == 5
    assert lasting_from(~within, known) is None
    assert lasting_from(np.ones(8, bool), np.ones(8, bool)) == 0
    assert lasting_from(within, np.zeros(8, bool)) is None
    holed = np.array([True, True, True, False, True, True, True, True])
    assert lasting_from(np.ones(8, bool), holed) == 4


def test_another_monotone_curve_tells_what_the_straight_one_misses() -> None:
    """A straight line leaves nothing; 10^(0.1·L) at levels 6 dB apart is missed by up to twice as told."""
    line = crossing(DRIVES_DB, 2.0 * DRIVES_DB - 9.0, 0.0)
    assert line is not None
    assert (line.slope, line.bend_db) == pytest.approx((2.0, 0.0), abs=1e-12)
    level = np.arange(0.0, 31.0, 6.0)
    bent = crossing(level, 10.0 ** (0.1 * (level - 20.0)), 0.5)
    assert bent is not None
    true_db = 20.0 + 10.0 * np.log10(0.5)
    straight = np.interp(0.5, 10.0 ** (0.1 * (level - 20.0)), level)
    assert 0.5 < abs(straight - true_db) < 2.0 * bent.bend_db < 3.0
    slopes = (10.0**-0.2 - 10.0**-0.8) / 6.0
    assert bent.slope == pytest.approx(slopes)


def test_no_crossing_is_none() -> None:
    level = np.array([80.0, 86.0, 92.0])
    for value in ([1.0, 2.0, 3.0], [-3.0, -2.0, -1.0], [np.nan, np.nan, 1.0]):
        assert crossing(level, np.array(value), 0.0) is None
