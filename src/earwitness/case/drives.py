"""A drive as a person writes it: ``2.83 V``, ``-20 dBFS``, ``+4 dBu``."""

from __future__ import annotations

import math
import re
from typing import Final, cast

from earwitness.records.takes import Drive, DriveUnit

_DRIVE: Final = re.compile(r"([+\-−]?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?)[ _]?(V|dBFS|dBu)")


def parse_drive(text: str) -> Drive | None:
    """The drive that `text` states, or None if it doesn't state one.

    Volts are over 0; one space or underscore may stand before the unit.
    """
    match = _DRIVE.fullmatch(text.strip())
    if match is None:
        return None
    value = float(match[1].replace("−", "-"))
    if not math.isfinite(value):
        return None
    if match[2] == "V":
        return Drive(value, "V") if value > 0 else None
    return Drive(value, cast(DriveUnit, match[2]))


def format_drive(drive: Drive) -> str:
    """The text that `parse_drive` reads back as the same drive."""
    return f"{format_number(drive.value)} {drive.unit}"


def drive_in_name(drive: Drive) -> str:
    """A drive as names of files have it: ``-20dBFS``, ``2.83V``, ``4dBu``."""
    return f"{format_number(drive.value)}{drive.unit}"


def format_number(value: float) -> str:
    """The shortest text that reads back as the same number, without a needless ``.0``."""
    return repr(float(value)).removesuffix(".0")
