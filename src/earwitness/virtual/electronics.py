"""What an amplifier does to a signal before it is volts at the terminals: a limiter, then clipping.

The limiter's curve with its knee and the detector, a peak that falls with the release and is then smoothed by
the attack, both of the gain in decibels, follow Giannoulis, Massberg & Reiss, JAES 60 (6), 2012 (recalled;
their smooth decoupled peak detector). It knows the signal alone, not the load.

Clipping is hard, or soft as v/(1 + |v/c|^p)^(1/p) (defined here). It makes harmonics without end, and is
formed at 32 times the sample rate: at 48 kHz, what folds into the band of a tone of 20 kHz is of the order 76
and above, of one of 7 kHz of the order 217.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft

from earwitness.virtual.arrays import Floats

#: Clipping is formed at so many times the sample rate.
FINER: Final = 32
#: A volt less than this is silence to the limiter's detector.
SILENCE_V: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Limiter:
    """Holds a signal's level.

    Attributes
    ----------
    threshold_v
        Volts (peak, at the terminals) above which it holds the level.
    knee_db
        Over so many decibels about the threshold it sets in.
    attack_s, release_s
        Time constants with which the gain falls and comes back.
    ratio
        Decibels in for a decibel out, above the knee; 10 or more is what is called limiting.
    """

    threshold_v: float
    knee_db: float
    attack_s: float
    release_s: float
    ratio: float = 100.0

    def __post_init__(self) -> None:
        if self.ratio < 1.0:
            raise ValueError(f"ratio is {self.ratio:g}; it is 1 or more")

    def excess_db(self, volts: Floats) -> Floats:
        """By how much a steady level is held down, dB, 0 or above."""
        over = 20.0 * np.log10(np.maximum(np.abs(volts), SILENCE_V) / self.threshold_v)
        slope = 1.0 - 1.0 / self.ratio
        if not self.knee_db:
            return np.asarray(slope * np.maximum(over, 0.0))
        inside = np.clip(over + self.knee_db / 2.0, 0.0, self.knee_db)
        return np.asarray(
            slope * (inside**2 / (2.0 * self.knee_db) + np.maximum(over - self.knee_db / 2.0, 0.0))
        )

    def held(self, volts: Floats, rate_hz: float) -> Floats:
        """The signal (N,) with its gain, from rest."""
        attack, release = (math.exp(-1.0 / (rate_hz * each)) for each in (self.attack_s, self.release_s))
        peak = smooth = 0.0
        gain_db = []
        for excess in self.excess_db(volts).tolist():
            peak = max(excess, release * peak + (1.0 - release) * excess)
            smooth = attack * smooth + (1.0 - attack) * peak
            gain_db.append(smooth)
        return np.asarray(volts * 10.0 ** (-np.array(gain_db) / 20.0))


@dataclass(frozen=True, slots=True)
class Clipping:
    """An amplifier's largest voltage, `clips_v` (peak); hard where no `softness` p is stated."""

    clips_v: float
    softness: float | None = None

    def shaped(self, volts: Floats) -> Floats:
        """What comes out, sample by sample."""
        if self.softness is None:
            return np.clip(volts, -self.clips_v, self.clips_v)
        return np.asarray(
            volts / (1.0 + np.abs(volts / self.clips_v) ** self.softness) ** (1.0 / self.softness)
        )

    def clipped(self, volts: Floats) -> Floats:
        """Periods (..., N), N even, without what lies above half their rate."""
        count = volts.shape[-1]
        fine = scipy.fft.irfft(scipy.fft.rfft(volts), FINER * count) * FINER
        spectrum = scipy.fft.rfft(self.shaped(fine))[..., : count // 2 + 1] / FINER
        return np.asarray(scipy.fft.irfft(spectrum, count))


@dataclass(frozen=True, slots=True)
class Electronics:
    """What lies between the signal and the terminals."""

    limiter: Limiter | None = None
    clipping: Clipping | None = None

    def played(self, volts: Floats, rate_hz: float) -> Floats:
        """Volts at the terminals for a signal (N,), N even, that begins and ends in silence."""
        held = volts if self.limiter is None else self.limiter.held(volts, rate_hz)
        return held if self.clipping is None else self.clipping.clipped(held)

    def tone(self, volts: float, samples: int) -> Floats:
        """A period of a sine with that peak, once the limiter has settled; its release outlasts a period."""
        held = volts
        if self.limiter is not None:
            held *= float(10.0 ** (-self.limiter.excess_db(np.array(volts)) / 20.0))
        wave = held * np.sin(2.0 * np.pi * np.arange(samples) / samples)
        return np.asarray(wave if self.clipping is None else self.clipping.clipped(wave))


#: An amplifier that does nothing but amplify.
PLAIN: Final = Electronics()
