"""How loud it was, how long an ear may stay there, and what to do: the caution beside every drive level."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from earwitness.derive.level_form import drive_key
from earwitness.derive.numerals import hours_a_day, quantity
from earwitness.methods.hearing_exposure import (
    NIOSH_CRITERION_DB,
    NIOSH_CRITERION_H,
    NIOSH_EXCHANGE_DB,
    niosh_hours_a_day,
)
from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V
from earwitness.records.figures import Figure, FigureName, Quantity, Results
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.takes import DIRECTIONAL, Drive, Take

_ADVICE: Final = say(
    "Leave the room or wear hearing protection before a drive is raised; a steady signal can also destroy "
    "loudspeakers and amplifiers. Local law and qualified advice come first, and only qualified people open "
    "mains-powered equipment."
)


@dataclass(frozen=True, slots=True)
class Exposure:
    """The level at one metre at the greatest drive used, and the time a day that NIOSH allows at it.

    `drive` is in the unit that was given, `level_db` in dB re 20 µPa, `hours` is None where no level can be
    worked out (both numbers are None then).
    """

    drive: float | None
    level_db: float | None
    hours: float | None
    caution: Sentence


def exposure(takes: tuple[Take, ...], results: Results) -> Exposure:
    """The caution of a case.

    The level is taken as A-weighted, which in the band of the sensitivity it nearly is.
    """
    drives = [t.key.drive for t in takes if t.key.kind in DIRECTIONAL and t.key.drive]
    found = _loudest(drives, {figure.name: figure for figure in results.figures})
    if found is None:
        return Exposure(None, None, None, _general())
    drive, level = found
    hours = float(niosh_hours_a_day(level))
    return Exposure(drive.value, level, hours, _worked_out(drive, level, hours))


def _loudest(drives: Sequence[Drive], figures: Mapping[FigureName, Figure]) -> tuple[Drive, float] | None:
    """The greatest drive, and the level at 1 m that it gives by the figure that says what a drive gives."""
    told = figures.get(FigureName.SENSITIVITY)
    volts = [drive for drive in drives if not drive.in_decibels]
    if volts and told is not None and isinstance(told.value, Quantity):
        most = max(volts)
        return most, told.value.value + 20.0 * math.log10(most.value / REFERENCE_VOLTAGE_V)
    told = figures.get(FigureName.LEVEL_AT_DRIVE)
    if told is None or not isinstance(told.value, Quantity):
        return None
    for unit in ("dBFS", "dBu"):
        own, levels = told.also.get(drive_key(unit)), [drive for drive in drives if drive.unit == unit]
        if own is not None and levels:
            most = max(levels)
            return most, told.value.value + most.value - own
    return None


def _general() -> Sentence:
    module = "method:hearing_exposure"
    return say(
        "Loud measurements harm hearing: ",
        Term("NIOSH 98-126"),
        " allows ",
        quantity(NIOSH_CRITERION_H, "h", f"{module}/NIOSH_CRITERION_H", 0),
        " a day at ",
        quantity(NIOSH_CRITERION_DB, "dB", f"{module}/NIOSH_CRITERION_DB", 0),
        " (A-weighted), and half the time for every ",
        quantity(NIOSH_EXCHANGE_DB, "dB", f"{module}/NIOSH_EXCHANGE_DB", 0),
        " more. ",
        _ADVICE,
    )


def _worked_out(drive: Drive, level_db: float, hours: float) -> Sentence:
    here = "publication:trust/exposure"
    return say(
        "At ",
        quantity(drive.value, drive.unit, f"{here}/drive", 2 if drive.unit == "V" else 1),
        " it plays ",
        quantity(level_db, "dB", f"{here}/level_db", 0),
        " at one metre. Taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(hours, f"{here}/hours"),
        " there without protection. ",
        _ADVICE,
    )
