"""Pools of repeats: a pool whose takes disagree is not averaged.

The mean of takes that differ by more than a take repeats by is the level of none of them. Of such a pool the
take nearest to the median counts alone; the others stay in what is told of how well a take repeats
(`derive.repeats`), so that the uncertainty is that of one such take. Source: defined here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.methods.iec_61260 import OCTAVES, band_levels_db
from earwitness.records.grid import Bools, Floats

#: Repeats whose standard deviation is more in an octave are not averaged: what noise scatters an octave
#: by is far less where it is valid.
AVERAGED_DB: Final = 1.5
#: Distances that differ by less are the same, and the earlier take counts.
_DIGITS: Final = 6


def octaves_db(power: Floats, valid: Bools, frequency_hz: Floats) -> Floats:
    """Levels of takes (T, F) in octaves, dB, shape (T, B); NaN where too little of one is valid."""
    return band_levels_db(power, valid, frequency_hz, OCTAVES, 1)


def disagreement_db(level_db: Floats) -> float:
    """The greatest standard deviation of R repeats (R, B) in an octave; 0 where nothing is known of two.

    Worked number: two takes 2 dB apart have a standard deviation of √2 dB.
    """
    enough = np.isfinite(level_db).sum(axis=0) > 1
    if len(level_db) < 2 or not enough.any():
        return 0.0
    return float(np.max(np.nanstd(level_db[:, enough], axis=0, ddof=1)))


def counting(rows: Sequence[int], level_db: Floats) -> list[int]:
    """Which of the repeats in `rows` of levels (T, B) count: all, or the one nearest to their median."""
    pool = level_db[list(rows)]
    if disagreement_db(pool) <= AVERAGED_DB:
        return list(rows)
    known = np.isfinite(pool).all(axis=0)
    away = np.sqrt(np.mean((pool[:, known] - np.median(pool[:, known], axis=0)) ** 2, axis=-1))
    return [rows[int(np.argmin(np.round(away, _DIGITS)))]]
