"""The one drive that levels are given for: 2.83 V at the terminals, or what an active loudspeaker was fed."""

from __future__ import annotations

import numpy as np

from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V
from earwitness.records.errors import CaseError, NotAvailableError
from earwitness.records.takes import Direction, Drive, Take


def at_terminals(drive: Drive) -> bool:
    """Whether a drive is a voltage at the terminals of a passive loudspeaker, to be referred to 2.83 V.

    Otherwise it is the level at the input of an active one, which has no sensitivity.
    """
    return not drive.in_decibels


def reference_drive(drive: Drive) -> Drive:
    """The drive to which takes at `drive` are referred."""
    return Drive(REFERENCE_VOLTAGE_V, "V") if at_terminals(drive) else drive


def require_drives_fit(takes: tuple[Take, ...], active: bool) -> None:
    """Refuse drives that can't be those of the loudspeaker that the case describes.

    Raises
    ------
    CaseError
        ``unit.active`` and the drive of a take in a direction contradict each other.
    """
    for take in takes:
        drive = take.key.drive
        if drive and take.key.direction and at_terminals(drive) is active:
            rule = "an active one is driven in dBFS or dBu" if active else "a passive one in volts"
            raise CaseError(
                "case.toml",
                f"is {str(active).lower()}, but take {take.id} was driven at {drive.label}",
                f"{rule}: set unit.active = {str(not active).lower()}, or correct the takes' drives",
                "unit.active",
            )


def chosen_drive(takes: tuple[Take, ...]) -> Drive:
    """The drive with the most directions; among equals the one nearest to 2.83 V, or to full scale or 0 dBu.

    Raises
    ------
    NotAvailableError
        No take has a direction and a drive.
    """
    directions: dict[Drive, set[Direction]] = {}
    for take in takes:
        if take.key.drive and take.key.direction:
            directions.setdefault(take.key.drive, set()).add(take.key.direction.shared)
    if not directions:
        raise NotAvailableError("no take has both a direction and a drive")

    def preference(drive: Drive) -> tuple[int, float, float]:
        away = np.log(drive.value / REFERENCE_VOLTAGE_V) if at_terminals(drive) else drive.value
        return -len(directions[drive]), abs(float(away)), drive.value

    return min(directions, key=preference)
