"""Takes: what one measured response is, and where it was measured.

Coordinates follow AES69: x forward, azimuth counter-clockwise from above (+90 is the loudspeaker's left),
elevation up. A horizontal orbit angle is positive to the loudspeaker's left, a vertical one upward.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal, NewType

TakeId = NewType("TakeId", str)
ReadOption = str | int | float | bool
ReadOptions = tuple[tuple[str, ReadOption], ...]

#: The selector of every part of a file that says itself what each of them is.
EVERY_PART: Final = "*"


class TakeKind(StrEnum):
    """What a take holds."""

    SWEEP = "sweep"
    IMPULSE_RESPONSE = "impulse_response"
    RESPONSE = "response"
    NEAR_FIELD = "near_field"
    SURFACE = "surface"
    SURFACE_RESPONSE = "surface_response"
    IMPEDANCE = "impedance"
    NOISE = "noise"
    SELF_NOISE = "self_noise"
    ENDURANCE = "endurance"
    TWO_TONES = "two_tones"
    MULTITONE = "multitone"
    CALIBRATOR = "calibrator"
    MICROPHONE_CALIBRATION = "microphone_calibration"
    STIMULUS = "stimulus"
    REFERENCE = "reference"
    RESISTOR = "resistor"


#: Kinds that are a response of the loudspeaker in a direction.
DIRECTIONAL = frozenset({TakeKind.SWEEP, TakeKind.IMPULSE_RESPONSE, TakeKind.RESPONSE})

#: Kinds of which voltage and current are recorded.
ELECTRICAL = frozenset({TakeKind.IMPEDANCE, TakeKind.RESISTOR})

#: Kinds that are measured on a surface round the loudspeaker: as sound, or as a response with its phase.
ON_SURFACES = frozenset({TakeKind.SURFACE, TakeKind.SURFACE_RESPONSE})


class Orbit(StrEnum):
    """The plane in which the microphone moved round the loudspeaker."""

    HORIZONTAL = "horizontal"
    VERTICAL = "vertical"


@dataclass(frozen=True, slots=True, order=True)
class Direction:
    """A direction on one orbit, in whole or decimal degrees in (-180, 180].

    0 and 180 lie on both orbits; their canonical form is the horizontal one (`shared`).
    """

    orbit: Orbit
    angle_deg: float

    @classmethod
    def at(cls, azimuth_deg: float, elevation_deg: float) -> Direction | None:
        """The direction of an AES69 azimuth and elevation, canonical; None where it is on neither orbit."""
        azimuth = (azimuth_deg + 180.0) % 360.0 - 180.0
        if elevation_deg == 0.0:
            return cls(Orbit.HORIZONTAL, 180.0 if azimuth == -180.0 else azimuth)
        if azimuth == 0.0 or abs(elevation_deg) == 90.0:
            return cls(Orbit.VERTICAL, elevation_deg)
        if azimuth == -180.0:
            return cls(Orbit.VERTICAL, (180.0 if elevation_deg > 0.0 else -180.0) - elevation_deg)
        return None

    def __post_init__(self) -> None:
        if not -180.0 < self.angle_deg <= 180.0:
            raise ValueError(f"orbit angle {self.angle_deg} is not in (-180, 180]")

    @property
    def shared(self) -> Direction:
        """This direction, with 0 and 180 of the vertical orbit given as the horizontal ones."""
        return Direction(Orbit.HORIZONTAL, self.angle_deg) if self.angle_deg in (0.0, 180.0) else self

    @property
    def mirrored(self) -> Direction:
        """The direction as far to the other side; 0 and 180 are their own."""
        return self if self.angle_deg in (0.0, 180.0) else Direction(self.orbit, -self.angle_deg)

    @property
    def azimuth_deg(self) -> float:
        """AES69 azimuth in [0, 360)."""
        if self.orbit is Orbit.HORIZONTAL:
            return self.angle_deg % 360.0
        return 0.0 if abs(self.angle_deg) <= 90.0 else 180.0

    @property
    def elevation_deg(self) -> float:
        """AES69 elevation in [-90, 90]."""
        if self.orbit is Orbit.HORIZONTAL:
            return 0.0
        angle = self.angle_deg
        if abs(angle) <= 90.0:
            return angle
        return 180.0 - angle if angle > 0 else -180.0 - angle

    @property
    def label(self) -> str:
        """``horizontal +30°``; ``on axis`` and ``behind`` where the orbits meet."""
        if self.angle_deg == 0.0:
            return "on axis"
        if self.angle_deg == 180.0:
            return "behind"
        return f"{self.orbit} {self.angle_deg:+g}°".replace("-", "−")


ON_AXIS = Direction(Orbit.HORIZONTAL, 0.0)


DriveUnit = Literal["V", "dBFS", "dBu"]


@dataclass(frozen=True, slots=True, order=True)
class Drive:
    """Electrical drive: volts RMS at the terminals; dBFS or dBu (`methods.line_level`) into an active one.

    For a sweep it is the RMS value of a steady sine at the stimulus' peak amplitude.
    """

    value: float
    unit: DriveUnit = "V"

    @property
    def in_decibels(self) -> bool:
        """Whether it is a level at an active loudspeaker's input, digital or analogue."""
        return self.unit != "V"

    @property
    def amplitude(self) -> float:
        """Volts RMS, or the factor re what its unit is re: a full-scale sine, the volts of 0 dBu."""
        return 10.0 ** (self.value / 20.0) if self.in_decibels else self.value

    @property
    def label(self) -> str:
        """``2.83 V``."""
        return f"{self.value:g} {self.unit}".replace("-", "−")


@dataclass(frozen=True, slots=True, order=True)
class SurfacePlace:
    """Where on a surface round the loudspeaker a microphone stood: AES69 angles, and metres from the centre.

    The centre is that of rotation; the loudspeaker stands still, facing azimuth 0.
    """

    azimuth_deg: float
    elevation_deg: float
    distance_m: float

    @property
    def label(self) -> str:
        """``azimuth +30°, elevation −10°, 0.45 m``."""
        angles = f"azimuth {self.azimuth_deg:+g}°, elevation {self.elevation_deg:+g}°"
        return f"{angles}, {self.distance_m:g} m".replace("-", "−")


@dataclass(frozen=True, slots=True)
class TakeKey:
    """What makes a take one of a kind: the same key twice in a case is an error."""

    kind: TakeKind
    direction: Direction | None = None
    drive: Drive | None = None
    radiator: str | None = None
    repeat: int = 1
    place: SurfacePlace | None = None

    @property
    def label(self) -> str:
        """The key in words, for tables and messages."""
        parts = [str(self.kind).replace("_", " ")]
        parts += [self.direction.label] if self.direction else []
        parts += [self.place.label] if self.place else []
        parts += [self.radiator] if self.radiator else []
        parts += [self.drive.label] if self.drive else []
        parts += [f"repeat {self.repeat}"] if self.repeat != 1 else []
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Take:
    """One measured response in a raw file.

    `path` is relative to the case's ``raw/`` with forward slashes; `selector` names the part of the file
    (empty for the whole, ``*`` for every part of a file that says itself what each is). `stimulus` is the
    path of the stimulus that was played, for recordings. `level_db` is a calibrator's sound pressure level
    (dB re 20 µPa), `distance_m` a near-field microphone's distance from the radiator. `read` is what the case
    states of the file's form, in the order of its keys.
    """

    path: str
    key: TakeKey
    selector: str = ""
    stimulus: str | None = None
    level_db: float | None = None
    distance_m: float | None = None
    read: ReadOptions = ()

    @property
    def id(self) -> TakeId:
        """``path#selector``, or the path alone for a file that holds one take."""
        return TakeId(f"{self.path}#{self.selector}" if self.selector else self.path)
