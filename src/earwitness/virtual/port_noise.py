"""What air that streams through a port sounds like.

Flow over an edge radiates as a dipole whose power rises as the sixth power of its speed (Curle, Proc. Roy.
Soc. A 231, 505 (1955); recalled): the noise's pressure follows the speed's third power, moment by moment.
Its spectrum, a broad band about 0.2 of the stated speed over the port's diameter (a Strouhal number of 0.2),
and its level are defined here; it sounds from the port's mouth, alike in all directions but for the cabinet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats

STROUHAL: Final = 0.2
#: Of the broad band: as wide as its centre.
BAND_Q: Final = 1.0
#: Mean of (√2 sin)⁶, by which a sine's noise exceeds that of the same steady speed.
SINE_GAIN: Final = 2.5
REFERENCE_PA: Final = 20e-6


@dataclass(frozen=True, slots=True)
class PortNoise:
    """Noise of `level_db` at 1 m (in free air) for a sine of `at_m_s` RMS through the port, dB re 20 µPa."""

    level_db: float
    at_m_s: float

    def band(self, frequencies: Floats, diameter_m: float) -> Floats:
        """The amplitude's form over frequency, 1 at its middle, (F,)."""
        middle = STROUHAL * self.at_m_s / diameter_m
        place = np.maximum(frequencies, 1e-3) / middle
        return np.asarray(1.0 / np.sqrt(1.0 + (BAND_Q * (place - 1.0 / place)) ** 2))

    def volume_velocity(
        self, speed: Floats, diameter_m: float, rate_hz: float, air: Air, generator: np.random.Generator
    ) -> Complexes:
        """That of its noise, for the air's speed over time (N,); a spectrum as of `scipy.fft.rfft`."""
        count = len(speed)
        frequencies = scipy.fft.rfftfreq(count, 1.0 / rate_hz)
        spectrum = self.band(frequencies, diameter_m) * scipy.fft.rfft(generator.normal(size=count))
        spectrum[0] = 0.0
        noise = scipy.fft.irfft(spectrum, count)
        noise /= np.sqrt(np.mean(noise**2))
        loud = REFERENCE_PA * 10.0 ** (self.level_db / 20.0) / math.sqrt(SINE_GAIN)
        pressure = scipy.fft.rfft(loud * noise * np.abs(speed / self.at_m_s) ** 3)
        pressure[0] = 0.0
        omega = np.maximum(2.0 * np.pi * frequencies, 1.0)
        return np.asarray(pressure * 4.0 * np.pi / (1j * omega * air.density))
