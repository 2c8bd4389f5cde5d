"""Levels that can't be what they are taken for: a response in decibels of something else than pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10
from typing import Final

import numpy as np

from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse
from earwitness.measurement.recognition.answers import Unclear
from earwitness.records.takes import DIRECTIONAL, Drive, TakeKind

#: Where every loudspeaker plays, in every direction, Hz.
BAND_HZ: Final = (300.0, 3000.0)
#: A median below the first is under the self-noise of most microphones, one above the second would be
#: beyond the strongest loudspeakers at a metre; dB re 20 µPa.
POSSIBLE_DB_SPL: Final = (20.0, 150.0)
#: A microphone's response is given re its own at one frequency: near 0 dB in the band.
POSSIBLE_DB_GAIN: Final = 6.0
#: No loudspeaker is measured from farther away: beyond, the distance is in another unit.
FARTHEST_M: Final = 30.0
_PASCAL_DB_SPL: Final = 93.9794
_RE: Final = {LevelUnit.DB: "dB"}


@dataclass(frozen=True, slots=True)
class Levels:
    """What a response's levels are: their unit, and their median in `BAND_HZ` (None: it has none there).

    `distance_m` is where the microphone stood, where the file says so.
    """

    unit: LevelUnit
    median_db: float | None
    distance_m: float | None = None


def levels_of(response: MeasuredResponse) -> Levels:
    """The levels of a response as it came."""
    f, level = response.frequency_hz, response.level_db
    inside = level[(f >= BAND_HZ[0]) & (f <= BAND_HZ[1]) & np.isfinite(level)]
    distance = None if response.placed is None else response.placed.distance_m
    return Levels(response.unit, float(np.median(inside)) if inside.size else None, distance)


def oddest(levels: Sequence[Levels]) -> Levels:
    """Of several responses of one file the levels that lie farthest from what loudspeakers have.

    Units are one file's, and alike.
    """
    if not levels:
        return Levels(LevelUnit.DB, None)
    in_pascal = levels[0].unit in (LevelUnit.PASCAL, LevelUnit.PASCAL_PER_DRIVE)
    middle = sum(POSSIBLE_DB_SPL) / 2.0 - (_PASCAL_DB_SPL if in_pascal else 0.0)
    medians = [one.median_db for one in levels if one.median_db is not None]
    distances = [one.distance_m for one in levels if one.distance_m is not None]
    median = max(medians, key=lambda median: abs(median - middle), default=None)
    return Levels(levels[0].unit, median, max(distances, default=None))


def why_not_of_kind(kind: TakeKind, levels: Levels | None, drive: Drive | None) -> Unclear | None:
    """Why a response of these levels can't be of that kind; None where it can."""
    if levels is None:
        return None
    wrong = _why_not_of_unit(kind, levels.unit)
    if wrong is not None:
        return wrong
    if kind in DIRECTIONAL and levels.distance_m is not None and levels.distance_m > FARTHEST_M:
        line = f"the file says that its microphone stood {levels.distance_m:g} m away"
        return Unclear("distance", f"{line}, farther than loudspeakers are measured from")
    return _why_not_of_size(kind, levels, drive)


def _why_not_of_unit(kind: TakeKind, unit: LevelUnit) -> Unclear | None:
    """Why levels of that unit are none of that kind."""
    if kind in DIRECTIONAL and unit is LevelUnit.OHM:
        return Unclear("kind", "its values are ohms, and its name says a response of the loudspeaker")
    if kind in DIRECTIONAL and unit is LevelUnit.RATIO:
        return Unclear("level", "its values are a ratio, which is no sound pressure")
    if kind is TakeKind.MICROPHONE_CALIBRATION and unit not in (LevelUnit.DB, LevelUnit.RATIO):
        return Unclear("kind", f"a microphone's response is a gain in dB, and this one is {unit}")
    if kind is TakeKind.IMPEDANCE and unit not in (LevelUnit.OHM, LevelUnit.DB):
        return Unclear("kind", f"named as impedance, and its values are {unit}")
    return None


def _why_not_of_size(kind: TakeKind, levels: Levels, drive: Drive | None) -> Unclear | None:
    """Why a median of so many dB, from so far away, is none of that kind."""
    median = levels.median_db
    if median is None:
        return None
    shown = f"{median:.0f} {_RE.get(levels.unit, levels.unit)}".replace("-", "−")
    line = f"its level of {shown} (median from {BAND_HZ[0]:g} Hz to {BAND_HZ[1] / 1000.0:g} kHz)"
    if kind is TakeKind.MICROPHONE_CALIBRATION and abs(median) > POSSIBLE_DB_GAIN:
        return Unclear("level", f"a microphone's response lies near 0 dB, and {line} doesn't")
    pressure = _pressure_level(levels, drive)
    low, high = POSSIBLE_DB_SPL
    if kind not in DIRECTIONAL or pressure is None:
        return None
    if not low <= pressure <= high:
        return Unclear("level", f"{line} is no sound pressure level of a loudspeaker in dB re 20 µPa")
    at_1_m = pressure + 20.0 * log10(levels.distance_m) if levels.distance_m else pressure
    if at_1_m > high:
        return Unclear("distance", f"{line} from {levels.distance_m:g} m is louder than loudspeakers play")
    return None


def _pressure_level(levels: Levels, drive: Drive | None) -> float | None:
    """The median in dB re 20 µPa; None where the drive that it needs isn't known."""
    median, unit = levels.median_db, levels.unit
    if median is None or unit is LevelUnit.OHM:
        return None
    if unit is LevelUnit.PASCAL:
        return median + _PASCAL_DB_SPL
    if unit is not LevelUnit.PASCAL_PER_DRIVE:
        return median
    if drive is None or (drive.unit == "V" and drive.value <= 0.0):
        return None
    of_drive = 20.0 * log10(drive.amplitude)
    return median + _PASCAL_DB_SPL + of_drive
