"""Expected information against closed forms, and against integrals by a general library."""

from __future__ import annotations

import numpy as np
import pytest
from evaluation.next_takes import passes
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from earwitness.findings.outcomes import entropy_bits, open_bits, threshold_bits


def test_what_measures_perfectly_tells_all_and_what_measures_nothing_none() -> None:
    assert open_bits(0.11) == pytest.approx(0.49992, abs=1e-5)  # −0.11·lb 0.11 − 0.89·lb 0.89
    assert threshold_bits(0.11, 1.0) == pytest.approx(0.49992, rel=5e-3)
    assert threshold_bits(0.11, 0.0) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("p", "s", "sigma"), [(0.3, 0.7, 0.5), (0.5, 1.0, 2.0), (0.85, 0.4, 0.4)])
def test_a_threshold_and_a_value_by_the_integral_of_their_joint_density(
    p: float, s: float, sigma: float
) -> None:
    """e ~ N(μ, s²) passes 0 with probability p; y = e + N(0, σ²). I = H(p) + Σ ∫ p(y, z) lb P(z|y) dy."""
    mean, wide = s * norm.ppf(p), np.hypot(s, sigma)
    back, left = s**2 / wide**2, s * sigma / wide

    def term(y: float) -> float:
        q = norm.cdf((mean + back * (y - mean)) / left)
        inside = [v * np.log2(v) for v in (q, 1.0 - q) if v > 0.0]
        return float(norm.pdf(y, mean, wide) * sum(inside))

    told, _ = quad(term, mean - 8.0 * wide, mean + 8.0 * wide, limit=400)
    assert threshold_bits(p, back) == pytest.approx(open_bits(p) + told, abs=2e-4)


@pytest.mark.parametrize("rho", [0.2, 0.5, 0.9])
def test_a_value_tells_more_than_its_sign(rho: float) -> None:
    """Signs of two normals agree with 1/2 + arcsin(ρ)/π (Sheppard 1899, recalled): 1 − H of it, at least."""
    agree = 0.5 + float(np.arcsin(rho)) / np.pi
    by_sign = 1.0 - entropy_bits(np.array([agree, 1.0 - agree]))
    assert by_sign < threshold_bits(0.5, rho**2) < 1.0


@given(st.floats(0.02, 0.98), st.floats(0.0, 1.0))
def test_information_lies_between_nothing_and_what_is_open(p: float, told: float) -> None:
    assert 0.0 <= threshold_bits(p, told) <= open_bits(p) + 1e-3


def test_a_measured_value_moves_the_probability_by_bayes() -> None:
    """Before N(0, 1), a value 1 above with σ = 1: mean 0.5, variance 0.5, so Φ(0.5/√0.5) = 0.7602."""
    assert passes(0.5, 0.5, 1.0) == pytest.approx(float(norm.cdf(np.sqrt(0.5))), rel=1e-6)
    assert passes(0.3, 0.0, 9.0) == pytest.approx(0.3, rel=1e-6)
    # Φ⁻¹(0.3) = −0.5244, so the mean goes to −0.5244 + 0.5·1.5244 = 0.2378: Φ(0.2378/√0.5) = 0.6317
    assert passes(0.3, 0.5, 1.0) == pytest.approx(0.6317, abs=1e-4)
