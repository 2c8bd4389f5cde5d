"""The law by which an exponential sweep rises, to the last digit, from its own samples.

Source: stationary phase: sin φ with φ = 2π·L·f0·exp((t − t0)/L) + c has, where it passes f, the spectrum's
phase 2π·(L·f − f·t0 − L·f·ln(f/f0)) + c − π/4 (computed, tested on sweeps of known law).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]

#: The part of the band in which the phase is fitted, re its lower and upper edge, and the points used.
FITTED_PART: Final = (4.0, 0.5)
POINTS: Final = 2**14


@dataclass(frozen=True)
class SweepLaw:
    """φ(t) = 2π·L·f0·exp((t − t0)/L) + c, with t counted from the stimulus' first sample.

    `passes_s` is t0, the time at which it passes `reference_hz` (f0); `phase_rad` is c, from −π to π.
    """

    rate_s: float
    passes_s: float
    reference_hz: float
    phase_rad: float

    def time_s(self, frequency_hz: npt.ArrayLike) -> Float64s:
        """When it passes a frequency."""
        ratio = np.asarray(frequency_hz, dtype=np.float64) / self.reference_hz
        return np.asarray(self.passes_s + self.rate_s * np.log(ratio))


def sweep_law(
    stimulus: npt.ArrayLike, sample_rate_hz: float, band_hz: tuple[float, float], rate_s: float
) -> SweepLaw:
    """The law of a sweep (n,) whose band and approximate rate in s are known (`sweeps.band_and_rate`)."""
    x = np.asarray(stimulus, dtype=np.float64)
    length = scipy.fft.next_fast_len(x.size, real=True)
    spectrum = scipy.fft.rfft(x, length, workers=1)
    low, high = FITTED_PART[0] * band_hz[0], FITTED_PART[1] * band_hz[1]
    first, stop = (round(edge * length / sample_rate_hz) for edge in (low, high))
    frequency = np.arange(first, stop) * (sample_rate_hz / length)
    reference = float(np.sqrt(low * high))
    bend = frequency * (np.log(frequency / reference) - 1.0)
    turned = spectrum[first:stop] * np.exp(2j * np.pi * rate_s * bend)
    # the middle's delay first, so that the rest turns little from point to point
    step = turned[1:] * np.conj(turned[:-1])
    delay = -float(np.angle(step.sum())) / (2.0 * np.pi) % 1.0 * length / sample_rate_hz
    rest = np.unwrap(np.angle(turned * np.exp(2j * np.pi * delay * frequency)))
    every = max(1, frequency.size // POINTS)
    basis = np.stack([frequency, bend, np.ones_like(frequency)], axis=-1)[::every]
    scale = np.max(np.abs(basis), axis=0)
    # over log f, as the curves are: each octave counts alike
    weight = 1.0 / np.sqrt(frequency[::every])
    fitted, *_ = np.linalg.lstsq(basis / scale * weight[:, None], rest[::every] * weight, rcond=None)
    slope, curvature, constant = fitted / scale
    phase = float(np.angle(np.exp(1j * (constant + 0.25 * np.pi))))
    turn = 2.0 * np.pi
    return SweepLaw(float(rate_s - curvature / turn), float(delay - slope / turn), reference, phase)
