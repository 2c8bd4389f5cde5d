"""When sound arrives in an impulse response, and when its first reflection does."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]

#: The reflection's search listens above this, where a loudspeaker's own response is short.
REFLECTION_HIGH_PASS_HZ: Final = 2_000.0
#: A reflection rises so far above the quietest moment before it, and isn't weaker than the floor.
REFLECTION_RISE_DB: Final = 8.0
REFLECTION_FLOOR_DB: Final = -30.0
#: Nothing sooner after the arrival than this is taken for a reflection.
REFLECTION_NOT_BEFORE_S: Final = 1e-3


def envelope(response: npt.ArrayLike, sample_rate_hz: float, band_hz: tuple[float, float]) -> Float64s:
    """Magnitude of the analytic signal of a response (..., n), limited to a band with soft edges."""
    x = np.asarray(response)
    n = x.shape[-1]
    length = scipy.fft.next_fast_len(n + n // 8)
    half = scipy.fft.rfft(x, length, axis=-1, workers=1)
    weight = _analytic_weight(length, sample_rate_hz, *band_hz)
    spectrum = np.zeros((*x.shape[:-1], length), dtype=half.dtype)
    spectrum[..., : weight.size] = half * weight.astype(half.real.dtype)
    analytic = scipy.fft.ifft(spectrum, axis=-1, overwrite_x=True, workers=1)[..., :n]
    return np.asarray(np.abs(analytic), dtype=np.float64)


@lru_cache(maxsize=8)
def _analytic_weight(length: int, sample_rate_hz: float, low_hz: float, high_hz: float) -> Float64s:
    """Twice the band's weight at each frequency of a transform, not to be written to."""
    octaves = np.log2(np.maximum(scipy.fft.rfftfreq(length, 1.0 / sample_rate_hz), 1.0))
    weight = 2.0 * _soft(octaves, low_hz, min(high_hz, 0.49 * sample_rate_hz))
    weight.flags.writeable = False
    return weight


def peaks_s(
    response: npt.ArrayLike, sample_rate_hz: float, bands_hz: Sequence[tuple[float, float]]
) -> Float64s:
    """When the envelope of each of B bands is greatest in a response (n,), in s from its start, shape (B,).

    To half the inverse of the band's width: of its spectrum alone, moved down to zero, so on a grid no finer.
    """
    x = np.asarray(response)
    length = scipy.fft.next_fast_len(x.size + x.size // 8, real=True)
    half = scipy.fft.rfft(x, length, workers=1)
    found = []
    for low, high in bands_hz:
        edges = np.array([low / 2.0, high * np.sqrt(2.0)]) * length / sample_rate_hz
        first, stop = max(1, round(edges[0])), round(edges[1])
        part = half[first:stop]
        grid = scipy.fft.next_fast_len(2 * part.size)
        weight = _band_weight(first, part.size, sample_rate_hz / length, low, high)
        moved = scipy.fft.ifft(part * weight, grid, workers=1)
        found.append(int(np.argmax(np.abs(moved[: grid * x.size // length]))) * length / grid)
    return np.asarray(found) / sample_rate_hz


@lru_cache(maxsize=8)
def _band_weight(first: int, count: int, bin_hz: float, low_hz: float, high_hz: float) -> Float64s:
    """A band's weight at `count` frequencies of a transform from its bin `first`, not to be written to."""
    weight = _soft(np.log2(np.arange(first, first + count) * bin_hz), low_hz, high_hz)
    weight.flags.writeable = False
    return weight


def _soft(octaves: Float64s, low_hz: float, high_hz: float) -> Float64s:
    """1 inside a band, falling with half a period of a sine over the octave below and the half above."""
    below = np.clip(1.0 + octaves - np.log2(low_hz), 0.0, 1.0)
    above = np.clip(1.0 - 2.0 * (octaves - np.log2(high_hz)), 0.0, 1.0)
    return np.asarray((np.sin(0.5 * np.pi * below) * np.sin(0.5 * np.pi * above)) ** 2)


def peak_position(curve: Float64s, first: int, last: int) -> float:
    """The place of the greatest value of a curve (n,) in [first, last), in samples, by a parabola."""
    first, last = max(first, 0), min(last, curve.size)
    k = first + int(np.argmax(curve[first:last]))
    if k in (0, curve.size - 1):
        return float(k)
    before, at, after = (float(v) for v in curve[k - 1 : k + 2])
    bend = before - 2.0 * at + after
    return float(k) if bend >= 0.0 else k + 0.5 * (before - after) / bend


def energy_db(response: npt.ArrayLike, sample_rate_hz: float) -> Float64s:
    """The high-passed energy-time curve of a response (n,) in which reflections are sought, dB, shape (n,).

    Re its greatest: the squared envelope above 2 kHz, means over 0.15 ms (defined here).
    """
    smooth, _ = _energy(response, sample_rate_hz)
    return np.asarray(10.0 * np.log10(np.maximum(smooth / max(float(smooth.max()), 1e-300), 1e-20)))


def _energy(response: npt.ArrayLike, sample_rate_hz: float) -> tuple[Float64s, int]:
    """The smoothed squared envelope, and over how many samples."""
    band = (REFLECTION_HIGH_PASS_HZ, 0.4 * sample_rate_hz)
    power = envelope(response, sample_rate_hz, band) ** 2
    width = max(3, round(1.5e-4 * sample_rate_hz))
    return np.convolve(power, np.full(width, 1.0 / width), mode="same"), width


def first_reflection_s(response: npt.ArrayLike, sample_rate_hz: float, arrival: float) -> float | None:
    """Time in s from the arrival (a sample position) to the first reflection in a response (n,).

    In the high-passed energy-time curve, the first moment at which the envelope has risen by 8 dB above its
    quietest moment since the direct sound, and is no more than 30 dB below it. None where there is none.
    """
    smooth, width = _energy(response, sample_rate_hz)
    direct = smooth[max(round(arrival) - width, 0) : round(arrival) + width + 1].max()
    first = round(arrival + REFLECTION_NOT_BEFORE_S * sample_rate_hz)
    level = 10.0 * np.log10(np.maximum(smooth[first:] / direct, 1e-20))
    quietest = np.minimum.accumulate(level)
    risen = (level > quietest + REFLECTION_RISE_DB) & (level > REFLECTION_FLOOR_DB)
    if not risen.any():
        return None
    return float((first + int(np.argmax(risen)) - arrival) / sample_rate_hz)
