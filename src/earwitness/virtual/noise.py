"""What a recording holds besides the sound: noise and hum."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft

from earwitness.virtual.arrays import Floats

#: Rooms are quiet below it.
PINK_FROM_HZ = 10.0


@dataclass(frozen=True, slots=True)
class Noise:
    """Background of a recording: RMS of its parts, re digital full scale.

    The white part fills 0 Hz to half the sample rate; the pink part has equal power in every octave from
    `PINK_FROM_HZ` up. `hum` is the mains frequency's and its harmonics', from the first up, each with a phase
    of its own in every recording.
    """

    white: float
    pink: float
    hum: tuple[float, ...] = ()
    mains_hz: float = 50.0

    def samples(self, generator: np.random.Generator, count: int, sample_rate_hz: int) -> Floats:
        """One stretch of it, shape (count,)."""
        amplitude = _amplitude(self.white, self.pink, count, sample_rate_hz)
        normal = generator.normal(size=(2, len(amplitude)))
        spectrum = amplitude * (normal[0] + 1j * normal[1])
        return np.asarray(scipy.fft.irfft(spectrum, count)) + self._hum(generator, count, sample_rate_hz)

    def _hum(self, generator: np.random.Generator, count: int, sample_rate_hz: int) -> Floats:
        turn = 2.0 * np.pi * self.mains_hz / sample_rate_hz * np.arange(count)
        total = np.zeros(count)
        for harmonic, level in enumerate(self.hum, start=1):
            phase = generator.uniform(0.0, 2.0 * np.pi)
            total += np.sqrt(2.0) * level * np.sin(harmonic * turn + phase)
        return total


@lru_cache(maxsize=4)
def _amplitude(white: float, pink: float, count: int, sample_rate_hz: int) -> Floats:
    """Of each bin of so many samples: the standard deviation of its real and imaginary part."""
    frequencies = np.fft.rfftfreq(count, 1.0 / sample_rate_hz)
    heard = frequencies >= PINK_FROM_HZ
    share = np.where(heard, 1.0 / np.maximum(frequencies, PINK_FROM_HZ), 0.0)
    power = white**2 / len(frequencies) + pink**2 * share / share.sum()
    return np.asarray(count / 2.0 * np.sqrt(power))
