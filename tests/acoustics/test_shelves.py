"""Shelves against polynomials by a general library, and against the same impulse cut as samples."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import freqs

from earwitness.acoustics.sections import gated_shelves

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

FREQUENCY = np.geomspace(100.0, 16_000.0, 50)


def polynomials(frequency_hz: Floats, centre_hz: float, gain_db: float, q: float) -> Complexes:
    """The same shelf as coefficients of s."""
    root, omega = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * centre_hz
    b = [root * root / omega**2, root * np.sqrt(root) / q / omega, root]
    a = [1.0 / omega**2, np.sqrt(root) / q / omega, root]
    return np.asarray(freqs(b, a, 2.0 * np.pi * frequency_hz)[1])


@pytest.mark.parametrize(("gain", "q"), [(6.0, 0.7), (6.0, 0.3), (-4.0, 0.7), (-4.0, 0.2), (3.0, 1.0)])
def test_without_a_gate(gain: float, q: float) -> None:
    found = gated_shelves(FREQUENCY, np.array([1000.0]), np.array([gain]), np.array([q]), np.inf)[0]
    assert found == pytest.approx(polynomials(FREQUENCY, 1000.0, gain, q), rel=1e-9)


@pytest.mark.parametrize("q", [0.7, 0.3])
def test_through_a_gate(q: float) -> None:
    """At 200 Hz through 3 ms, as samples at 768 kHz: within 0.02 dB, where the gate does 0.1 dB and more."""
    rate, gate_s = 768_000.0, 3e-3
    bins = np.asarray(np.fft.rfftfreq(2**18, 1.0 / rate)[1:], dtype=np.float64)
    rest = polynomials(bins, 200.0, 6.0, q) - 10.0 ** (6.0 / 20.0)
    impulse = np.fft.irfft(np.concatenate([[1.0 - 10.0 ** (6.0 / 20.0)], rest]), 2**18)
    time = np.arange(round(gate_s * rate)) / rate
    # flat to 0.6 of the gate, then half a Hann window
    window = np.cos(0.5 * np.pi * np.clip((time / gate_s - 0.6) / 0.4, 0.0, 1.0)) ** 2
    turns = np.exp(-2j * np.pi * time[:, None] * FREQUENCY)
    sampled = 10.0 ** (6.0 / 20.0) + (impulse[: time.size] * window) @ turns
    found = gated_shelves(FREQUENCY, np.array([200.0]), np.array([6.0]), np.array([q]), gate_s)[0]
    assert 20.0 * np.log10(np.abs(found)) == pytest.approx(20.0 * np.log10(np.abs(sampled)), abs=0.02)
    plain = polynomials(FREQUENCY, 200.0, 6.0, q)
    assert np.max(np.abs(20.0 * np.log10(np.abs(found / plain)))) > 0.1


def test_half_of_the_decibels_lie_at_the_centre() -> None:
    found = gated_shelves(
        np.array([1.0, 1000.0, 1e6]), np.array([1000.0]), np.array([6.0]), np.array([0.6]), np.inf
    )[0]
    assert 20.0 * np.log10(np.abs(found)) == pytest.approx([0.0, 3.0, 6.0], abs=1e-3)


def test_two_poles_that_are_one_are_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.5"):
        gated_shelves(FREQUENCY, np.array([1000.0]), np.array([6.0]), np.array([0.5]), np.inf)
