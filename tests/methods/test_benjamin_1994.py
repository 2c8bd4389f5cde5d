"""The heat of an ideal class-B stage against brute force over a cycle."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.benjamin_1994 import load_part

#: Greatest (1 − sin t) sin(t − φ) over a cycle, worked out by hand on a fine grid: 1/(4·that), six decimals.
WORKED = {0: 1.0, 15: 0.662424, 30: 0.470660, 45: 0.353553, 60: 0.278066, 75: 0.227414, 90: 0.192450}


@pytest.mark.parametrize(("phase_deg", "part"), WORKED.items())
def test_worked_numbers(phase_deg: int, part: float) -> None:
    assert load_part(phase_deg) == pytest.approx(part, abs=6e-7)
    assert load_part(-phase_deg) == pytest.approx(part, abs=6e-7)


def test_greatest_heat_of_a_cycle() -> None:
    phase_deg = np.linspace(-90.0, 90.0, 61)
    cycle = np.linspace(0.0, 2.0 * np.pi, 200_001)
    # one transistor carries the positive half of the current only
    for one, part in zip(phase_deg, load_part(phase_deg), strict=True):
        current = np.maximum(np.sin(cycle - np.deg2rad(one)), 0.0)
        heat = float(np.max((1.0 - np.sin(cycle)) * current))
        assert part == pytest.approx(0.25 / heat, rel=1e-6)
