"""Whether a loudspeaker settles while a sweep goes on: what of its harmonics a slower sweep would change.

A sweep tells order n as steady tones do where what makes it answers within a time in which the sweep hardly
moves. A source of order n that is the n-th power of a motion X differs from steady, in its first order, by

    G_sweep / G = 1 − ½j·ω'·(1 − 1/n)·d²(ln G)/dω²,   ω' = ω/L,

since the deconvolution itself puts right what comes after the source, and a delay before it (G the order's
amplitude, L the time in which the sweep rises by a factor e). What makes an order isn't known to be a power
of one motion: so the term corrects nothing, it tells how unsure an order is. It halves with twice the sweep.

Source: the second term of the answer to a slowly changing frequency (computed; tested on a resonance before
a square, and on steady tones of the virtual workshop). The limits are defined here.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.harmonics import Orders
from earwitness.acoustics.smoothing import smooth_power

Float64s = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complexfloating]

#: Slopes are those of a cubic through so many points, an eighth of an octave of the derived grid.
POINTS: Final = 13
#: What bends only by noise says nothing: an order counts so far above it.
STRONG_DB: Final = 20.0
#: Where an order falls into a notch its slope counts re its own mean beside it, and this part of that.
LEAST_PART: Final = 0.25
#: What is unsure at one frequency is so alike over a sixth of an octave.
FRACTION: Final = 6


def unsettled_power(orders: Orders, linear: Complexes, rate_s: float, points_per_octave: float) -> Float64s:
    """What each order's |amplitude|² is unsure by, as noise of that power would make it, shape (N, F).

    A relative error e of an amplitude counts as noise of 2e²: e = 0.22 hides an order, as 10 dB of signal to
    noise do. 0 for the fundamental, and where an order is lost in noise or ends.

    Parameters
    ----------
    orders
        On a grid that is even in log frequency.
    linear
        Shape (N, F): the linear response at n·f (`harmonics.through_windows`), which takes room and
        microphone off.
    rate_s
        L.
    """
    f = orders.frequency_hz
    known = orders.valid & (np.abs(linear) > 0.0)
    ratio = np.where(known, orders.amplitude / np.where(known, linear, 1.0), 0.0).astype(np.complex128)
    off = np.zeros(ratio.shape)
    half = POINTS // 2
    if f.size < 2 * POINTS:
        return off
    value, first, second, mean_square = _slopes(ratio, float(np.log(f[1] / f[0])))
    size = np.maximum(np.abs(value) ** 2, LEAST_PART**2 * mean_square)
    bend = second - first - first**2 * np.conj(value) / np.maximum(size, np.finfo(float).tiny)
    part = (1.0 - 1.0 / orders.order)[:, None]
    middle = slice(half, f.size - half)
    off[:, middle] = np.abs(part * bend / (4.0 * np.pi * f[middle] * rate_s)) ** 2
    whole = np.lib.stride_tricks.sliding_window_view(known, POINTS, axis=-1).all(axis=-1)
    found = np.abs(orders.amplitude).astype(np.float64) ** 2
    strong = found > orders.noise_power * 10.0 ** (0.1 * STRONG_DB)
    off[:, middle] = np.where(whole & strong[:, middle], off[:, middle], 0.0)
    off[:, :half], off[:, f.size - half :] = 0.0, 0.0
    spread, _ = smooth_power(off, np.ones(off.shape, dtype=np.bool_), FRACTION, points_per_octave)
    return np.asarray(2.0 * np.nan_to_num(spread) * np.where(known, np.abs(linear) ** 2, 0.0))


def _slopes(values: Complexes, step: float) -> tuple[Complexes, Complexes, Complexes, Float64s]:
    """Value, first and second derivative of the cubic about each inner point, and the mean square there."""
    place = np.arange(POINTS) - POINTS // 2
    fit = np.linalg.pinv(np.vander(place.astype(np.float64), 4, increasing=True))[:3]
    fit *= np.array([1.0, 1.0 / step, 2.0 / step**2])[:, None]
    windows = np.lib.stride_tricks.sliding_window_view(values, POINTS, axis=-1)
    found = windows @ fit.T
    mean_square = np.mean(np.abs(windows) ** 2, axis=-1)
    return found[..., 0], found[..., 1], found[..., 2], mean_square
