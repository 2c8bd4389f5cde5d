"""Axes: the one frequency axis of every picture, and level axes in steps of 5 dB.

The proportion, 25 dB to one decade of frequency, is that of IEC 60263, so that pictures of different cases
can be laid on each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.derive.formatting import number_text
from earwitness.exhibits.description import Axis
from earwitness.methods.iec_60263 import FREQUENCY_LIMITS_HZ, FREQUENCY_TICKS_HZ
from earwitness.records.grid import Floats

STEP_DB: Final = 5.0
HEADROOM_DB: Final = 3.0


def frequency_axis() -> Axis:
    """20 Hz to 20 kHz, logarithmic."""
    low, high = FREQUENCY_LIMITS_HZ
    ticks = tuple((f, f"{f:.0f}" if f < 1000.0 else f"{f / 1000:.0f}k") for f in FREQUENCY_TICKS_HZ)
    return Axis("frequency", "Hz", low, high, ticks, logarithmic=True)


def level_axis(label: str, minimum_db: float, maximum_db: float) -> Axis:
    """An axis in decibels with a tick every 5 dB; the limits are whole steps."""
    values = np.arange(minimum_db, maximum_db + STEP_DB / 2, STEP_DB)
    ticks = tuple((float(v), number_text(float(v), 0)) for v in values)
    return Axis(label, "dB", minimum_db, maximum_db, ticks)


def hanging(label: str, levels: Sequence[Floats], least_db: float, most_db: float) -> Axis:
    """An axis that hangs from the highest level, down to the lowest, in whole steps.

    There is headroom for a mark's number above the lines; the span is at least `least_db`, at most `most_db`.
    """
    top = np.ceil((_highest(levels) + HEADROOM_DB) / STEP_DB) * STEP_DB
    bottom = np.floor(-_highest([-v for v in levels]) / STEP_DB) * STEP_DB
    span = min(max(top - bottom, least_db), most_db)
    return level_axis(label, float(top - span), float(top))


def about_zero(label: str, levels: Sequence[Floats], least_db: float, most_db: float) -> Axis:
    """An axis that holds zero and every level, in whole steps.

    It reaches at least `least_db` upward and one step downward, and at most `most_db` either way.
    """
    high = np.ceil(max(_highest(levels), least_db) / STEP_DB) * STEP_DB
    low = np.floor(min(-_highest([-v for v in levels]), -STEP_DB) / STEP_DB) * STEP_DB
    return level_axis(label, float(max(low, -most_db)), float(min(high, most_db)))


def _highest(levels: Sequence[Floats]) -> float:
    return max(float(np.nanmax(v)) for v in levels)
