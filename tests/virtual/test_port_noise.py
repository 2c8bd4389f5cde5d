"""Noise of streaming air: its level, and how it rises with speed."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.fft

from earwitness.virtual.air import Air
from earwitness.virtual.port_noise import PortNoise

RATE, COUNT = 48_000.0, 2**17
NOISE = PortNoise(50.0, 10.0)


def level_db(speed_m_s: float) -> float:
    """At 1 m in free air: p = jωρq/4πr."""
    air = Air()
    time = np.arange(COUNT) / RATE
    speed = speed_m_s * np.sqrt(2.0) * np.sin(2.0 * np.pi * 40.0 * time)
    flow = NOISE.volume_velocity(speed, 0.05, RATE, air, np.random.default_rng(5))
    omega = 2.0 * np.pi * scipy.fft.rfftfreq(COUNT, 1.0 / RATE)
    pressure = scipy.fft.irfft(1j * omega * air.density * flow / (4.0 * np.pi), COUNT)
    return float(20.0 * np.log10(np.sqrt(np.mean(pressure**2)) / 20e-6))


def test_it_is_as_loud_as_stated() -> None:
    assert level_db(10.0) == pytest.approx(50.0, abs=0.5)


def test_its_power_rises_as_the_sixth_power_of_the_speed() -> None:
    """Curle 1955: 60 lg 2 = 18.06 dB for twice the speed."""
    assert level_db(20.0) - level_db(10.0) == pytest.approx(18.06, abs=0.01)


def test_its_band_lies_at_a_strouhal_number_of_a_fifth() -> None:
    """0.2 · 10 m/s / 0.05 m = 40 Hz; −3 dB where f/f₀ − f₀/f = 1."""
    frequencies = np.array([40.0, 40.0 * (np.sqrt(5.0) + 1.0) / 2.0])
    assert NOISE.band(frequencies, 0.05) == pytest.approx([1.0, np.sqrt(0.5)], rel=1e-9)
