"""Worked numbers, computed from the formulas of JCGM 100 (recalled)."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.gum import combined, expanded, type_a

READINGS = np.array([86.1, 86.3, 85.9, 86.2, 86.0])


def test_type_a() -> None:
    assert READINGS.std(ddof=1) == pytest.approx(0.158114, abs=1e-6)
    assert type_a(READINGS) == pytest.approx(0.070711, abs=1e-6)


def test_combined_and_expanded() -> None:
    total = combined([float(type_a(READINGS)), 0.3, 0.2])
    assert total == pytest.approx(0.367423, abs=1e-6)
    assert expanded(total) == pytest.approx(0.734847, abs=1e-6)


def test_arrays_are_combined_point_by_point() -> None:
    np.testing.assert_allclose(combined([np.array([3.0, 0.0]), 4.0]), [5.0, 4.0])
