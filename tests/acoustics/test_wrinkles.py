"""Resonances that were put into smooth curves, and smooth curves without any."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.wrinkles import resonances

POINTS = 96
FREQUENCIES = 100.0 * 2.0 ** (np.arange(5 * POINTS) / POINTS)
Complexes = npt.NDArray[np.complex128]


def broad() -> Complexes:
    """5.6 Ω with 0.4 mH, and a circuit of Q 2 about 1.5 kHz that adds 15 Ω."""
    s = 2j * np.pi * FREQUENCIES
    return np.asarray(5.6 + 4e-4 * s + 15.0 / (1.0 + 2j * (FREQUENCIES / 1500.0 - 1500.0 / FREQUENCIES)))


def ringing(hz: float, q: float, amplitude: complex) -> Complexes:
    return np.asarray(1.0 + amplitude / (1.0 + 1j * q * (FREQUENCIES / hz - hz / FREQUENCIES)))


@pytest.mark.parametrize(
    ("hz", "q", "amplitude"), [(331.3, 18.0, 0.01), (790.0, 35.0, -0.02j), (2333.0, 12.0, 0.03)]
)
def test_frequency_q_and_height(hz: float, q: float, amplitude: complex) -> None:
    (found,) = resonances(broad() * ringing(hz, q, amplitude), POINTS, 0.003)
    assert 100.0 * 2.0 ** (found.place / POINTS) == pytest.approx(hz, rel=2e-3)
    assert found.q == pytest.approx(q, rel=0.05)
    assert found.height == pytest.approx(abs(amplitude), rel=0.05)


def test_two_of_them_and_one_that_is_too_low() -> None:
    rings = ringing(331.3, 18.0, 0.01) * ringing(1100.0, 18.0, 0.002) * ringing(2333.0, 12.0, 0.03)
    found = resonances(broad() * rings, POINTS, 0.004)
    assert [round(100.0 * 2.0 ** (one.place / POINTS), -1) for one in found] == [330.0, 2330.0]


def test_none_on_what_is_broad() -> None:
    assert resonances(broad(), POINTS, 1e-3) == []


@pytest.mark.parametrize("period_octaves", [0.12, 0.2])
def test_ripple_is_no_resonance(period_octaves: float) -> None:
    """Of a ripple that goes on and on one pole takes off a part, not most."""
    ripple = np.exp(0.01 * np.cos(2.0 * np.pi * np.log2(FREQUENCIES) / period_octaves))
    assert resonances(ripple.astype(np.complex128), POINTS, 1e-3) == []


def test_none_in_noise() -> None:
    random = np.random.default_rng(5)
    for _ in range(20):
        noise = 1e-3 * random.normal(size=(2, FREQUENCIES.size))
        assert resonances(broad() * (1.0 + noise[0] + 1j * noise[1]), POINTS, 1e-4, 1e-3) == []


def test_a_short_curve_has_none() -> None:
    assert resonances(broad()[:20], POINTS, 1e-3) == []
