"""What stands out between drives: a band that plays less, or more, than its drive has it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class LevelChange:
    """One band that changes with the level, on axis.

    Attributes
    ----------
    number
        Its number, from the lowest frequency up, by which it is referred to.
    kind
        ``less`` where it falls behind its drive, ``more`` where it runs ahead.
    frequency_hz, change_db
        Where it changes most, and by how much at the highest drive against the lowest.
    band_hz
        Where it changes by half a decibel and more at the highest drive.
    from_row, from_drive
        The lowest measured drive at which it does, by its number in the series and in its unit.
    top_drive
        The highest drive, in the same unit.
    """

    number: int
    kind: Literal["less", "more"]
    frequency_hz: float
    change_db: float
    band_hz: tuple[float, float]
    from_row: int
    from_drive: float
    top_drive: float
    unit: str

    @property
    def sign(self) -> int:
        """+1 where it plays more, −1 where it plays less."""
        return 1 if self.change_db >= 0.0 else -1
