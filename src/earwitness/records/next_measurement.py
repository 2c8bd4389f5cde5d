"""The take that would tell two causes apart best."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from earwitness.records.causes import Cause
from earwitness.records.takes import Orbit


class NextTake(StrEnum):
    """What could be measured next: a closed list."""

    NEAR_DRIVERS = "near field of each drive unit"
    NEAR_PORT = "near field of the port"
    IMPEDANCE = "impedance"
    FINE_VERTICAL = "vertical plane in steps of five degrees"
    FINE_HORIZONTAL = "horizontal plane in steps of five degrees"
    FELT = "felt over the box's edges"
    ELSEWHERE = "the take on axis at another place in the room"
    LONGER_GATE = "the take on axis with a longer gate"
    CALIBRATION = "the microphone's calibration"
    SHARED_CLOCK = "both orbits with a loopback"
    LONGER_SWEEP = "the highest drive with a sweep twice as long"
    LOAD = "a load that lasts"
    RULER = "what a ruler tells of the loudspeaker"
    DRIVE_AGAIN = "the highest drive with its voltage measured"


@dataclass(frozen=True, slots=True)
class Steps:
    """New directions on one orbit, from `low_deg` to `high_deg` in steps; + is left, or up."""

    orbit: Orbit
    low_deg: float
    high_deg: float
    step_deg: float
    #: Whether nothing was measured on that side before.
    new_side: bool = False


@dataclass(frozen=True, slots=True)
class Apart:
    """Where levels that are foretold with and without a mechanism differ most.

    `difference_db` is how much more there is with it than without.
    """

    cause: Cause
    angle_deg: float
    frequency_hz: float
    difference_db: float


@dataclass(frozen=True, slots=True)
class TakeExposure:
    """What a take's drive does to ears: the drive, the level where they might be, hours a day there (NIOSH).

    `near_m` is a radiator's radius where the level is that in front of it; None where it is at 1 m.
    """

    drive_v: float
    level_db: float
    hours: float
    near_m: float | None = None


@dataclass(frozen=True, slots=True)
class NextMeasurement:
    """What to measure next, and what it is expected to tell.

    Attributes
    ----------
    information_bits
        Expected of its outcome on which of the causes in question it is, or which of them act,
        0 … `open_bits`.
    open_bits
        What is open between them.
    between
        The causes in question, the most probable first; empty where none could be told.
    steps
        Of new directions: which.
    radiator
        Of a near field: of which stated radiator; None where none is stated.
    apart
        Of new directions, where a scene was fitted: what is foretold.
    exposure
        None where no level is known.
    """

    take: NextTake
    information_bits: float
    open_bits: float
    between: tuple[Cause, ...]
    steps: Steps | None = None
    radiator: str | None = None
    apart: Apart | None = None
    exposure: TakeExposure | None = None
