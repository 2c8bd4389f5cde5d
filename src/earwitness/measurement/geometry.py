"""Where the microphone stands as the unit turns.

The unit turns about an axis `rotation_behind_m` behind its reference point; the microphone stays where it
stands at `distance_m` from the reference point at 0°. For the vertical orbit the unit lies on its side (or
the microphone moves on an arc): in the unit's own frame both orbits look alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar

Float64s = npt.NDArray[np.float64]


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


def fitted_rotation_m(angle_deg: Float64s, flight_difference_m: Float64s, distance_m: float) -> float | None:
    """The rotation point that explains measured differences of path length re the one at 0°.

    Only directions within ±90° count, where sound comes straight. None where fewer than three of them are
    off the axis.
    """
    front = (np.abs(angle_deg) <= 90.0) & (angle_deg != 0.0)
    if np.count_nonzero(front) < 3:
        return None

    def misfit(behind_m: float) -> float:
        lengths = Turntable(distance_m, behind_m).distances_m(angle_deg[front]) - distance_m
        return float(np.median(np.abs(lengths - flight_difference_m[front])))

    bound = 0.45 * distance_m
    return float(minimize_scalar(misfit, bounds=(-bound, bound), method="bounded").x)
