"""The take that would tell two causes apart best."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from earwitness.records.causes import Cause


class NextTake(StrEnum):
    """What could be measured next: a closed list."""

    NEAR_DRIVERS = "near field of each drive unit"
    NEAR_PORT = "near field of the port"
    IMPEDANCE = "impedance"
    FINE_VERTICAL = "vertical plane in steps of five degrees"
    FINE_HORIZONTAL = "horizontal plane in steps of five degrees"
    FELT = "felt over the box's edges"
    ELSEWHERE = "the take on axis at another place in the room"
    SHARED_CLOCK = "both orbits with a loopback"
    LONGER_SWEEP = "the highest drive with a sweep twice as long"
    LOAD = "a load that lasts"
    DRIVE_AGAIN = "the highest drive with its voltage measured"


@dataclass(frozen=True, slots=True)
class NextMeasurement:
    """What to measure next, and what it is expected to tell.

    Attributes
    ----------
    information_bits
        Expected of its outcome on which of the causes in question it is, 0 … `open_bits`.
    open_bits
        What is open between them.
    between
        The causes in question, the most probable first; empty where none could be told.
    """

    take: NextTake
    information_bits: float
    open_bits: float
    between: tuple[Cause, ...]
