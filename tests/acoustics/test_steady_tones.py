"""Tones on whole hertz: found again, cut to what is steady, and held against another clock."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics import signals
from earwitness.acoustics.steady_tones import NotSteadyTonesError, pace_difference, steady_part, tones_in

RATE = 8000
BINS = signals.multitone_bins(20.0, 3_500.0, 25, RATE, RATE)


def played(seconds: int) -> np.ndarray:
    return np.tile(signals.multitone(BINS, RATE, 7), seconds)


def test_tones_are_found_again_behind_silence() -> None:
    samples = np.concatenate([np.zeros(1234), 0.05 * played(4), np.zeros(777)])
    rounded = np.round(samples * 2**23) / 2**23
    assert tones_in(rounded, RATE).tolist() == BINS.tolist()


@pytest.mark.parametrize("hertz", [100.25, 100.5])
def test_tones_between_hertz_are_refused(hertz: float) -> None:
    time = np.arange(5 * RATE) / RATE
    with pytest.raises(NotSteadyTonesError, match="whole hertz"):
        tones_in(np.sin(2.0 * np.pi * hertz * time) + np.sin(2.0 * np.pi * 900.0 * time), RATE)


def test_what_is_steady_lies_inside_what_sounds() -> None:
    rng = np.random.default_rng(3)
    samples = np.concatenate([np.zeros(5000), played(5), np.zeros(9000)]) + 0.01 * rng.normal(size=54_000)
    part = steady_part(samples, RATE)
    assert 5000 + 0.9 * RATE <= part.start <= 5000 + 1.2 * RATE
    assert 5000 + 4.7 * RATE <= part.stop <= 5000 + 5 * RATE
    with pytest.raises(NotSteadyTonesError, match="after the first one"):
        steady_part(played(3)[: 2 * RATE + 900], RATE)


@pytest.mark.parametrize("parts", [-3e-6, 0.0, 5e-8])
def test_the_clock_is_told_to_parts_in_a_hundred_million(parts: float) -> None:
    time = np.arange(6 * RATE) / RATE * (1.0 + parts)
    phase = np.random.default_rng(2).uniform(0.0, 2.0 * np.pi, BINS.size)
    x = np.sum(np.cos(2.0 * np.pi * BINS[:, None] * time + phase[:, None]), axis=0)
    noisy = x + 0.003 * np.random.default_rng(4).normal(size=x.size)
    assert pace_difference(noisy, RATE, BINS) == pytest.approx(parts, abs=2e-8)
