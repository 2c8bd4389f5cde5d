"""Noise and hum: power, colour, frequencies."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.fft

from earwitness.virtual.noise import Noise


def test_noise_has_its_stated_power_and_colour() -> None:
    generator = np.random.default_rng(5)
    white = Noise(0.01, 0.0).samples(generator, 2**18, 48_000)
    pink = Noise(0.0, 0.02).samples(generator, 2**18, 48_000)
    assert white.std() == pytest.approx(0.01, rel=0.01)
    assert pink.std() == pytest.approx(0.02, rel=0.03)
    power = np.abs(scipy.fft.rfft(pink)) ** 2
    frequency = np.fft.rfftfreq(2**18, 1 / 48_000)
    octaves = [power[(frequency >= f) & (frequency < 2 * f)].sum() for f in (500.0, 2000.0, 8000.0)]
    np.testing.assert_allclose(octaves / np.mean(octaves), 1.0, atol=0.05)


def test_hum_is_the_mains_and_its_harmonics() -> None:
    found = Noise(0.0, 0.0, hum=(0.02, 0.0, 0.005), mains_hz=60.0).samples(
        np.random.default_rng(1), 48_000, 48_000
    )
    lines = np.abs(scipy.fft.rfft(found)) / 48_000 * np.sqrt(2.0)
    np.testing.assert_allclose(lines[[60, 120, 180]], [0.02, 0.0, 0.005], atol=1e-9)
    assert found.std() == pytest.approx(np.hypot(0.02, 0.005), rel=1e-9)


def test_hum_leaves_the_noise_as_it_is() -> None:
    hum, quiet = (
        Noise(0.01, 0.01, levels).samples(np.random.default_rng(1), 4800, 48_000) for levels in ((0.02,), ())
    )
    assert np.abs(scipy.fft.rfft(hum - quiet))[6:].max() < 1e-9
