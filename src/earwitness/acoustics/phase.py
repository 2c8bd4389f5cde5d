"""Phase: group delay, and the phase that a magnitude demands of a system of minimum phase.

On a grid of log frequency u = ln f the minimum phase is the convolution of the slope of the log magnitude
with ln coth(|u|/2)/π (Bode, Network Analysis and Feedback Amplifier Design, 1945, chapter 14: recalled).
Between the points the log magnitude is taken to run straight, which makes each step's part a difference of

    T(U) = ∫ from U to ∞ of ln coth(u/2) du = Li2(e^−U) − Li2(−e^−U),   T(0) = π²/4,

so the sum is exact for such a magnitude; no part of a circle is closed, and nothing is folded back.

Past the band the log magnitude is taken to run on with a constant slope. Where the true slope is another one
by n (a slope of n is 6.02·n dB to the octave), the phase is off by n·T(U)/π at U from the edge, and the group
delay by n·ln coth(U/2)/(2π²f): a closed form, no guess.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.fft
from scipy.special import spence

Float64s = npt.NDArray[np.float64]


def minimum_phase(log_magnitude: npt.ArrayLike, step: float, below: float, above: float) -> Float64s:
    """Minimum phase in radians, shape (..., F), from ln|H| of shape (..., F) on a grid of ln f with `step`.

    `below` and `above` are the slopes d ln|H|/d ln f past the two ends. Worked number: a slope of 2 (12 dB to
    the octave) everywhere has a phase of π.
    """
    values = np.asarray(log_magnitude, dtype=np.float64)
    points = values.shape[-1]
    slopes = np.diff(values, axis=-1) / step
    length = scipy.fft.next_fast_len(3 * points, real=True)
    kernel = scipy.fft.rfft(_kernel(points, step)[::-1], length)
    product = scipy.fft.irfft(scipy.fft.rfft(slopes, length) * kernel, length)
    inside = product[..., points - 2 : 2 * points - 2]
    place = np.arange(points) * step
    return np.asarray(inside + (below * tail(place) + above * tail(place[-1] - place)) / np.pi)


def minimum_phase_weights(points: int, step: float, at: npt.ArrayLike) -> Float64s:
    """Weights (R, F) of ln|H| that give the minimum phase at the points `at` (R,), the tails left out."""
    first = np.asarray(at, dtype=np.intp)[:, None]
    kernel = _kernel(points, step)[np.arange(points - 1) - first + points - 1] / step
    weights = np.zeros((first.size, points))
    weights[:, 1:] += kernel
    weights[:, :-1] -= kernel
    return weights


def group_delay_s(phase: npt.ArrayLike, frequency_hz: Float64s, half_width: int) -> Float64s:
    """−dφ/dω in s, shape (..., F), of an unwrapped phase in radians, over `half_width` points either way.

    NaN at the ends, where those points aren't there.
    """
    turned = np.asarray(phase, dtype=np.float64)
    delay = np.full(turned.shape, np.nan)
    width = 2 * half_width
    change = turned[..., width:] - turned[..., :-width]
    delay[..., half_width:-half_width] = -change / (
        2.0 * np.pi * (frequency_hz[width:] - frequency_hz[:-width])
    )
    return delay


def slope_error_s(frequency_hz: Float64s, edge_hz: float) -> Float64s:
    """What a slope past `edge_hz` that is off by 1 changes in the minimum phase's group delay, s, shape (F,).

    Positive for a fall that is steeper below the lower edge, or above the upper one, than was taken; infinite
    at the edge itself.
    """
    distance = np.abs(np.log(frequency_hz / edge_hz))
    with np.errstate(divide="ignore"):
        return np.asarray(-np.log(np.tanh(0.5 * distance)) / (2.0 * np.pi**2 * frequency_hz))


def tail(distance: npt.ArrayLike) -> Float64s:
    """T(U) = ∫ ln coth(u/2)du from U ≥ 0 to ∞, of the distances' shape, by dilogarithms."""
    z = np.exp(-np.asarray(distance, dtype=np.float64))
    return np.asarray(spence(1.0 - z) - spence(1.0 + z))


def _kernel(points: int, step: float) -> Float64s:
    """∫ ln coth(|u|/2) du/π over each step from −(F − 1) to F − 1 steps away, shape (2F − 2,)."""
    reach = tail(np.arange(points) * step) / np.pi
    part = reach[:-1] - reach[1:]
    return np.concatenate([part[::-1], part])
