"""Lines of dips against closed forms, every 10° and 24 points an octave, by levels alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.dip_tracks import DipTrack, dip_track

SPEED = 343.0
FREQUENCY = 200.0 * 2.0 ** (np.arange(24 * 7) / 24.0)
ANGLES = np.arange(-60.0, 61.0, 10.0)


def dip_hz(level_db: npt.NDArray[np.float64], near_hz: float) -> float:
    """The lowest dip within a fifth of an octave, by a parabola through the power of three points."""
    power, octaves = 10.0 ** (level_db / 10.0), np.log2(FREQUENCY)
    near = np.flatnonzero(np.abs(octaves - np.log2(near_hz)) <= 0.2)
    at = int(near[np.argmin(power[near])])
    before, here, after = power[at - 1 : at + 2]
    shift = 0.5 * (before - after) / (before - 2.0 * here + after)
    return float(2.0 ** (octaves[at] + shift / 24.0))


def track(way_m: npt.NDArray[np.float64], part: float, angles: npt.NDArray[np.float64]) -> DipTrack:
    """Dips of |1 + part·e^(−jk·way)|, sought about where the closed form has them."""
    waves = 1.0 if part < 0.0 else 0.5
    found = []
    for way in way_m:
        sum_of = 1.0 + part * np.exp(-2j * np.pi * FREQUENCY / SPEED * way)
        level = 20.0 * np.log10(np.abs(sum_of))
        found.append(dip_hz(level, waves * SPEED / abs(way)))
    line = dip_track(angles, np.sign(way_m) * np.array(found), waves, SPEED)
    assert line is not None
    return line


def test_an_edge_is_told_by_its_distance() -> None:
    """0.100 m aside, turned over: A = 0.1, B = −0.1, within 0.2 %."""
    angles = ANGLES[ANGLES <= 40.0]
    line = track(0.1 * (1.0 - np.sin(np.radians(angles))), -0.7, angles)
    assert line.ahead_m == pytest.approx(0.1, rel=2e-3)
    assert line.across_m == pytest.approx(-0.1, rel=2e-3)
    assert line.kind == "edge"
    assert abs(line.ahead_m - 0.1) <= 3.0 * line.ahead_u_m + 1e-9


def test_a_pair_is_told_by_its_spacing() -> None:
    """0.16 m apart, in step: A = 0, B = 0.16, within 0.2 %; dips on both sides."""
    angles = ANGLES[np.abs(ANGLES) >= 20.0]
    line = track(0.16 * np.sin(np.radians(angles)), 0.9, angles)
    assert line.across_m == pytest.approx(0.16, rel=2e-3)
    assert abs(line.ahead_m) < 0.002 * 0.16
    assert line.kind == "pair"


def test_a_pair_with_one_late() -> None:
    """0.16 m apart and 0.06 m late straight ahead."""
    angles = ANGLES[ANGLES >= 0.0]
    line = track(0.06 + 0.16 * np.sin(np.radians(angles)), 0.8, angles)
    assert line.ahead_m == pytest.approx(0.06, rel=2e-3)
    assert line.across_m == pytest.approx(0.16, rel=2e-3)
    assert line.kind == "offset pair"


def test_a_delay_that_no_direction_changes() -> None:
    line = track(np.full(ANGLES.size, 0.25), -0.5, ANGLES)
    assert line.ahead_m == pytest.approx(0.25, rel=2e-3)
    assert line.kind == "fixed"


def test_few_dips_are_no_line() -> None:
    assert dip_track(ANGLES[:3], np.full(3, 1000.0), 0.5, SPEED) is None
    assert dip_track(np.array([0.0, 5.0, 10.0, 15.0]), np.full(4, 1000.0), 0.5, SPEED) is None
