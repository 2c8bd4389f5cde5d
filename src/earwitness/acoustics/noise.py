"""What noise does to a level.

Source: the spectrum of white noise seen through a window, and small errors to first order (closed forms).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]

#: Half the band over which the noise's power is averaged, in octaves, and its least number of bins.
HALF_BAND_OCTAVES: Final = 1.0 / 12.0
LEAST_HALF_BINS: Final = 2
#: Under this signal-to-noise ratio a level is not valid.
LEAST_SNR_DB: Final = 10.0


def power_per_sample(noise: npt.ArrayLike, sample_rate_hz: float, frequency_hz: Float64s) -> Float64s:
    """Expected |spectrum|² that one sample of noise adds, shape (..., F), from stretches (..., M).

    Times Σw² it is the noise power in the spectrum of a response that passed the gate w.
    """
    x = np.asarray(noise)
    window, held = _window(x.shape[-1])
    power = np.abs(scipy.fft.rfft(x * window, axis=-1, workers=1)).astype(np.float64) ** 2
    running = np.cumsum(np.concatenate([np.zeros((*x.shape[:-1], 1)), power], axis=-1), axis=-1)
    bin_hz = sample_rate_hz / x.shape[-1]
    centre = frequency_hz / bin_hz
    half = np.maximum(centre * (2.0**HALF_BAND_OCTAVES - 1.0), LEAST_HALF_BINS)
    first = np.clip(np.floor(centre - half), 1, power.shape[-1] - 2).astype(int)
    last = np.clip(np.ceil(centre + half) + 1, first + 1, power.shape[-1]).astype(int)
    mean = (running[..., last] - running[..., first]) / (last - first)
    return np.asarray(mean / held)


@lru_cache(maxsize=32)
def _window(size: int) -> tuple[npt.NDArray[np.float32], float]:
    """Hann's window without its zeros, not to be written to, and the sum of its squares."""
    window = np.hanning(size + 2)[1:-1].astype(np.float32)
    window.flags.writeable = False
    return window, float(np.sum(window.astype(np.float64) ** 2))


def rms_above(noise: npt.ArrayLike, sample_rate_hz: float, low_hz: Float64s) -> Float64s:
    """RMS of a stretch of noise (M,) above each of some frequencies (B,), by Hann's window, shape (B,).

    White noise of 4 kHz bandwidth has half its power above 2 kHz.
    """
    x = np.asarray(noise)
    window, held = _window(x.size)
    power = np.abs(scipy.fft.rfft(x * window, workers=1)).astype(np.float64) ** 2 * 2.0 / (x.size * held)
    above = np.concatenate([np.cumsum(power[::-1])[::-1], [0.0]])
    first = np.ceil(low_hz * x.size / sample_rate_hz).astype(int)
    return np.asarray(np.sqrt(above[np.minimum(first, power.size)]))


def level_uncertainty_db(signal_power: Float64s, noise_power: Float64s) -> Float64s:
    """Standard uncertainty in dB of a level under noise: 6.14·10^(−SNR/20).

    Powers of any two shapes that go together, in one unit. Noise in phase with the signal, which has half
    the noise's power, changes its level: 20/ln 10 times √(N/2S). At 20 dB: 0.614 dB.
    """
    ratio = noise_power / np.maximum(signal_power, np.finfo(float).tiny)
    return np.asarray(20.0 / np.log(10.0) * np.sqrt(0.5 * ratio))


def hides(signal_power: Float64s, noise_power: Float64s) -> npt.NDArray[np.bool_]:
    """Where noise leaves a level invalid: under 10 dB of signal to noise; not where the noise is NaN.

    Powers of any two shapes that go together, in one unit.
    """
    return np.asarray(signal_power <= noise_power * 10.0 ** (LEAST_SNR_DB / 10.0))
