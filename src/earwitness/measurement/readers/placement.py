"""Where AES69 receivers stand as the source sees them.

A receiver's position is given in its listener's frame, which may move and turn from one measurement to the
next, as may the source. What counts is the position in the source's own frame: x along its view, z upward.

Source: AES69-2022, objects Listener, Receiver and Source; coordinate types cartesian and spherical (azimuth
counter-clockwise from +x, elevation upward, radius).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.hdf5_file import Hdf5File
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

#: Nearer than this to a half degree, an angle is that half degree.
SNAP_DEG: Final = 0.01
_STEP_DEG: Final = 0.5
#: Decimals of an angle that count.
_DECIMALS: Final = 4
#: Of those called metres: nearer is inside of the loudspeaker, and further are centimetres.
DISTANCES_M: Final = (0.05, 30.0)
#: So far beyond a pole single precision puts what lies on it.
_BEYOND_DEG: Final = 1e-4
_METRES: Final = frozenset({"metre", "metres", "meter", "meters", "m"})
_DEGREES: Final = frozenset({"degree", "degrees", "deg"})
_AHEAD: Final = (1.0, 0.0, 0.0)
_UP: Final = (0.0, 0.0, 1.0)


@dataclass(frozen=True)
class Placement:
    """Azimuth and elevation in degrees and distance in metres, each of shape (M, R)."""

    azimuth_deg: Float64s
    elevation_deg: Float64s
    distance_m: Float64s

    @property
    def positions_deg(self) -> tuple[tuple[float, float], ...]:
        """Azimuth and elevation of each row (m·R + r)."""
        return tuple(zip(self.azimuth_deg.ravel().tolist(), self.elevation_deg.ravel().tolist(), strict=True))


def read_placement(file: Hdf5File, name: str, measurements: int, receivers: int) -> Placement:
    """Where each receiver stands in each measurement, from the source's reference point.

    Angles that lie within 0.01° of a half degree are that half degree; azimuth is from 0 to 360, and 0 at
    the poles.

    Raises
    ------
    ReadError
        A position is missing, has another shape or unit, isn't a number, lies at the source or over 30 m
        away; a view and its up are parallel.
    """
    positions = _Positions(file, name, measurements)
    receiver = positions.of("ReceiverPosition", receivers)
    listener = positions.of("ListenerPosition", 1, default=(0.0, 0.0, 0.0))
    source = positions.of("SourcePosition", 1, default=(0.0, 0.0, 0.0))
    in_room = listener + np.einsum("mij,mrj->mri", positions.frame("Listener"), receiver)
    seen = np.einsum("mji,mrj->mri", positions.frame("Source"), in_room - source)
    distance = np.sqrt((seen**2).sum(axis=-1))
    if not (DISTANCES_M[0] <= distance.min() and distance.max() <= DISTANCES_M[1]):
        near = distance.min() < DISTANCES_M[0]
        problem = f"puts a receiver {distance.min() if near else distance.max():g} m from the source"
        remedy = f"give positions in metres, up to {DISTANCES_M[1]:g} m away"
        remedy = "state where the microphones stood" if near else remedy
        raise ReadError(name, problem, remedy, "ReceiverPosition")
    azimuth = np.rad2deg(np.arctan2(seen[..., 1], seen[..., 0]))
    elevation = snapped(np.rad2deg(np.arcsin(np.clip(seen[..., 2] / distance, -1.0, 1.0))))
    azimuth = np.where(np.abs(elevation) == 90.0, 0.0, snapped(azimuth) % 360.0)
    return Placement(azimuth, elevation, distance)


def snapped(angle_deg: Float64s) -> Float64s:
    """Angles on the half degree that they all but lie on, else to four decimals."""
    near = np.round(angle_deg / _STEP_DEG) * _STEP_DEG
    # adding 0 makes −0 a plain 0
    return np.where(np.abs(angle_deg - near) <= SNAP_DEG, near, np.round(angle_deg, _DECIMALS)) + 0.0


def selector_of(azimuth_deg: float, elevation_deg: float) -> str:
    """``az 30 el -5.5``: how a direction is named as part of a file."""
    return f"az {azimuth_deg:.7g} el {elevation_deg:.7g}"


@dataclass(frozen=True)
class _Positions:
    """The file's variables of positions and orientations, for M measurements."""

    file: Hdf5File
    name: str
    measurements: int

    def of(self, variable: str, entries: int, default: tuple[float, ...] | None = None) -> Float64s:
        """Cartesian positions of `entries` objects, shape (M, entries, 3)."""
        if variable not in self.file.datasets:
            if default is None:
                raise ReadError(self.name, f"has no {variable}", "export it with its directions")
            return np.broadcast_to(np.array(default), (self.measurements, entries, 3))
        kind = self._kind(variable)
        return self._cartesian(variable, self._shaped(variable, entries), kind)

    def frame(self, who: str) -> Float64s:
        """Forward, left and up of the listener or the source as columns, shape (M, 3, 3)."""
        view = self.of(f"{who}View", 1, _AHEAD)[:, 0]
        kind = self._kind(f"{who}View") if f"{who}View" in self.file.datasets else "cartesian"
        up = np.broadcast_to(np.array(_UP), view.shape)
        if f"{who}Up" in self.file.datasets:
            up = self._cartesian(f"{who}Up", self._shaped(f"{who}Up", 1), kind)[:, 0]
        left = np.cross(up, view)
        lengths = np.sqrt((view**2).sum(axis=-1)), np.sqrt((left**2).sum(axis=-1))
        if min(lengths[0].min(), lengths[1].min()) < 1e-6:
            raise ReadError(self.name, "has no direction of its own", "state view and up", f"{who}View")
        ahead, left = view / lengths[0][:, None], left / lengths[1][:, None]
        return np.stack([ahead, left, np.cross(ahead, left)], axis=-1)

    def _kind(self, variable: str) -> str:
        """Cartesian or spherical, with the units that belong to it."""
        stated = self.file.attribute(variable, "Type")
        units = self.file.attribute(variable, "Units")
        parts = [part.strip().lower() for part in str(units or "").replace(";", ",").split(",")]
        if stated == "cartesian" and set(parts) <= _METRES:
            return "cartesian"
        in_degrees = len(parts) == 3 and set(parts[:2]) <= _DEGREES and parts[2] in _METRES
        if stated == "spherical" and in_degrees:
            return "spherical"
        problem = f"is given as {stated!r} in {units!r}"
        raise ReadError(self.name, problem, "give it as cartesian in metre or spherical in degree", variable)

    def _shaped(self, variable: str, entries: int) -> Float64s:
        """The variable as it stands, one row an entry, shape (M, entries, 3)."""
        shape, wanted = self.file.datasets[variable].shape, self.measurements
        values = np.zeros(0)
        if shape in {(1, 3), (entries, 3), (wanted, 3), (entries, 3, 1), (entries, 3, wanted)}:
            values = self.file.reals(variable)
        if values.ndim == 3:
            values = np.moveaxis(values, -1, 0)
        elif entries == 1 and len(values) in (1, wanted):
            values = values[:, None, :]
        elif values.ndim == 2 and len(values) in (1, entries):
            values = values[None]
        else:
            problem = f"has the shape {' × '.join(map(str, shape))}"
            raise ReadError(self.name, problem, "export it as its convention has it", variable)
        if not np.isfinite(values).all():
            raise ReadError(self.name, "holds what is no number", "export it again", variable)
        return np.broadcast_to(values, (wanted, entries, 3))

    def _cartesian(self, variable: str, values: Float64s, kind: str) -> Float64s:
        if kind == "cartesian":
            return values
        if np.abs(values[..., 1]).max() > 90.0 + _BEYOND_DEG:
            raise ReadError(self.name, "has an elevation beyond ±90°", "export it again", variable)
        azimuth, elevation = np.deg2rad(values[..., 0]), np.deg2rad(values[..., 1])
        level = values[..., 2] * np.cos(elevation)
        return np.stack(
            [level * np.cos(azimuth), level * np.sin(azimuth), values[..., 2] * np.sin(elevation)], axis=-1
        )


def by_selector(placement: Placement, apart_m: float) -> Mapping[str, list[int]]:
    """Rows (m·R + r) of each direction, by its selector.

    Rows of one direction whose distances all differ by more than `apart_m` have selectors of their own, such
    as ``az 30 el 0 at 0.45 m``.
    """
    rows: dict[str, list[int]] = {}
    for row, (azimuth, elevation) in enumerate(placement.positions_deg):
        rows.setdefault(selector_of(azimuth, elevation), []).append(row)
    distance = placement.distance_m.ravel()
    found: dict[str, list[int]] = {}
    for selector, these in rows.items():
        if len(these) > 1 and np.diff(np.sort(distance[these])).min() > apart_m:
            found |= {f"{selector} at {distance[row]:.4g} m": [row] for row in these}
        else:
            found[selector] = these
    return found
