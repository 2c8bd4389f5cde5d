"""Features between drives: bands in which the response at the highest drive isn't that at the lowest.

A band is a stretch of at least a sixth of an octave, over which the change of the fundamental (means over a
sixth of an octave, `derive.distortion.change`) keeps its sign and reaches `LEAST_DB`; gaps narrower than a
third of an octave don't part it. Defined here; half a decibel over a band is near what is just noticed of a
change of balance (common practice).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.level_changes import LevelChange

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: A change counts from here on, dB.
LEAST_DB: Final = 0.5
#: Bands are so wide at least, and gaps between parts of one are narrower than this, octaves.
LEAST_OCTAVES, GAP_OCTAVES = 1.0 / 6.0, 1.0 / 3.0
#: So many are told, those that change most.
MOST: Final = 3


def find_changes(level: ChangeWithLevel, frequency_hz: Float64s) -> tuple[LevelChange, ...]:
    """The bands that change most, from the lowest frequency up; none where nothing reaches half a decibel."""
    top = np.asarray(level.change_db[-1], dtype=np.float64)
    found = [
        _change(level, frequency_hz, sign, low, high)
        for sign in (-1, 1)
        for low, high in _stretches(np.nan_to_num(sign * top) >= LEAST_DB)
    ]
    most = sorted(found, key=lambda one: -abs(one.change_db))[:MOST]
    in_order = sorted(most, key=lambda one: one.frequency_hz)
    return tuple(replace(one, number=number) for number, one in enumerate(in_order, 1))


def _stretches(there: Bools) -> list[tuple[int, int]]:
    """First and last index of each band."""
    at = np.flatnonzero(there)
    if not at.size:
        return []
    parts = np.split(at, np.flatnonzero(np.diff(at) > GAP_OCTAVES * POINTS_PER_OCTAVE) + 1)
    least = LEAST_OCTAVES * POINTS_PER_OCTAVE
    return [(int(part[0]), int(part[-1])) for part in parts if part[-1] - part[0] >= least]


def _change(level: ChangeWithLevel, frequency_hz: Float64s, sign: int, low: int, high: int) -> LevelChange:
    changes = np.nan_to_num(sign * np.asarray(level.change_db, dtype=np.float64)[:, low : high + 1])
    most = int(np.argmax(changes[-1]))
    over = changes[:, most] >= LEAST_DB
    # the drive from which up it stays
    below = np.flatnonzero(~over)
    row = int(below[-1]) + 1
    return LevelChange(
        number=0,
        kind="less" if sign < 0 else "more",
        frequency_hz=float(frequency_hz[low + most]),
        change_db=float(sign * changes[-1, most]),
        band_hz=(float(frequency_hz[low]), float(frequency_hz[high])),
        from_row=row,
        from_drive=level.drives[row].value,
        top_drive=level.drives[-1].value,
        unit=level.drives[-1].unit,
    )
