"""The ball that scatters, against its limits and the conservation of energy."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.scatterer import scattered

COSINES = np.linspace(-1.0, 1.0, 9)


def test_a_small_ball_is_rayleighs() -> None:
    """Amplitude −(k²a³/3)(1 − (3/2) cos γ) (Morse & Ingard 8.2, recalled); what follows is (ka)² less."""
    wavenumbers = np.array([0.2, 0.5])
    found = scattered(0.02, COSINES, wavenumbers)
    expected = -(wavenumbers**2) * 0.02**3 / 3.0 * (1.0 - 1.5 * COSINES[:, None])
    np.testing.assert_allclose(found.real, expected, rtol=3e-4)


def test_a_large_ball_sends_half_its_radius_back() -> None:
    """Geometrical acoustics: a ball reflects alike in all directions, |f| = a/2, its shadow apart."""
    found = np.abs(scattered(0.1, np.array([-1.0, -0.5]), np.linspace(1000.0, 1200.0, 101)))
    np.testing.assert_allclose(found.mean(axis=1), 0.05, rtol=0.01)


@pytest.mark.parametrize("size", [0.1, 1.0, 3.0, 20.0])
def test_what_is_scattered_is_missing_behind(size: float) -> None:
    """The optical theorem: ∫|f|² dΩ = −(4π/k) Im f(0), e^(+jωt) (textbooks have e^(−iωt) and a plus)."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    wavenumber = np.array([size / 0.05])
    section = 2.0 * np.pi * weights @ np.abs(scattered(0.05, nodes, wavenumber)[:, 0]) ** 2
    forward = scattered(0.05, np.ones(1), wavenumber)[0, 0]
    assert section == pytest.approx(-4.0 * np.pi / wavenumber[0] * forward.imag, rel=1e-9)
