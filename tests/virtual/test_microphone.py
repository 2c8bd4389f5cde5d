"""The microphone against closed forms of its two filters."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.chain import Chain
from earwitness.virtual.microphone import Microphone
from earwitness.virtual.noise import Noise


@pytest.mark.parametrize("q", [0.7, 1.1])
def test_levels_of_membrane_and_bass_limit(q: float) -> None:
    """Second order: Q at resonance, |¾ + j/(2Q)|⁻¹ an octave below; first order: −3.01 dB at its limit."""
    microphone = Microphone(24_000.0, q, 3.0, 0.0)
    at_1k = -20.0 * np.log10(np.hypot(1.0 - 1.0 / 576.0, 1.0 / (24.0 * q)))
    expected = [-3.0103, -20.0 * np.log10(np.hypot(0.75, 0.5 / q)), 20.0 * np.log10(q)]
    found = microphone.level_db(np.array([3.0, 12_000.0, 24_000.0]))
    np.testing.assert_allclose(found, np.array(expected) - at_1k, atol=1e-3)


def test_the_converters_filter_is_half_way_down_at_a_quarter_of_its_power() -> None:
    """A squared cosine between its edge and 12/11 of it: −6.02 dB in the middle, −23.32 dB at five sixths."""
    chain = Chain(48_000, 1.0, 0.0, 20_000.0)
    middle, late = 20_000.0 * (1.0 + 1.0 / 22.0), 20_000.0 * (1.0 + 5.0 / 66.0)
    level = 20.0 * np.log10(np.abs(chain.converter(np.array([1000.0, middle, late]))))
    np.testing.assert_allclose(level, [0.0, -6.0206, 40.0 * np.log10(np.cos(np.radians(75.0)))], atol=1e-3)


def test_pink_noise_is_even_from_ten_hertz_up() -> None:
    """As much in the octave from 10 Hz as in any other, and next to nothing below."""
    noise = Noise(0.0, 1.0)
    samples = noise.samples(np.random.default_rng(3), 2**21, 8192)
    power = np.abs(np.fft.rfft(samples)) ** 2
    frequency = np.fft.rfftfreq(samples.size, 1.0 / 8192.0)
    octaves = [
        power[(frequency >= low) & (frequency < 2.0 * low)].sum() for low in 10.0 * 2.0 ** np.arange(8)
    ]
    # 2560 lines in the lowest octave: a standard error of 2 %
    np.testing.assert_allclose(octaves, np.mean(octaves), rtol=0.08)
    assert power[frequency < 9.99].sum() < 1e-6 * octaves[0]
