"""What one driver sends in each direction, re the same source in an endless baffle on its axis.

Three parts that multiply: a disc beams by 2J₁(x)/x, x = ka sin α (Kinsler; Beranek). A rectangular face ends:
a source on it sees its rim at the distance L(β) in each bearing, and the rim sends out half of what reaches
it, turned over: 1 − ½·mean over β of 2J₁(ka)/(ka)·e^(−jk·detour). At low frequencies that is ½, the step
from half to full space (6.02 dB); one order of diffraction, and no shadow, so it holds to the front. A cap on
a ball has the same step without a rim: P. M. Morse and K. U. Ingard, Theoretical Acoustics, section 7.2
(recalled). Time dependence e^(+jωt).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import j1, spherical_jn, spherical_yn

from earwitness.acoustics.radiation import legendre

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

BEARINGS: Final = 48
#: The table of balls: ka, and degrees off the source's own axis.
_KA: Final = np.geomspace(0.05, 100.0, 160)
_ANGLES_DEG: Final = np.arange(0.0, 182.0, 3.0)
LEAST_ARGUMENT: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Rim:
    """From a source to the edges of the face that it lies in, metres: to either side, up, down."""

    side_m: float
    up_m: float
    down_m: float

    def distances_m(self, bearing: Float64s) -> Float64s:
        """In bearings counted from the side, upward positive."""
        aside, upward = np.abs(np.cos(bearing)), np.sin(bearing)
        to_end = np.where(upward > 0.0, self.up_m, self.down_m) / np.maximum(np.abs(upward), 1e-9)
        return np.asarray(np.minimum(self.side_m / np.maximum(aside, 1e-9), to_end))

    @property
    def ball_radius_m(self) -> float:
        """Of the ball that is as large: the geometric mean of all distances."""
        return float(np.exp(np.mean(np.log(self.distances_m(bearings())))))


def bearings() -> Float64s:
    """All round, (B,)."""
    return np.asarray((np.arange(BEARINGS) + 0.5) * 2.0 * np.pi / BEARINGS)


def disc(argument: npt.ArrayLike) -> Float64s:
    """2J₁(x)/x, of the argument's shape. Worked number: −6.0206 dB at x = 2.2150894."""
    x = np.maximum(np.abs(np.asarray(argument, dtype=np.float64)), LEAST_ARGUMENT)
    return np.asarray(2.0 * j1(x) / x)


def rimmed(wavenumber: Float64s, rim: Rim, disc_radius_m: float, to_microphone_m: Float64s) -> Complex128s:
    """Of a source on a rectangular face, (D, F).

    Parameters
    ----------
    to_microphone_m
        Shape (D, 3): from the source, x out of the face, y to the side, z up.
    """
    bearing = bearings()
    distance = rim.distances_m(bearing)
    points = distance[:, None] * np.stack([np.zeros(BEARINGS), np.cos(bearing), np.sin(bearing)], axis=-1)
    direct = np.linalg.norm(to_microphone_m, axis=-1)
    onward = np.linalg.norm(to_microphone_m[:, None, :] - points, axis=-1)
    detour = distance + onward - direct[:, None]
    turned = np.exp(-1j * detour[..., None] * wavenumber).mean(axis=1)
    return np.asarray(1.0 - 0.5 * disc(wavenumber * disc_radius_m) * turned)


def on_ball(wavenumber: Float64s, radius_m: float, angle_rad: Float64s) -> Complex128s:
    """Of a small source on a rigid ball, far away, (D, F); the way is counted from the source.

    `angle_rad` (D,) is off the source's axis. Interpolated: within 0.1 dB to the front.
    """
    magnitude, phase = _balls()
    column = np.interp(np.log(wavenumber * radius_m), np.log(_KA), np.arange(_KA.size))
    row = np.interp(np.degrees(angle_rad), _ANGLES_DEG, np.arange(_ANGLES_DEG.size))
    low = np.minimum(column.astype(int), _KA.size - 2)
    left = np.minimum(row.astype(int), _ANGLES_DEG.size - 2)
    across, along = (row - left)[:, None], (column - low)[None, :]

    def between(table: Float64s) -> Float64s:
        top = table[left[:, None], low] * (1.0 - along) + table[left[:, None], low + 1] * along
        bottom = table[left[:, None] + 1, low] * (1.0 - along) + table[left[:, None] + 1, low + 1] * along
        return np.asarray(top * (1.0 - across) + bottom * across)

    return np.asarray(between(magnitude) * np.exp(1j * between(phase)))


@lru_cache(maxsize=1)
def _balls() -> tuple[Float64s, Float64s]:
    """Magnitude and unwrapped phase by angle and ka, of a point source on a ball."""
    found = np.zeros((_ANGLES_DEG.size, _KA.size), dtype=np.complex128)
    cosine = np.cos(np.radians(_ANGLES_DEG))
    for column, ka in enumerate(_KA):
        orders = int(ka + 4.0 * np.cbrt(ka) + 12)
        n = np.arange(orders)
        with np.errstate(all="ignore"):
            steep = spherical_jn(n, ka, True) - 1j * spherical_yn(n, ka, True)
            terms = np.nan_to_num((2 * n + 1) * 1j ** (n + 1) / steep)
        found[:, column] = -(terms @ legendre(cosine, orders)) / (2.0 * ka**2)
    found *= np.exp(-1j * _KA * cosine[:, None])
    phase = np.unwrap(np.angle(found), axis=0)
    phase += (np.unwrap(phase[0]) - phase[0])[None, :]
    return np.abs(found), phase
