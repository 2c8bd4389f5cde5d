"""The variance of what varies broadly over frequency, pooled over neighbouring frequencies.

What changes from one repeat to the next (place, level, temperature) moves a response over about an octave:
three octaves hold 2.8 values that are independent.

Source: JCGM 100, clauses 4.2.3 and 4.2.4 (pooled variance) and annex G (recalled).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import erf

Float64s = npt.NDArray[np.float64]
Integers = npt.NDArray[np.intp]

#: The variance is pooled over so many octaves.
POOLED_OCTAVES: Final = 3.0
#: Octaves in which the correlation of what doesn't repeat falls to 1/e.
BROAD_OCTAVES: Final = 1.0


def pooled(squares: Float64s, freedom: Float64s, points_per_octave: int) -> tuple[Float64s, Float64s] | None:
    """Variance and its degrees of freedom at every point, (F,) each; None where nothing is known anywhere.

    `squares` (F,) are sums of squared deviations and `freedom` (F,) how many of them are free at each point
    of a logarithmic grid, 0 where nothing is known. Each point learns from `POOLED_OCTAVES` about it; a
    variance is no less than zero.
    """
    known = freedom > 0
    if not known.any():
        return None
    window = _window(known, points_per_octave)
    summed, weight, width = (_over(window, v) for v in (squares, freedom, known.astype(np.float64)))
    place, told = np.arange(len(known)), np.flatnonzero(weight)
    variance = np.interp(place, told, np.maximum(summed[told] / weight[told], 0.0))
    values = independent_values(width[told] / points_per_octave)
    degrees = np.interp(place, told, weight[told] / width[told] * values)
    return np.asarray(variance), np.asarray(degrees)


def independent_values(octaves: Float64s) -> Float64s:
    """How many independent values tell the variance of a broad error over so many octaves, at least one.

    Of the octaves' shape. L²/(2·∫(L − d)·exp(−2(d/w)²)): squares of what has the correlation exp(−(d/w)²)
    have the square of it. Worked number: 2.76 over three octaves, with w = 1.
    """
    length = np.maximum(octaves, 1e-3) / BROAD_OCTAVES
    overlap = length * np.sqrt(np.pi / 8.0) * erf(np.sqrt(2.0) * length) - 0.25 * (
        1.0 - np.exp(-2.0 * length**2)
    )
    return np.asarray(np.maximum(0.5 * length**2 / overlap, 1.0))


def _window(known: npt.NDArray[np.bool_], points_per_octave: int) -> tuple[Integers, Integers]:
    """First and last-but-one point of what each point learns from: `POOLED_OCTAVES` about it.

    It is moved to where it holds known points: up from below them, down from above.
    """
    first, last = np.flatnonzero(known)[[0, -1]]
    half = round(0.5 * POOLED_OCTAVES * points_per_octave)
    lowest = min(first + half, (first + last) // 2)
    highest = max(last - half, (first + last) // 2)
    centre = np.clip(np.arange(len(known)), lowest, highest)
    return np.maximum(centre - half, 0), np.minimum(centre + half + 1, len(known))


def _over(window: tuple[Integers, Integers], values: Float64s) -> Float64s:
    running = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(running[window[1]] - running[window[0]])
