"""Worked numbers, computed from the formulas of JCGM 100 (recalled)."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.gum import combined, effective_degrees, expanded, type_a
from earwitness.methods.student import student_factor

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


def test_effective_degrees_of_the_worked_example() -> None:
    """Five readings have four degrees; with type B of 0.3 and 0.2 the total has 2916."""
    total = combined([float(type_a(READINGS)), 0.3, 0.2])
    assert effective_degrees(total, type_a(READINGS), 4.0) == pytest.approx(2916.0, abs=0.5)
    assert effective_degrees(0.3, 0.0, 4.0) == np.inf


@pytest.mark.parametrize(
    ("readings", "t"), [(2, 12.7062), (3, 4.3027), (5, 2.7764), (10, 2.2622), (np.inf, 1.95996)]
)
def test_student_factor(readings: float, t: float) -> None:
    """t for 95 % of so many readings, one degree fewer (JCGM 100, table G.2; recalled)."""
    assert student_factor(readings - 1.0) * 1.959964 == pytest.approx(t, abs=5.1e-5)
