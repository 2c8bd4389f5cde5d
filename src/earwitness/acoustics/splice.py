"""Joining two responses: one that holds below a frequency, one that holds above.

Source: common practice; the weight, and that levels and phases are cross-faded apart, are defined here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]


def crossfade_weight(frequency_hz: Float64s, low_hz: float, high_hz: float) -> Float64s:
    """The upper response's weight: 0 up to `low_hz`, a raised cosine over log f, 1 from `high_hz`: (F,)."""
    place = np.log(frequency_hz / low_hz) / np.log(high_hz / low_hz)
    return np.asarray(np.sin(0.5 * np.pi * np.clip(place, 0.0, 1.0)) ** 2)


def aligned(low: Complex128s, high: Complex128s, frequency_hz: Float64s, overlap: slice) -> Complex128s:
    """The lower responses (D, F) with a delay and a constant phase each that fit the upper ones best.

    Levels are left alone. The fit is by least squares over the overlap, weighted with the levels there.
    """
    f = frequency_hz[overlap]
    cross = high[:, overlap] * low[:, overlap].conj()
    phase = np.unwrap(np.angle(cross), axis=-1)
    weight = np.abs(cross)
    total = weight.sum(axis=-1, keepdims=True)
    mean_f = (weight * f).sum(axis=-1, keepdims=True) / total
    mean_phase = (weight * phase).sum(axis=-1, keepdims=True) / total
    spread = (weight * (f - mean_f) ** 2).sum(axis=-1, keepdims=True)
    slope = (weight * (f - mean_f) * (phase - mean_phase)).sum(axis=-1, keepdims=True) / spread
    turn = mean_phase + slope * (frequency_hz - mean_f)
    return np.asarray(low * np.exp(1j * turn))


def blended(low: Complex128s, high: Complex128s, weight: Float64s) -> Complex128s:
    """Responses (D, F) cross-faded in level (dB) and phase by a weight (F,): low·(high/low)^weight."""
    return np.asarray(low * np.exp(weight * np.log(high / low)))


def difference_db(low: Complex128s, high: Complex128s) -> Float64s:
    """The upper's level over the lower's, dB, shape (D, F)."""
    return np.asarray(20.0 * np.log10(np.abs(high) / np.abs(low)))


def root_mean_square(values: Float64s) -> Float64s:
    """Of values (..., F) over the last axis: (...). Not the mean: a comb between near and far has none."""
    return np.asarray(np.sqrt(np.mean(values**2, axis=-1)))
