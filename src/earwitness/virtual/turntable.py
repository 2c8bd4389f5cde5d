"""The turntable: how the loudspeaker sees the room while it turns.

The microphone keeps its place in the room; the loudspeaker turns about a vertical axis, which runs through a
point `rotation_behind_m` behind the reference point. Everything else is said in the loudspeaker's own
coordinates (origin at the reference point, x forward, y to its left, z up), in which the loudspeaker stands
still and the room turns round it.

- On the horizontal orbit the loudspeaker stands upright. Turned by θ, it sees the microphone at A + (d +
  b)(cos θ, sin θ, 0) with A = (−b, 0, 0): at an angle from the reference point that isn't quite θ, at a
  distance that isn't quite d.
- For the vertical orbit the loudspeaker lies on its right side on the same turntable, so that its left points
  at the ceiling. The turntable then moves the microphone through the loudspeaker's vertical plane, at A + (d
  + b)(cos θ, 0, sin θ), and the room's vertical is the loudspeaker's y. The room stays as it is. The same θ
  turns the loudspeaker the other way as on the horizontal orbit: an axis or a room that is lopsided
  shows with opposite signs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from earwitness.virtual.arrays import Floats

Orbit = Literal["horizontal", "vertical"]


@dataclass(frozen=True, slots=True)
class View:
    """How the loudspeaker sees the room in each of D takes.

    Attributes
    ----------
    axes
        The room's ahead, left and up in the loudspeaker's coordinates, shape (D, 3, 3): row by row.
    facing
        The same while the loudspeaker faces the microphone.
    pivot, pivot_in_room
        A point that the turning leaves where it is, in both coordinates, shape (D, 3).
    microphone
        In the room's coordinates, shape (D, 3).
    """

    axes: Floats
    facing: Floats
    pivot: Floats
    pivot_in_room: Floats
    microphone: Floats

    @classmethod
    def close(cls, point: Floats) -> View:
        """A microphone at a point (3,) in the coordinates of a loudspeaker that faces ahead."""
        origin, upright = np.zeros((1, 3)), np.eye(3)[None]
        return cls(upright, upright, origin, origin, point[None])

    @classmethod
    def joined(cls, views: Sequence[View]) -> View:
        """Several in a row."""
        return cls(*(np.concatenate([getattr(view, each.name) for view in views]) for each in fields(cls)))

    def seen(self, places: Floats) -> Floats:
        """Places in the room, one (3,) or one a take (D, 3), in the loudspeaker's coordinates (D, 3)."""
        return self._turned(places, self.axes)

    def carried(self, place: Floats) -> Floats:
        """What turns with the loudspeaker: where it stays (D, 3), by its place (3,) while that faces."""
        return self._turned(place, self.facing)

    def _turned(self, places: Floats, axes: Floats) -> Floats:
        way = (places - self.pivot_in_room)[..., None]
        ahead, left, up = (way[:, axis] * axes[:, axis] for axis in range(3))
        return np.asarray(self.pivot + ahead + left + up)


@dataclass(frozen=True, slots=True)
class Turntable:
    """Where the microphone stands, and the axis that the loudspeaker turns about.

    Attributes
    ----------
    distance_m
        From the reference point to the microphone while the loudspeaker faces it.
    rotation_behind_m
        How far behind the reference point the axis runs.
    axis_left_m
        How far the axis runs to the room's left of the line from the reference point to the microphone.
    microphone_up_m
        How much higher than the reference point the microphone stands.
    angle_offset_deg, angle_spread_deg
        What each angle is off by: the same for all, and at random (standard deviation).
    """

    distance_m: float
    rotation_behind_m: float
    axis_left_m: float = 0.0
    microphone_up_m: float = 0.0
    angle_offset_deg: float = 0.0
    angle_spread_deg: float = 0.0

    def view(self, orbit: Orbit, angles_deg: Floats) -> View:
        """The room as seen at the true angles (D,) of an orbit."""
        angle = np.radians(angles_deg)
        facing = turned_axes(orbit, np.zeros_like(angle))
        pivot = -self.rotation_behind_m * facing[:, 0] + self.axis_left_m * facing[:, 1]
        in_room = np.tile([-self.rotation_behind_m, self.axis_left_m, 0.0], (len(angle), 1))
        microphone = np.tile([self.distance_m, 0.0, self.microphone_up_m], (len(angle), 1))
        return View(turned_axes(orbit, angle), facing, pivot, in_room, microphone)

    def microphone(self, orbit: Orbit, angles_deg: Floats) -> Floats:
        """The microphone (D, 3), metres from the reference point, for true angles (D,) of an orbit."""
        view = self.view(orbit, angles_deg)
        return view.seen(view.microphone)

    def error_deg(self, generator: np.random.Generator) -> float:
        """What the next angle is off by."""
        return self.angle_offset_deg + self.angle_spread_deg * float(generator.normal())


def turned_axes(orbit: Orbit, angles: Floats) -> Floats:
    """The room's ahead, left and up (D, 3, 3) in the loudspeaker's coordinates, at angles (D,) in radians."""
    cosine, sine = np.cos(angles), np.sin(angles)
    none, one = np.zeros_like(angles), np.ones_like(angles)
    if orbit == "horizontal":
        rows = ((cosine, sine, none), (-sine, cosine, none), (none, none, one))
    else:
        rows = ((cosine, none, sine), (sine, none, -cosine), (none, one, none))
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
