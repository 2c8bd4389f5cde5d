"""Admittance from voltage and current that a sweep left in two channels, and what noise makes of it.

The current's spectrum over the voltage's is the admittance (by definition; the windows are defined here),
whatever the sweep, the amplifier and the converter did to both. Back in time it rings for a part of a second;
harmonics, which the driver adds to the current, come to lie before it, as they do after deconvolution, and a
window cuts them off. Noise is told from between the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: How much is kept after the beginning, s, and how much of that fades out at the end.
KEPT_S: Final = 1.0
FADED_PART: Final = 0.25
#: How much is kept before it, re the time by which the second harmonic leads, and from how much before that
#: noise is told.
BEFORE_PART: Final = 0.4
NOISE_PART: Final = 0.25
#: What lies below the band follows on from so much of it, octaves.
EDGE_OCTAVES: Final = 1.0 / 6.0
#: Bins are so narrow, or finer, Hz.
BIN_HZ: Final = 0.1
#: The band of the mean about a frequency, octaves in all.
BAND_OCTAVES: Final = 1.0 / 96.0
#: The power of noise is smoothed over so much, octaves in all.
NOISE_OCTAVES: Final = 1.0 / 3.0
#: Noise is told by no less than this, s.
LEAST_NOISE_S: Final = 0.02


@dataclass(frozen=True)
class Admittance:
    """Current over voltage at F frequencies, and one standard uncertainty of its magnitude.

    The latter is from noise, and from how the magnitude bends inside the band of the mean.
    """

    value: Complex128s
    uncertainty: Float64s


def admittance(
    voltage: npt.ArrayLike,
    current: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    band_hz: tuple[float, float],
    lead_s: float,
    frequency_hz: Float64s,
) -> Admittance:
    """The admittance that two recordings of one sweep hold.

    Parameters
    ----------
    voltage, current
        Shape (n,) each, of the whole sweep and of what rings after it.
    band_hz
        The band that the sweep fills.
    lead_s
        By how much the second harmonic leads the linear response.
    frequency_hz
        Shape (F,), rising.

    Returns
    -------
    Of shape (F,) each, in the unit of current over voltage. The uncertainty is NaN where the sweep is too
    short to tell noise.
    """
    volts, amperes = (np.asarray(x, dtype=np.float64) for x in (voltage, current))
    length = scipy.fft.next_fast_len(volts.size, real=True)
    played = scipy.fft.rfft(volts, length, workers=1)
    spectrum = scipy.fft.rfft(amperes, length, workers=1)
    hertz = scipy.fft.rfftfreq(length, 1.0 / sample_rate_hz)
    inside = slice(*(int(i) for i in np.searchsorted(hertz, band_hz)))
    response = scipy.fft.irfft(_filled(spectrum[inside] / played[inside], hertz, inside), length, workers=1)
    lead = lead_s * sample_rate_hz
    before = round(BEFORE_PART * lead)
    after = min(round(KEPT_S * sample_rate_hz), length // 2)
    faded = round(FADED_PART * after)
    window = np.concatenate([_rise(before), np.ones(after - faded), _rise(faded)[::-1]])
    size = scipy.fft.next_fast_len(max(round(sample_rate_hz / BIN_HZ), window.size), real=True)
    kept = np.zeros(size)
    kept[:after] = response[:after] * window[before:]
    kept[size - before :] = response[length - before :] * window[:before]
    spectrum = scipy.fft.rfft(kept, workers=1)
    value, bins = _mean_about(spectrum, sample_rate_hz / size, frequency_hz, BAND_OCTAVES)
    wider, _ = _mean_about(spectrum, sample_rate_hz / size, frequency_hz, 2.0 * BAND_OCTAVES)
    # What bends moves the mean by a third of what twice the band moves it on.
    bent = np.abs(np.abs(wider) - np.abs(value)) / 3.0
    quiet = response[length - before - round(NOISE_PART * lead) : length - before]
    noise = _noise_power(quiet, sample_rate_hz, frequency_hz)
    energy = float(np.sum(window**2))
    # Bins of the mean are independent only so far apart as the window's length makes them.
    independent = np.maximum(1.0, bins / size * energy**2 / float(np.sum(window**4)))
    return Admittance(np.asarray(value), np.sqrt(noise * energy / independent / 2.0 + bent**2))


def _filled(part: Complex128s, hertz: Float64s, inside: slice) -> Complex128s:
    """A spectrum that is known inside a band: what lies outside follows on without a step.

    Below, its real part is even and its imaginary part odd, each of two terms that meet the band's lowest
    part in value and slope; above, it stays.
    """
    whole = np.zeros(hertz.size, dtype=np.complex128)
    whole[inside] = part
    whole[inside.stop :] = part[-1]
    met = slice(0, max(4, int(np.searchsorted(hertz[inside], hertz[inside.start] * 2.0**EDGE_OCTAVES))))
    edge_hz = hertz[inside][met]
    below = hertz[: inside.start]
    for power, values in ((0, part[met].real), (1, part[met].imag)):
        terms = np.stack([edge_hz**power, edge_hz ** (power + 2)], axis=-1)
        scale = terms.max(axis=0)
        found = np.linalg.lstsq(terms / scale, values, rcond=None)[0] / scale
        whole[: inside.start] += (1j**power) * (found[0] * below**power + found[1] * below ** (power + 2))
    return whole


def _rise(count: int) -> Float64s:
    return np.asarray(np.sin(0.5 * np.pi * (np.arange(count) + 0.5) / max(count, 1)) ** 2)


def _mean_about(
    values: npt.NDArray[np.inexact], bin_hz: float, frequency_hz: Float64s, octaves: float
) -> tuple[npt.NDArray[np.inexact], Float64s]:
    """Means of bins (B,) over bands about frequencies (F,), and how many bins wide they are, one at least.

    Bins count by the part of them that lies inside.
    """
    centre = frequency_hz / bin_hz + 0.5
    half = np.maximum(0.5, frequency_hz / bin_hz * (2.0 ** (0.5 * octaves) - 1.0))
    running = np.concatenate([[0.0], np.cumsum(values)])
    place = np.arange(running.size)
    low, high = (np.interp(centre + side * half, place, running.real) for side in (-1.0, 1.0))
    mean: npt.NDArray[np.inexact] = (high - low) / (2.0 * half)
    if np.iscomplexobj(values):
        low, high = (np.interp(centre + side * half, place, running.imag) for side in (-1.0, 1.0))
        mean = mean + 1j * (high - low) / (2.0 * half)
    return mean, 2.0 * half


def _noise_power(quiet: Float64s, sample_rate_hz: float, frequency_hz: Float64s) -> Float64s:
    """Mean power a sample of the spectrum of a quiet stretch about each frequency, shape (F,)."""
    if quiet.size < LEAST_NOISE_S * sample_rate_hz:
        return np.full(frequency_hz.shape, np.nan)
    window = np.hanning(quiet.size + 2)[1:-1]
    power = np.abs(scipy.fft.rfft(quiet * window, workers=1)) ** 2 / float(np.sum(window**2))
    mean, _ = _mean_about(power, sample_rate_hz / quiet.size, frequency_hz, NOISE_OCTAVES)
    return np.asarray(mean, dtype=np.float64)
