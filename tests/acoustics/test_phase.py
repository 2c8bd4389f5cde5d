"""Minimum phase and group delay against closed forms and scipy; the extrapolation's error against its own."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics.phase import (
    group_delay_s,
    minimum_phase,
    minimum_phase_weights,
    slope_error_s,
    tail,
)

POINTS = 96
STEP = float(np.log(2.0)) / POINTS
GRID = 1000.0 * 2.0 ** (np.arange(-541, 415) / POINTS)
W = 2.0 * np.pi * GRID


def high_pass(corner_hz: float, q: float, frequency_hz: np.ndarray = GRID) -> np.ndarray:
    """Second order: s²/(s² + s·w0/Q + w0²)."""
    s, w0 = 2j * np.pi * frequency_hz, 2.0 * np.pi * corner_hz
    return np.asarray(s**2 / (s**2 + s * w0 / q + w0**2))


def resonance(f0: float, q: float, gain: float) -> np.ndarray:
    """A peak: (s² + g·s·w0/Q + w0²)/(s² + s·w0/Q + w0²)."""
    s, w0 = 1j * W, 2.0 * np.pi * f0
    return np.asarray((s**2 + gain * s * w0 / q + w0**2) / (s**2 + s * w0 / q + w0**2))


def test_the_tail_is_the_integral_of_the_kernel() -> None:
    """∫ ln coth(u/2) du from 0 is π²/4 (Bode, recalled); from 1 by quadrature of the kernel itself."""
    assert float(tail(0.0)) == pytest.approx(np.pi**2 / 4.0, rel=1e-12)
    u = np.linspace(1.0, 40.0, 400_001)
    assert float(tail(1.0)) == pytest.approx(np.trapezoid(-np.log(np.tanh(u / 2.0)), u), rel=1e-8)


@pytest.mark.parametrize("slope", [2.0, -4.0])
def test_a_constant_slope_has_a_quarter_turn_an_order(slope: float) -> None:
    phase = minimum_phase(slope * np.log(GRID), STEP, slope, slope)
    np.testing.assert_allclose(phase, slope * np.pi / 2.0, rtol=1e-9)


def test_a_system_of_minimum_phase_gives_its_own() -> None:
    """A sealed box and a resonance of Q = 10 at 1 kHz: 6 dB high. Slopes past the band are true to 1 %."""
    system = high_pass(40.0, 0.7) * resonance(1000.0, 10.0, 2.0)
    low = np.log(np.abs(high_pass(40.0, 0.7, GRID[:2])))
    found = minimum_phase(np.log(np.abs(system)), STEP, (low[1] - low[0]) / STEP, 0.0)
    error = np.rad2deg(np.abs(found - np.unwrap(np.angle(system))))
    # The slope goes on from 1.55 at 20 Hz to 2 at 0 Hz: see the closed form below.
    assert error[GRID > 60.0].max() < 3.0
    assert error[GRID > 300.0].max() < 0.7


def test_scipys_hilbert_finds_the_same_phase() -> None:
    """`scipy.signal.hilbert` of ln|H| round the whole circle of an FFT: −H{ln|H|} is the minimum phase."""
    rate, length = 48_000.0, 2**17
    b, a = scipy.signal.butter(2, [300.0, 5000.0], "bandpass", fs=rate)
    circle = scipy.signal.freqz(b, a, length, whole=True, fs=rate)[1]
    magnitude = np.abs(circle)
    for null in (0, length // 2):
        # At a zero of second order the bin stands for the mean of ln f² over its width: f = e⁻¹ of its half.
        magnitude[null] = magnitude[null + 1] * (0.5 / np.e) ** 2
    hilbert = -np.imag(scipy.signal.hilbert(np.log(magnitude)))
    inside = (GRID >= 21.0) & (GRID <= 19_900.0)
    bins = np.arange(length) * rate / length
    ours = minimum_phase(np.log(np.abs(scipy.signal.freqz(b, a, GRID, fs=rate)[1])), STEP, 2.0, -2.0)
    theirs = np.interp(GRID, bins, hilbert)
    middle = inside & (GRID > 100.0) & (GRID < 2_000.0)
    # Near 24 kHz the sampled band-pass falls without end, which no slope past 20 kHz tells: a delay below.
    line = np.polyfit(GRID[middle], (ours - theirs)[middle], 1)
    assert abs(line[1]) < 0.01
    np.testing.assert_allclose((ours - theirs - np.polyval(line, GRID))[middle], 0.0, atol=0.01)


@pytest.mark.parametrize(("edge", "side"), [(0, 1.0), (-1, -1.0)])
def test_a_slope_that_is_off_errs_by_the_closed_form(edge: int, side: float) -> None:
    level = np.log(np.abs(high_pass(60.0, 0.7)))
    slopes = [0.0, 0.0]
    plain = minimum_phase(level, STEP, *slopes)
    slopes[edge] = 2.0
    change = minimum_phase(level, STEP, *slopes) - plain
    delay = group_delay_s(change, GRID, 1)
    expected = 2.0 * side * slope_error_s(GRID, float(GRID[edge]))
    away = slice(48, -48)
    np.testing.assert_allclose(delay[away], expected[away], rtol=2e-3)


def test_weights_are_the_same_sum() -> None:
    level = np.log(np.abs(high_pass(60.0, 0.7)))
    at = np.array([0, 3, 500, 955])
    np.testing.assert_allclose(
        minimum_phase_weights(GRID.size, STEP, at) @ level,
        minimum_phase(level, STEP, 0.0, 0.0)[at],
        atol=1e-12,
    )


def test_group_delay_of_a_pole_pair_at_its_frequency_is_2q_over_w0() -> None:
    """Computed: Q = 2 at 100 Hz: 6.366 ms. Twice that for an all-pass with these poles."""
    f0, q = float(GRID[np.argmin(np.abs(GRID - 100.0))]), 2.0
    at = int(np.argmin(np.abs(GRID - f0)))
    delay = group_delay_s(np.unwrap(np.angle(high_pass(f0, q))), GRID, 1)
    assert delay[at] == pytest.approx(2.0 * q / (2.0 * np.pi * f0), rel=1e-3)
    s, w0 = 1j * W, 2.0 * np.pi * f0
    all_pass = (s**2 - s * w0 / q + w0**2) / (s**2 + s * w0 / q + w0**2)
    excess = np.unwrap(np.angle(all_pass)) - minimum_phase(np.log(np.abs(all_pass)), STEP, 0.0, 0.0)
    assert group_delay_s(excess, GRID, 1)[at] == pytest.approx(4.0 * q / (2.0 * np.pi * f0), rel=1e-3)
    # At 0 Hz it is 2/(Q·ω0): at 20 Hz, a fifth of f0, (1 + W²)/((1 − W²)² + W²/Q²) times that.
    w = GRID[2] / f0
    expected = 2.0 / (q * w0) * (1.0 + w**2) / ((1.0 - w**2) ** 2 + (w / q) ** 2)
    assert group_delay_s(excess, GRID, 1)[2] == pytest.approx(expected, rel=1e-3)


def test_scipys_group_delay_agrees() -> None:
    rate = 48_000.0
    b, a = scipy.signal.butter(4, 2_000.0, fs=rate)
    _, samples = scipy.signal.group_delay((b, a), GRID, fs=rate)
    response = scipy.signal.freqz(b, a, GRID, fs=rate)[1]
    found = group_delay_s(np.unwrap(np.angle(response)), GRID, 1)
    inside = (GRID > 25.0) & (GRID < 15_000.0)
    np.testing.assert_allclose(found[inside], samples[inside] / rate, rtol=2e-3)


def test_the_ends_have_no_group_delay() -> None:
    delay = group_delay_s(np.zeros(20), GRID[:20], 4)
    assert np.flatnonzero(np.isfinite(delay)).tolist() == list(range(4, 16))
