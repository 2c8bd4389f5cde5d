"""The control chart of individual values against its closed form."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.iso_7870_2 import MOVING_RANGE_FACTOR, individuals


def test_the_factor_is_three_over_the_expected_range_of_two() -> None:
    """The range of two normal values has the mean 2σ/√π (closed form), so 3σ are 3·√π/2 = 2.6587 of it."""
    assert pytest.approx(3.0 * np.sqrt(np.pi) / 2.0, rel=1e-3) == MOVING_RANGE_FACTOR


def test_limits_of_a_worked_chart() -> None:
    """By hand: values 10, 12, 11, mean 11, moving ranges 2 and 1, mean 1.5; 2.66·1.5 = 3.99."""
    limits = individuals(np.array([10.0, 12.0, 11.0]))
    assert (limits.centre, limits.lower, limits.upper) == pytest.approx((11.0, 7.01, 14.99))


def test_of_normal_values_three_in_a_thousand_lie_outside() -> None:
    values = np.random.default_rng(5).standard_normal(20_000)
    limits = individuals(values)
    outside = np.mean((values < limits.lower) | (values > limits.upper))
    assert outside == pytest.approx(0.0027, rel=0.3)  # √54 of 54 counts, twice


def test_two_values_have_no_limits() -> None:
    with pytest.raises(ValueError, match="must be 3"):
        individuals(np.array([1.0, 2.0]))
