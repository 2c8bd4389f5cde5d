"""F3, F6, F10: where the level has lastingly fallen by so many decibels, going down from 300 Hz.

The reference is the mean of the same curve over the sensitivity band. Troughs narrower than 1/9 octave are
skipped (as the effective frequency range of IEC 60268-5 does); the crossing is interpolated linearly in dB
over log frequency. Where the level hardly falls on below the crossing, a baffle step or a wide trough
crossed, and no end of the range: then there is no F3. Source: common practice, chosen here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.sources import Source, Standing

#: The search goes down from here.
SEARCH_FROM_HZ: Final = 300.0
#: A fall that lasts for less than this is a trough, and skipped.
TROUGH_OCTAVES: Final = 1.0 / 9.0
#: A roll-off falls by at least this much in the octave below the crossing; a baffle step by 2 to 3 dB. (A
#: sealed box of Q = 0.5, the slowest usual one, falls by 5.4 dB below its F3.)
ROLL_OFF_DB: Final = 4.0
#: F3, F6 and F10 in dB below the reference.
FALL_DB: Final = (3.0, 6.0, 10.0)

SOURCE: Final = Source("IEC 60268-5", "", "effective frequency range, as read here", Standing.COMMON_PRACTICE)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a curve falls, or why that can't be said.

    `kind` is ``found``; ``step`` where the level crosses without rolling off; ``lower`` where it hasn't
    fallen lastingly at the lowest valid frequency; ``above`` where it has fallen at the first point already.
    """

    kind: Literal["found", "step", "lower", "above"]
    frequency_hz: float


def crossing_hz(frequency_hz: Floats, fall_db: Floats, threshold_db: float) -> Floats:
    """First lasting crossing of `fall_db` (dB below the reference, shape (..., F)) going down, Hz.

    NaN where it doesn't fall so far, −inf where it has fallen at the first point already. `frequency_hz`
    falls from 300 Hz.
    """
    run = int(np.ceil(TROUGH_OCTAVES * POINTS_PER_OCTAVE))
    below = fall_db >= threshold_db
    counted = np.cumsum(below, axis=-1)
    counted = np.concatenate((np.zeros_like(counted[..., :1]), counted), axis=-1)
    lasting: Bools = counted[..., run:] - counted[..., :-run] == run
    first = np.argmax(lasting, axis=-1)
    found: Bools = np.take_along_axis(lasting, first[..., None], axis=-1)[..., 0]
    before = np.maximum(first - 1, 0)
    upper = np.take_along_axis(fall_db, before[..., None], axis=-1)[..., 0]
    lower = np.take_along_axis(fall_db, first[..., None], axis=-1)[..., 0]
    step = np.where(lower != upper, lower - upper, 1.0)
    part = np.clip((threshold_db - upper) / step, 0.0, 1.0)
    log_f = np.log(frequency_hz)
    crossing = np.exp(log_f[before] + part * (log_f[first] - log_f[before]))
    return np.where(found, np.where(first == 0, -np.inf, crossing), np.nan)


def find_crossing(frequency_hz: Floats, fall_db: Floats, threshold_db: float) -> Crossing:
    """The crossing of one curve, shape (F,), and its kind; all points are valid, and fall from 300 Hz."""
    if len(frequency_hz) <= TROUGH_OCTAVES * POINTS_PER_OCTAVE:
        return Crossing("lower", float(frequency_hz[-1]))
    found = float(crossing_hz(frequency_hz, fall_db, threshold_db))
    if np.isnan(found):
        return Crossing("lower", float(frequency_hz[-1]))
    if np.isneginf(found):
        return Crossing("above", float(frequency_hz[0]))
    octaves_left = float(np.log2(found / frequency_hz[-1]))
    octaves = min(1.0, octaves_left)
    there = np.interp(-np.log2(found) + octaves, -np.log2(frequency_hz), fall_db)
    if there - threshold_db >= ROLL_OFF_DB * octaves:
        return Crossing("found", found)
    return Crossing("step" if octaves_left >= 1.0 else "lower", found)
