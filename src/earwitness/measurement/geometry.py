"""Where the microphone stands as the unit turns.

The unit turns about an axis `rotation_behind_m` behind its reference point; the microphone stays where it
stands at `distance_m` from the reference point at 0°. For the vertical orbit the unit lies on its side (or
the microphone moves on an arc): in the unit's own frame both orbits look alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

Float64s = npt.NDArray[np.float64]

#: The axis of rotation is sought between these parts of the distance behind the reference point: past half
#: way to the microphone, path lengths are those of another axis.
SOUGHT_PARTS: Final = (-0.45, 0.8)
#: Directions as far from the axis as this are in front, where sound comes straight.
FRONT_DEG: Final = 90.0
LEAST_DIRECTIONS: Final = 3
#: Flights that lie further from the fit than this count less and less.
OUTLIER_M: Final = 0.01


@dataclass(frozen=True, slots=True)
class Turntable:
    """Microphone distance at 0° and the rotation point, in metres."""

    distance_m: float
    rotation_behind_m: float

    def ahead_and_aside_m(self, angle_deg: npt.ArrayLike) -> tuple[Float64s, Float64s]:
        """The microphone from the reference point, in the unit's frame: forward, and to the + side."""
        angle = np.deg2rad(np.asarray(angle_deg, dtype=np.float64))
        arm = self.distance_m + self.rotation_behind_m
        return arm * np.cos(angle) - self.rotation_behind_m, arm * np.sin(angle)

    def distances_m(self, angle_deg: npt.ArrayLike) -> Float64s:
        """From the reference point to the microphone: `distance_m` at 0°, twice the offset more at 180°."""
        return np.asarray(np.hypot(*self.ahead_and_aside_m(angle_deg)))

    def seen_angles_deg(self, angle_deg: npt.ArrayLike) -> Float64s:
        """The angle at which the microphone stands as seen from the reference point."""
        ahead, aside = self.ahead_and_aside_m(angle_deg)
        return np.asarray(np.rad2deg(np.arctan2(aside, ahead)))


def floor_detour_m(distance_m: npt.ArrayLike, height_m: float, microphone_height_m: float) -> Float64s:
    """How much longer the path over the floor is: √(d² + (h1+h2)²) − √(d² + (h1−h2)²).

    `distance_m` is the straight path. Both heights 1 m at 2 m: 0.8284 m.
    """
    direct = np.asarray(distance_m, dtype=np.float64)
    level_squared = direct**2 - (height_m - microphone_height_m) ** 2
    return np.asarray(np.sqrt(level_squared + (height_m + microphone_height_m) ** 2) - direct)


@dataclass(frozen=True, slots=True)
class FittedRotation:
    """The axis of rotation that times of flight show, in metres.

    `uncertainty_m` is the fit's own standard uncertainty; `scatter_m` is how far the flights in front lie
    from the fit (their median distance).
    """

    behind_m: float
    uncertainty_m: float
    scatter_m: float


def fitted_rotation(
    angle_deg: Float64s, orbit: npt.NDArray[np.int_], flight_difference_m: Float64s, distance_m: float
) -> FittedRotation | None:
    """The axis of rotation that explains measured differences of path length re the one at 0°.

    Only directions within ±90° count, where sound comes straight. None where fewer than three of them are off
    the axis. A source off to one side lengthens paths to the other: what it does, −s·sin θ on each orbit, is
    fitted beside wherever an orbit has three directions.

    Parameters
    ----------
    angle_deg, orbit, flight_difference_m
        Shape (R,): the angle, a number for the orbit, and the path less the one at 0°.
    """
    front = (np.abs(angle_deg) <= FRONT_DEG) & (angle_deg != 0.0)
    if np.count_nonzero(front) < LEAST_DIRECTIONS:
        return None
    angle, flight, plane = angle_deg[front], flight_difference_m[front], orbit[front]
    kinds, counts = np.unique(plane, return_counts=True)
    sides = (plane[:, None] == kinds[counts >= LEAST_DIRECTIONS]) * np.sin(np.deg2rad(angle))[:, None]
    if angle.size <= sides.shape[1] + 1:
        sides = sides[:, :0]

    ahead, aside = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))

    def longer_m(behind_m: npt.ArrayLike) -> Float64s:
        behind = np.asarray(behind_m)
        arm = distance_m + behind
        return np.asarray(np.hypot(arm * ahead - behind, arm * aside) - distance_m)

    def residual(parameters: Float64s) -> Float64s:
        return np.asarray(longer_m(parameters[0]) - sides @ parameters[1:] - flight)

    tried = distance_m * np.linspace(*SOUGHT_PARTS, 150)
    misfit = np.median(np.abs(longer_m(tried[:, None]) - flight), axis=-1)
    start = np.r_[tried[int(np.argmin(misfit))], np.zeros(sides.shape[1])]
    fit = least_squares(residual, start, loss="soft_l1", f_scale=OUTLIER_M, xtol=1e-12, ftol=1e-12)
    left = np.abs(residual(fit.x))
    # 1.4826 medians are a standard deviation; as many directions as parameters tell nothing of the scatter
    spread = 1.4826 * float(np.median(left)) * np.sqrt(angle.size / max(angle.size - fit.x.size, 1))
    lever = np.column_stack([1.0 - np.cos(np.deg2rad(angle)), sides])
    variance = np.linalg.pinv(lever.T @ lever)[0, 0]
    return FittedRotation(float(fit.x[0]), float(spread * np.sqrt(variance)), float(np.median(left)))
