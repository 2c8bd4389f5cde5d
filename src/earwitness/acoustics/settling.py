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

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating
from earwitness.acoustics.harmonics import Orders, order_windows
from earwitness.acoustics.smoothing import smooth_power

Float64s = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complexfloating]

#: Slopes are those of a cubic through so many points, an eighth of an octave of the derived grid.
POINTS: Final = 13
#: What bends only by noise says nothing: an order counts so far above it.
STRONG_DB: Final = 20.0
#: Times in a window at which it is worked out by how much noise bends on average; that much is taken off.
TIMES: Final = 24
#: Where an order falls into a notch its slope counts re its own mean beside it, and this part of that.
LEAST_PART: Final = 0.25
#: What is unsure at one frequency is so alike over a sixth of an octave.
FRACTION: Final = 6
#: And where an order falls steeply what its neighbours are unsure by reaches it: the greatest within so much.
REACH_OCTAVES: Final = 1.0 / 12.0


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
    step = float(np.log(f[1] / f[0]))
    value, first, second, mean_square = _slopes(ratio, step)
    size = np.maximum(np.abs(value) ** 2, LEAST_PART**2 * mean_square)
    bend = second - first - first**2 * np.conj(value) / np.maximum(size, np.finfo(float).tiny)
    part = (1.0 - 1.0 / orders.order)[:, None]
    middle = slice(half, f.size - half)
    per_bend = part / (4.0 * np.pi * f[middle] * rate_s)
    noise = np.where(known, orders.noise_power / np.where(known, np.abs(linear) ** 2, 1.0), 0.0)[:, middle]
    bent = _bent_by_noise(rate_s, orders.order.size, float(f[0]), step, f.size) * noise
    off[:, middle] = per_bend**2 * np.maximum(np.abs(bend) ** 2 - np.nan_to_num(bent), 0.0)
    whole = np.lib.stride_tricks.sliding_window_view(known, POINTS, axis=-1).all(axis=-1)
    found = np.abs(orders.amplitude).astype(np.float64) ** 2
    strong = found > orders.noise_power * 10.0 ** (0.1 * STRONG_DB)
    off[:, middle] = np.where(whole & strong[:, middle], off[:, middle], 0.0)
    off[:, :half], off[:, f.size - half :] = 0.0, 0.0
    spread, _ = smooth_power(off, np.ones(off.shape, dtype=np.bool_), FRACTION, points_per_octave)
    spread = _greatest_beside(np.nan_to_num(spread), round(REACH_OCTAVES * points_per_octave))
    return np.asarray(2.0 * spread * np.where(known, np.abs(linear) ** 2, 0.0))


def _greatest_beside(values: Float64s, reach: int) -> Float64s:
    """The greatest value within so many points either way."""
    padded = np.pad(values, [(0, 0), (reach, reach)])
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=-1).max(axis=-1))


@lru_cache(maxsize=4)
def _bent_by_noise(rate_s: float, highest: int, first_hz: float, step: float, points: int) -> Float64s:
    """Expected |bend|² by noise of power 1 that passes each order's window, shape (N, F − 12).

    Noise at a time t turns by e^(−j2πnft) along the grid, and each time has its share of the window.
    """
    f = first_hz * np.exp(step * np.arange(points))
    slopes = _fit(step)
    weights = slopes[2] - slopes[1]
    found = np.zeros((highest, points - POINTS + 1))
    for row, window in enumerate(order_windows(rate_s, highest)):
        time_s = np.linspace(-window.lead_s, window.length_s, TIMES)
        share = gating.gate(time_s, window.lead_s, window.length_s) ** 2
        turned = np.exp(-2j * np.pi * window.order * np.multiply.outer(time_s, f))
        beside = np.lib.stride_tricks.sliding_window_view(turned, POINTS, axis=-1)
        found[row] = share @ np.abs(beside @ weights) ** 2 / share.sum()
    found.flags.writeable = False
    return found


def _fit(step: float) -> Float64s:
    """Weights (3, `POINTS`) of value, first and second derivative of the cubic about the middle point."""
    place = np.arange(POINTS) - POINTS // 2
    fit = np.linalg.pinv(np.vander(place.astype(np.float64), 4, increasing=True))[:3]
    return np.asarray(fit * np.array([1.0, 1.0 / step, 2.0 / step**2])[:, None])


def _slopes(values: Complexes, step: float) -> tuple[Complexes, Complexes, Complexes, Float64s]:
    """Value, first and second derivative of the cubic about each inner point, and the mean square there."""
    fit = _fit(step)
    windows = np.lib.stride_tricks.sliding_window_view(values, POINTS, axis=-1)
    found = windows @ fit.T
    mean_square = np.mean(np.abs(windows) ** 2, axis=-1)
    return found[..., 0], found[..., 1], found[..., 2], mean_square
