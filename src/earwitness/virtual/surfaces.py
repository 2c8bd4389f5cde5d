"""Recordings on surfaces round a loudspeaker that stands still: the microphone moves, on an arm or a grid.

Places are azimuth and elevation in degrees (AES69: counter-clockwise from ahead, upward) and the distance in
metres from the turntable's axis at the height of the reference point. The loudspeaker faces ahead in all of
them, so that the room's sound round it is one and the same field.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from earwitness.virtual.arrays import Floats
from earwitness.virtual.files import drive_text
from earwitness.virtual.recording import Session
from earwitness.virtual.stimulus import Stimulus
from earwitness.virtual.turntable import View


@dataclass(frozen=True, slots=True)
class SurfacePoint:
    """A recording at one place; `full_scale_v` is an active loudspeaker's (`files.drive_text`)."""

    azimuth_deg: float
    elevation_deg: float
    distance_m: float
    drive_v: float
    full_scale_v: float | None = None

    @property
    def name(self) -> str:
        """``surface_+030.0_-12.5_0.45_2.83V.wav``."""
        place = f"{self.azimuth_deg:+06.1f}_{self.elevation_deg:+05.1f}_{self.distance_m:g}"
        return f"surface_{place}_{drive_text(self.drive_v, self.full_scale_v)}.wav"

    @property
    def from_axis_m(self) -> Floats:
        """Where it is, from the axis, shape (3,)."""
        azimuth, elevation = np.radians([self.azimuth_deg, self.elevation_deg])
        level = np.cos(elevation)
        way = [level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)]
        return np.asarray(self.distance_m * np.array(way))


def all_round(count: int, distance_m: float, drive_v: float, turn_deg: float = 0.0) -> list[SurfacePoint]:
    """So many places in even cover of one sphere, on tenths of a degree: a spiral by the golden angle."""
    step = np.arange(count) + 0.5
    elevation = np.degrees(np.arcsin(1.0 - 2.0 * step / count))
    azimuth = (turn_deg + step * 180.0 * (3.0 - np.sqrt(5.0)) + 180.0) % 360.0 - 180.0
    return [
        SurfacePoint(round(float(a), 1) + 0.0, round(float(e), 1) + 0.0, distance_m, drive_v)
        for a, e in zip(azimuth, elevation, strict=True)
    ]


def recordings(
    session: Session, points: Sequence[SurfacePoint], stimulus: Stimulus | None = None
) -> Iterator[tuple[str, Floats]]:
    """Those recordings by name, in the session's room and with its noise; see `Session.recordings`."""
    axis = np.array([-session.turntable.rotation_behind_m, 0.0, 0.0])
    view = View.joined([View.close(axis + point.from_axis_m) for point in points])
    responses = session.workshop.impulse_responses(view)
    for point, response in zip(points, responses, strict=True):
        yield point.name, session.played(point, response, stimulus or session.sweep)


def record(
    session: Session, folder: Path, points: Sequence[SurfacePoint], stimulus: Stimulus | None = None
) -> list[Path]:
    """Write those recordings as WAV files.

    Raises
    ------
    ValueError
        A recording would clip, or a point lies in the cabinet.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, samples in recordings(session, points, stimulus):
        written.append(folder / name)
        session.write_wave(written[-1], samples)
    return written
