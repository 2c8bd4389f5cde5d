"""Levels that can't be what they are taken for: a response in decibels of something else than pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse
from earwitness.measurement.recognition.answers import Unclear
from earwitness.records.takes import DIRECTIONAL, TakeKind

#: Where every loudspeaker plays, in every direction, Hz.
BAND_HZ: Final = (300.0, 3000.0)
#: A median below the first is under the self-noise of most microphones, one above the second would be
#: beyond the strongest loudspeakers at a metre; dB re 20 µPa.
POSSIBLE_DB_SPL: Final = (20.0, 150.0)
#: A microphone's response is given re its own at one frequency: near 0 dB in the band.
POSSIBLE_DB_GAIN: Final = 6.0
_PASCAL_DB_SPL: Final = 93.9794


@dataclass(frozen=True, slots=True)
class Levels:
    """What a response's levels are: their unit, and their median in `BAND_HZ` (None: it has none there)."""

    unit: LevelUnit
    median_db: float | None


def levels_of(response: MeasuredResponse) -> Levels:
    """The levels of a response as it came."""
    f, level = response.frequency_hz, response.level_db
    inside = level[(f >= BAND_HZ[0]) & (f <= BAND_HZ[1]) & np.isfinite(level)]
    return Levels(response.unit, float(np.median(inside)) if inside.size else None)


def why_not_of_kind(kind: TakeKind, levels: Levels | None) -> Unclear | None:
    """Why a response of these levels can't be of that kind; None where it can."""
    if levels is None:
        return None
    is_ohm = levels.unit is LevelUnit.OHM
    if kind in DIRECTIONAL and is_ohm:
        return Unclear("kind", "its values are ohms, and its name says a response of the loudspeaker")
    if kind is TakeKind.MICROPHONE_CALIBRATION and levels.unit is not LevelUnit.DB:
        return Unclear("kind", f"a microphone's response is a gain in dB, and this one is {levels.unit}")
    if kind is TakeKind.IMPEDANCE and levels.unit not in (LevelUnit.OHM, LevelUnit.DB):
        return Unclear("kind", f"named as impedance, and its values are {levels.unit}")
    return _why_not_of_size(kind, levels)


def _why_not_of_size(kind: TakeKind, levels: Levels) -> Unclear | None:
    """Why a median of so many dB is none of that kind."""
    median = levels.median_db
    if median is None:
        return None
    shown = f"{median:.0f} dB".replace("-", "−")
    band = f"median from {BAND_HZ[0]:g} Hz to {BAND_HZ[1] / 1000.0:g} kHz"
    low, high = POSSIBLE_DB_SPL
    if kind in DIRECTIONAL and levels.unit is LevelUnit.DB and not low <= median <= high:
        line = f"its level of {shown} ({band}) is no sound pressure level in dB re 20 µPa"
        return Unclear("level", f"{line}; read.level states what it is")
    if kind in DIRECTIONAL and levels.unit is LevelUnit.SPL and median > high:
        return Unclear("level", f"its level of {shown} re 20 µPa ({band}) is louder than loudspeakers play")
    if kind in DIRECTIONAL and levels.unit is LevelUnit.PASCAL and median > high - _PASCAL_DB_SPL:
        return Unclear("level", f"its level of {shown} re 1 Pa ({band}) is louder than loudspeakers play")
    if kind is TakeKind.MICROPHONE_CALIBRATION and abs(median) > POSSIBLE_DB_GAIN:
        return Unclear("level", f"a microphone's response lies near 0 dB, and this one at {shown} ({band})")
    return None
