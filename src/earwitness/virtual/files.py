"""The raw files of a session in the workshop: what each holds, and what it is called."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from earwitness.virtual.turntable import Orbit

STIMULUS = "stimulus.wav"
CALIBRATOR = "calibrator_94.wav"
MICROPHONE = "microphone.txt"
ORBITS: tuple[Orbit, ...] = ("horizontal", "vertical")
ANGLES_DEG: tuple[int, ...] = tuple(range(-170, 181, 10))


def drive_text(drive_v: float, full_scale_v: float | None) -> str:
    """``2.83V``, or ``-20dBFS`` for an active loudspeaker that takes full scale as so many volts."""
    if full_scale_v is None:
        return f"{drive_v:g}V"
    return f"{20.0 * math.log10(drive_v / full_scale_v):.3g}dBFS"


@dataclass(frozen=True, slots=True)
class Turn:
    """A recording on one orbit; `full_scale_v` is an active loudspeaker's (`drive_text`)."""

    orbit: Orbit
    angle_deg: int
    drive_v: float
    full_scale_v: float | None = None

    @property
    def name(self) -> str:
        """``horizontal_+030_2.83V.wav``."""
        return f"{self.orbit}_{self.angle_deg:+04d}_{drive_text(self.drive_v, self.full_scale_v)}.wav"


@dataclass(frozen=True, slots=True)
class NearField:
    """A recording close to one way's centre."""

    way: str
    gap_m: float
    drive_v: float
    full_scale_v: float | None = None

    @property
    def name(self) -> str:
        """``near_field_woofer_7mm_0.283V.wav``."""
        drive = drive_text(self.drive_v, self.full_scale_v)
        return f"near_field_{self.way}_{1000.0 * self.gap_m:g}mm_{drive}.wav"


def turns(
    drive_v: float, angles_deg: Sequence[int] = ANGLES_DEG, full_scale_v: float | None = None
) -> list[Turn]:
    """Both orbits; 0 and 180 degrees are recorded on each."""
    return [Turn(orbit, angle, drive_v, full_scale_v) for orbit in ORBITS for angle in angles_deg]
