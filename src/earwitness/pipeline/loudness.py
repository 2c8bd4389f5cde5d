"""How loud a drive plays where somebody stands, and what that means for ears: before anything is measured."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.case.named_set import read_set
from earwitness.methods.hearing_exposure import (
    EU_LIMIT_DB,
    EU_LOWER_ACTION_DB,
    EU_LOWER_ACTION_PEAK_PA,
    EU_UPPER_ACTION_DB,
    daily_exposure_level_db,
    niosh_dose,
    niosh_hours_a_day,
)
from earwitness.methods.iec_60268_5 import REFERENCE_DISTANCE_M, REFERENCE_VOLTAGE_V
from earwitness.records.errors import IntegrityError, NotAvailableError
from earwitness.records.figures import FigureName, Quantity, Results
from earwitness.records.takes import Drive

#: What is assumed where nobody says anything: more than most loudspeakers have, to be on the safe side.
ASSUMED_DB: Final = 90.0
REFERENCE_DRIVE: Final = Drive(REFERENCE_VOLTAGE_V)
_SINE_PEAK_DB: Final = 20.0 * math.log10(math.sqrt(2.0))
_REFERENCE_PA: Final = 20e-6


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """The level at 1 m in dB re 20 µPa at the drive `per`, and who says so."""

    level_db: float
    per: Drive
    origin: str

    @property
    def label(self) -> str:
        """``90 dB at 1 m for 2.83 V (assumed)``."""
        return f"{self.level_db:.3g} dB at 1 m for {self.per.label} ({self.origin})"

    def at(self, drive: Drive, distance_m: float = REFERENCE_DISTANCE_M) -> float:
        """The level of the direct sound at a distance, for a drive in the same unit."""
        more = drive.value - self.per.value if drive.in_decibels else _db(drive.value / self.per.value)
        return self.level_db + more - _db(distance_m / REFERENCE_DISTANCE_M)


@dataclass(frozen=True, slots=True)
class Exposure:
    """What an unprotected ear gets at one place from all that plays.

    `dose` is the part of a day's recommended exposure by NIOSH (1 is all of it), `daily_db` the daily
    exposure level of Directive 2003/10/EC, `peak_db` the greatest peak of a sine.
    """

    dose: float
    daily_db: float
    peak_db: float

    @classmethod
    def of(cls, seconds_by_level_db: Mapping[float, float]) -> Exposure:
        """The exposure to levels, each for so many seconds in all; taken as A-weighted."""
        levels = sorted(seconds_by_level_db)
        hours = [seconds_by_level_db[level] / 3600.0 for level in levels]
        return cls(
            niosh_dose(levels, hours), daily_exposure_level_db(levels, hours), levels[-1] + _SINE_PEAK_DB
        )

    @property
    def verdict(self) -> str:
        """What it is beside the directive's values."""
        for value, name in (
            (EU_LIMIT_DB, "over the limit"),
            (EU_UPPER_ACTION_DB, "over the upper action value"),
            (EU_LOWER_ACTION_DB, "over the lower action value"),
        ):
            if self.daily_db > value:
                return f"{name} of {value:g} dB"
        if self.peak_db > _db(EU_LOWER_ACTION_PEAK_PA / _REFERENCE_PA):
            return f"its peaks are over the lower action value of {EU_LOWER_ACTION_PEAK_PA:g} Pa"
        return f"under the lower action value of {EU_LOWER_ACTION_DB:g} dB"


def allowed_text(level_db: float) -> str:
    """How long NIOSH allows a level in a day: ``5.8 h``, ``15 min``, ``28 s``; ``all day`` from 24 h on."""
    hours = float(niosh_hours_a_day(level_db))
    if hours >= 24.0:
        return "all day"
    for unit, an_hour in (("h", 1.0), ("min", 60.0)):
        if hours * an_hour >= 1.0:
            return f"{float(f'{hours * an_hour:.2g}'):g} {unit}"
    return f"{float(f'{hours * 3600.0:.2g}'):g} s"


def sensitivity_of(case: CaseFolder, stated_db: float | None, drive: Drive) -> Sensitivity | None:
    """The sensitivity of a case's loudspeaker: stated in the call, built from its takes, or assumed.

    For an active one what is stated holds at `drive`, and nothing is assumed: None then.
    """
    if drive.in_decibels:
        return None if stated_db is None else Sensitivity(stated_db, drive, "stated")
    if stated_db is not None:
        return Sensitivity(stated_db, REFERENCE_DRIVE, "stated")
    built = _built_db(case)
    if built is not None:
        return Sensitivity(built, REFERENCE_DRIVE, "as built from this case's takes")
    return assumed()


def assumed() -> Sensitivity:
    """What is assumed of a loudspeaker that nobody says anything of."""
    return Sensitivity(ASSUMED_DB, REFERENCE_DRIVE, "assumed")


def _built_db(case: CaseFolder) -> float | None:
    """What the last whole build found; None where there is none."""
    try:
        read_set(case)
        results = from_json(Results, case.results.read_bytes(), "build/results.json")
    except (NotAvailableError, IntegrityError):
        return None
    figure = next((f for f in results.figures if f.name is FigureName.SENSITIVITY), None)
    return figure.value.value if figure is not None and isinstance(figure.value, Quantity) else None


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio)
