"""Signals to play: sweeps with fades and emphasis, multitones, noise, and how high their peaks stand.

Levels follow AES17: 0 dBFS is a full-scale sine, so RMS values count from 1/√2. Sources: A. Novak, P. Lotton
and L. Simon, JAES 63 (2015) 786, for the synchronised sweep (recalled); the rest is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics.sweeps import sweep_rate_s, synchronised_sweep

Float64s = npt.NDArray[np.float64]
Colour = Literal["pink", "white"]

#: A tilt turns about this frequency.
TILT_ABOUT_HZ: Final = 1000.0
#: What stands between two samples is found by so many times their number.
OVERSAMPLING: Final = 4
_FULL_SCALE_SINE_RMS: Final = 1.0 / float(np.sqrt(2.0))


@dataclass(frozen=True, slots=True)
class Emphasis:
    """How the amplitude of a sweep goes with frequency, before it is scaled to its greatest.

    A shelf of first order raises by `shelf_db` what lies below `shelf_hz` (half of it, in dB, at that
    frequency); a tilt raises by so many dB for each octave upward.
    """

    shelf_db: float = 0.0
    shelf_hz: float = TILT_ABOUT_HZ
    tilt_db_per_octave: float = 0.0

    def gain_db(self, frequency_hz: npt.ArrayLike) -> Float64s:
        """The gain in dB at frequencies in Hz, same shape.

        With G = 10^(shelf/20): |H|² = (f² + G·fs²)/(f² + fs²/G), and the tilt's dB on top.
        """
        f = np.asarray(frequency_hz, dtype=np.float64)
        gain = 10.0 ** (self.shelf_db / 20.0)
        squared = (f / self.shelf_hz) ** 2
        shelf = 10.0 * np.log10((squared + gain) / (squared + 1.0 / gain))
        return np.asarray(shelf + self.tilt_db_per_octave * np.log2(f / TILT_ABOUT_HZ))


FLAT: Final = Emphasis()


def faded_sweep(
    first_hz: float,
    last_hz: float,
    duration_s: float,
    sample_rate_hz: float,
    *,
    fade_in_s: float,
    fade_out_s: float,
    emphasis: Emphasis = FLAT,
) -> Float64s:
    """A synchronised exponential sweep, shape (n,), whose amplitude is 1 where the emphasis is greatest.

    Fades are halves of a Hann window. The length is that of `sweeps.synchronised_sweep`.
    """
    wave = synchronised_sweep(first_hz, last_hz, duration_s, sample_rate_hz)
    time = np.arange(wave.size) / sample_rate_hz
    rate = sweep_rate_s(first_hz, last_hz, duration_s)
    gain_db = emphasis.gain_db(first_hz * np.exp(time / rate))
    wave = wave * 10.0 ** ((gain_db - gain_db.max()) / 20.0)
    fade_in = np.clip(time / fade_in_s, 0.0, 1.0) if fade_in_s else 1.0
    fade_out = np.clip((time[-1] - time) / fade_out_s, 0.0, 1.0) if fade_out_s else 1.0
    return np.asarray(wave * np.sin(0.5 * np.pi * fade_in) ** 2 * np.sin(0.5 * np.pi * fade_out) ** 2)


def multitone_bins(
    first_hz: float, last_hz: float, tones: int, period: int, sample_rate_hz: float
) -> npt.NDArray[np.int_]:
    """The bins of a transform of `period` samples on which tones lie, evenly over log f; shape (T,).

    Each tone has a whole number of cycles in the period. T is less than `tones` where two would fall on one.
    """
    wanted = np.geomspace(first_hz, last_hz, tones) * period / sample_rate_hz
    return np.unique(np.round(wanted).astype(int))


def multitone(bins: npt.NDArray[np.int_], period: int, seed: int, *, lowest_db: float = 0.0) -> Float64s:
    """One period of tones with random phases, shape (period,), of RMS value 1.

    All have one amplitude but the lowest, which stands `lowest_db` above the others.
    """
    phase = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, bins.size)
    spectrum = np.zeros(period // 2 + 1, dtype=np.complex128)
    spectrum[bins] = np.exp(1j * phase)
    spectrum[bins[0]] *= 10.0 ** (lowest_db / 20.0)
    return _of_unit_rms(scipy.fft.irfft(spectrum, period))


def noise(
    samples: int, sample_rate_hz: float, band_hz: tuple[float, float], colour: Colour, seed: int
) -> Float64s:
    """Gaussian noise with nothing outside `band_hz`, shape (samples,), of RMS value 1; it may be looped.

    White noise has the same power in each hertz, pink noise in each octave.
    """
    white = np.random.default_rng(seed).standard_normal(samples)
    spectrum = scipy.fft.rfft(white)
    frequency = scipy.fft.rfftfreq(samples, 1.0 / sample_rate_hz)
    inside = (frequency >= band_hz[0]) & (frequency <= band_hz[1])
    weight = np.where(inside, 1.0, 0.0)
    if colour == "pink":
        weight[inside] /= np.sqrt(frequency[inside])
    return _of_unit_rms(scipy.fft.irfft(spectrum * weight, samples))


def true_peak(samples: npt.ArrayLike) -> float:
    """The greatest magnitude that a converter makes of samples (n,), between them too."""
    x = np.asarray(samples, dtype=np.float64)
    finer = scipy.fft.irfft(scipy.fft.rfft(x), OVERSAMPLING * x.size) * OVERSAMPLING
    return float(max(np.max(np.abs(finer)), np.max(np.abs(x))))


def rms_dbfs(samples: npt.ArrayLike) -> float:
    """RMS value of samples (n,) re that of a full-scale sine, in dB (AES17)."""
    rms = np.sqrt(np.mean(np.square(np.asarray(samples, dtype=np.float64))))
    return float(20.0 * np.log10(rms / _FULL_SCALE_SINE_RMS))


def crest_factor_db(samples: npt.ArrayLike) -> float:
    """Greatest magnitude of samples (n,) over their RMS value, in dB. A sine has 3.01."""
    x = np.asarray(samples, dtype=np.float64)
    return float(20.0 * np.log10(np.max(np.abs(x)) / np.sqrt(np.mean(x**2))))


def _of_unit_rms(samples: Float64s) -> Float64s:
    return np.asarray(samples / np.sqrt(np.mean(samples**2)))
