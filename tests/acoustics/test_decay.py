"""Decay of bursts and of what is left, against closed forms and against filters run in time."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics import bursts, decay

POINTS = 96
GRID = 1000.0 * 2.0 ** (np.arange(-541, 415) / POINTS)
RATE = 48_000.0
CYCLES = np.arange(0.0, 40.0, 0.125)


def centre(hertz: float) -> np.ndarray:
    return np.array([int(np.argmin(np.abs(np.log(GRID / hertz))))])


def envelope(*burst: object) -> np.ndarray:
    return np.abs(bursts.burst_response(*burst))  # type: ignore[arg-type]


def band_pass(f0: float, q: float) -> np.ndarray:
    """(s·w0/Q)/(s² + s·w0/Q + w0²)."""
    s, w0 = 2j * np.pi * GRID, 2.0 * np.pi * f0
    return np.asarray(s * w0 / q / (s**2 + s * w0 / q + w0**2))


def test_a_wire_passes_the_burst_as_it_is() -> None:
    """exp(−(c/σ)²/2): −20 dB after σ·√(2·ln 10) = 2.146 cycles."""
    found = envelope(np.ones(GRID.size), centre(1000.0), POINTS, CYCLES)[0]
    expected = np.exp(-0.5 * (CYCLES / bursts.BURST_CYCLES) ** 2)
    # The spectrum's tails past −40 dB hold 0.24 % of it, and are missing; the peak is made 1 again.
    np.testing.assert_allclose(found, expected, atol=4e-3)
    level = 20.0 * np.log10(found[None] / found[0])
    fall = bursts.last_above(level, np.ones_like(level, dtype=bool), -20.0, 0.125)
    assert fall[0] == pytest.approx(bursts.BURST_FALL_CYCLES, rel=0.02)
    assert pytest.approx(2.146, abs=5e-4) == bursts.BURST_FALL_CYCLES


@pytest.mark.parametrize("q", [10.0, 30.0, 50.0])
def test_a_resonance_falls_by_its_quality(q: float) -> None:
    """8.686·πf0/Q dB/s is 27.29/Q dB to the cycle (computed): 20 dB in 0.7329·Q cycles."""
    f0 = float(GRID[centre(1000.0)[0]])
    passed = envelope(band_pass(f0, q), centre(f0), POINTS, CYCLES)[0]
    level = 20.0 * np.log10(passed)
    late = (CYCLES > 4.0) & (level > level.max() - 30.0)
    slope = np.polyfit(CYCLES[late], level[late], 1)[0]
    assert slope == pytest.approx(-27.2875 / q, rel=0.01)
    later = np.interp(level[late][0] - 20.0, level[late][::-1], CYCLES[late][::-1]) if q < 20 else None
    if later is not None:
        assert later - CYCLES[late][0] == pytest.approx(0.7329 * q, rel=0.01)


def test_the_same_burst_through_a_filter_in_time() -> None:
    """A made burst run through `scipy.signal.lfilter`, its envelope by `scipy.signal.hilbert`."""
    f0 = float(GRID[centre(2000.0)[0]])
    b, a = scipy.signal.iirpeak(f0, 8.0, fs=RATE)
    time = np.arange(-480, 960) / RATE
    burst = np.exp(-0.5 * (time * f0 / bursts.BURST_CYCLES) ** 2) * np.cos(2.0 * np.pi * f0 * time)
    seen = np.abs(scipy.signal.hilbert(scipy.signal.lfilter(b, a, burst)))
    response = scipy.signal.freqz(b, a, GRID, fs=RATE)[1]
    ours = envelope(response, centre(f0), POINTS, np.arange(-2.0, 15.0, 0.25))[0]
    theirs = np.interp(np.arange(-2.0, 15.0, 0.25) / f0, time, seen)
    np.testing.assert_allclose(ours, theirs, atol=0.005)


def test_a_delay_moves_the_peak_and_since_takes_it_back() -> None:
    delayed = np.exp(-2j * np.pi * GRID * 1.3e-3)
    at = centre(1000.0)
    cycles = np.arange(-6.0, 6.25, 0.25)
    peak = cycles[0] + 0.25 * bursts.envelope_peak(envelope(delayed, at, POINTS, cycles))
    assert peak[0] == pytest.approx(1.3e-3 * GRID[at[0]], abs=2e-3)
    moved = envelope(delayed, at, POINTS, CYCLES, peak)
    np.testing.assert_allclose(moved, envelope(np.ones(GRID.size), at, POINTS, CYCLES), atol=1e-3)


def test_the_last_time_above_counts_and_only_what_was_heard() -> None:
    level = np.array([[0.0, -10.0, -30.0, -15.0, -25.0, -40.0]] * 3)
    heard = np.array([[True] * 6, [True] * 4 + [False] * 2, [True] * 3 + [False] * 3])
    assert bursts.last_above(level, heard, -20.0, 0.5).tolist() == pytest.approx(
        [0.5 * 3.5, np.nan, 0.5 * 1.5], nan_ok=True
    )


@pytest.mark.parametrize("q", [5.0, 20.0])
def test_what_is_left_of_a_resonance_falls_alike(q: float) -> None:
    """8.686·πf0/Q dB/s at its own frequency (computed)."""
    f0, time = 3000.0, np.arange(-96, 1440) / RATE
    ringing = np.where(time >= 0.0, np.exp(-np.pi * f0 * time / q) * np.sin(2.0 * np.pi * f0 * time), 0.0)
    moments = np.arange(0.5e-3, 4e-3, 0.25e-3)
    left = decay.cumulative_spectra(
        ringing, RATE, np.array([f0]), start_s=float(time[0]), moments_s=moments, rise_s=2e-4
    )[:, 0]
    slope = np.polyfit(moments, 20.0 * np.log10(left), 1)[0]
    assert slope == pytest.approx(-8.6859 * np.pi * f0 / q, rel=0.02)
