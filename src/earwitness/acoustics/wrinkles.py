"""Narrow resonances on a curve that varies slowly over log frequency, of complex values.

On a window about each point, ln Z is a polynomial in ln f, with and without one resonance
A/(1 + jQ(f/f₀ − f₀/f)) of a free complex A: on a grid of equal steps of ln f the least squares are the same
matrix everywhere. Where the resonance takes off most of what the polynomial leaves, there is one. Source:
linear least squares; the limits are defined here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: The window reaches so far to either side, octaves, and holds a polynomial of this degree.
REACH_OCTAVES: Final = 1.0 / 3.0
DEGREE: Final = 5
#: Quality factors that are tried, and how finely.
QS: Final = np.geomspace(8.0, 80.0, 24)
#: A resonance leaves no more than this of the power that the polynomial alone leaves.
LEFT_PART: Final = 0.25


@dataclass(frozen=True, slots=True)
class Resonance:
    """One: index and parts of one, Q, greatest magnitude re the value there, and its standard uncertainty."""

    place: float
    q: float
    height: float
    uncertainty: float


def resonances(
    values: npt.ArrayLike, points_per_octave: int, least_height: float, noise: npt.ArrayLike = 0.0
) -> list[Resonance]:
    """Resonances in values (n,), complex, without a gap, in order; the highest of neighbours counts.

    Parameters
    ----------
    least_height
        Re the value itself; less is none, and so is less than four standard uncertainties.
    noise
        One standard uncertainty of the values, re themselves, shape (n,) or one for all.
    """
    logs = np.log(np.abs(values)) + 1j * np.unwrap(np.angle(np.asarray(values)))
    half = round(REACH_OCTAVES * points_per_octave)
    if logs.size < 2 * half + 1:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(logs, 2 * half + 1)
    spread = np.broadcast_to(np.asarray(noise, dtype=np.float64), logs.shape)[half : logs.size - half]
    step = float(np.log(2.0)) / points_per_octave
    offsets = np.asarray(np.arange(-half, half + 1) * step, dtype=np.float64)
    smooth, _ = np.linalg.qr(np.vander(offsets / offsets[-1], DEGREE + 1))
    away = windows - (windows @ smooth) @ smooth.T
    power = np.sum(np.abs(away) ** 2, axis=-1)
    left, height, unsure = (np.empty((QS.size, power.size)) for _ in range(3))
    for row, q in enumerate(QS.tolist()):
        shape = _resonance(offsets, 0.0, q)
        own = shape - smooth @ (smooth.T @ shape)
        energy = float(np.vdot(own, own).real)
        amplitude = away @ own.conj() / energy
        left[row] = np.maximum(power - np.abs(amplitude) ** 2 * energy, 0.0)
        height[row] = np.abs(amplitude)
        rest = left[row] / (offsets.size - DEGREE - 2)
        unsure[row] = np.sqrt((rest + 2.0 * spread**2) / energy)
    best = np.argmin(left, axis=0)
    here = np.arange(power.size)
    found = []
    tall = height[best, here]
    passes = (
        (left[best, here] <= LEFT_PART * power) & (tall >= least_height) & (tall >= 4.0 * unsure[best, here])
    )
    part = np.where(passes, power - left[best, here], 0.0)
    while part.max(initial=0.0) > 0.0:
        at = int(np.argmax(part))
        row = int(best[at])
        if 0 < at < part.size - 1 and 0 < row < QS.size - 1:
            centre, q, amplitude = _refined(away[at], offsets, smooth, row)
            found.append(Resonance(at + half + centre / step, q, amplitude, float(unsure[row, at])))
        part[max(0, at - half // 2) : at + half // 2 + 1] = 0.0
    return sorted(found, key=lambda one: one.place)


def _resonance(offsets: Float64s, centre: float, q: float) -> Complex128s:
    return np.asarray(1.0 / (1.0 + 2j * q * np.sinh(offsets - centre)))


def _refined(away: Complex128s, offsets: Float64s, smooth: Float64s, row: int) -> tuple[float, float, float]:
    """Offset, Q and amplitude between what was tried: the best of a fine grid about it."""
    step = float(offsets[1] - offsets[0])
    best, found = 0.0, (0.0, float(QS[row]), 0.0)
    for centre in (np.linspace(-1.0, 1.0, 21) * step).tolist():
        for q in np.geomspace(QS[row - 1], QS[row + 1], 21).tolist():
            shape = _resonance(offsets, centre, q)
            own = shape - smooth @ (smooth.T @ shape)
            energy = float(np.vdot(own, own).real)
            amplitude = float(abs(np.vdot(own, away))) / energy
            if amplitude**2 * energy > best:
                best, found = amplitude**2 * energy, (centre, q, amplitude)
    return found
