"""Limiter and clipping against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.fft

from earwitness.virtual.electronics import Clipping, Electronics, Limiter

RATE = 48_000.0
LIMITER = Limiter(4.0, 6.0, 0.005, 0.2, ratio=1e9)


def test_the_knee() -> None:
    """Giannoulis et al. 2012, eq. 4: nothing below the knee, (over + W/2)²/2W in it, all of it above."""
    levels = 4.0 * 10.0 ** (np.array([-20.0, -3.0, 0.0, 1.5, 3.0, 12.0]) / 20.0)
    expected = [0.0, 0.0, 9.0 / 12.0, 4.5**2 / 12.0, 3.0, 12.0]
    assert LIMITER.excess_db(levels) == pytest.approx(expected, abs=1e-6)
    hard = Limiter(4.0, 0.0, 0.005, 0.2, ratio=4.0)
    assert hard.excess_db(levels) == pytest.approx([0, 0, 0, 1.125, 2.25, 9.0], abs=1e-6)


def test_attack_and_release() -> None:
    """A step of +20 dB: the gain's decibels fall as 1 − e^(−t/attack), and come back as a pair of poles."""
    volts = np.concatenate([np.zeros(100), np.full(24_000, 40.0), np.full(24_000, 0.4)])
    held = LIMITER.held(volts, RATE)
    gain_db = 20.0 * np.log10(held[100:] / volts[100:])
    for seconds in (0.002, 0.005, 0.02):
        expected = -20.0 * (1.0 - np.exp(-seconds / 0.005))
        assert gain_db[round(seconds * RATE) - 1] == pytest.approx(expected, abs=0.01)
    for seconds in (0.05, 0.2, 0.4):
        # A pole of 0.2 s, seen through one of 0.005 s.
        later = (0.2 * np.exp(-seconds / 0.2) - 0.005 * np.exp(-seconds / 0.005)) / 0.195
        assert gain_db[24_000 + round(seconds * RATE) - 1] == pytest.approx(-20.0 * later, abs=0.02)


def test_a_tone_settles_at_the_threshold() -> None:
    time = np.arange(48_000) / RATE
    held = LIMITER.held(16.0 * np.sin(2.0 * np.pi * 1000.0 * time), RATE)
    assert np.max(held[24_000:]) == pytest.approx(4.0, rel=0.02)
    assert np.max(Electronics(LIMITER).tone(16.0, 64)) == pytest.approx(4.0, rel=1e-6)


def test_a_clipped_sine_has_the_harmonics_of_its_fourier_series() -> None:
    """b₁ = (2/π)(A asin(c/A) + c √(1 − c²/A²)); b₃ from the same integral by quadrature."""
    time = np.arange(4800) / RATE
    clipped = Clipping(6.0).clipped(10.0 * np.sin(2.0 * np.pi * 1000.0 * time))
    spectrum = 2.0 * np.abs(scipy.fft.rfft(clipped)) / 4800
    first = 2.0 / np.pi * (10.0 * np.arcsin(0.6) + 6.0 * 0.8)
    phase = (np.arange(1_000_000) + 0.5) * 2.0 * np.pi / 1_000_000
    third = abs(2.0 * np.mean(np.clip(10.0 * np.sin(phase), -6.0, 6.0) * np.sin(3.0 * phase)))
    assert spectrum[100] == pytest.approx(first, rel=1e-4)
    assert spectrum[300] == pytest.approx(third, rel=1e-3)
    soft = Clipping(6.0, 2.0).shaped(np.array([0.06, 6.0, 600.0]))
    assert soft == pytest.approx([0.06, 6.0 / np.sqrt(2.0), 6.0], rel=1e-4)


def test_what_a_treble_tone_makes_doesnt_fold_into_the_band() -> None:
    """7 kHz clipped by 12 dB at 48 kHz: nothing but harmonics above −80 dB.

    The slope jumps by 4A cos θ where it clips, so that order n has 4A cos θ/(πn²): −82 dB at the 217th, the
    first that folds. Clipped sample by sample it would be −35 dB.
    """
    time = np.arange(4800) / RATE
    wave = 24.0 * np.sin(2.0 * np.pi * 7000.0 * time)
    clip = Clipping(6.0)
    for clipped, low, high in ((clip.clipped(wave), -90.0, -80.0), (clip.shaped(wave), -40.0, 0.0)):
        spectrum = np.abs(scipy.fft.rfft(clipped))
        harmonics = np.zeros(len(spectrum), dtype=bool)
        harmonics[700::700] = True
        strange = 20.0 * np.log10(np.max(spectrum[~harmonics]) / np.max(spectrum))
        assert low < strange < high
