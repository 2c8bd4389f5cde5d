"""What exhibits of several drives share: which drives are drawn, their names and weights, and percentages."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.formatting import value_text
from earwitness.derive.numerals import quantity
from earwitness.exhibits.description import Role
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import Floats
from earwitness.records.sentences import Number, Sentence, Term, say

ROLES: Final = (Role.DRIVE_1, Role.DRIVE_2, Role.DRIVE_3, Role.DRIVE_4, Role.DRIVE_5)
#: Smoothed curves are drawn at every fourth point, twenty-four to the octave.
STRIDE: Final = 4


def drawn_rows(level: ChangeWithLevel, first: int) -> tuple[int, ...]:
    """At most five drives from `first` up, evenly, the highest and the stated one among them."""
    last = len(level.drives) - 1
    if last - first < len(ROLES):
        return tuple(range(first, last + 1))
    rows = np.unique(np.round(np.linspace(first, last, len(ROLES)))).astype(int)
    if first <= level.stated:
        rows[int(np.argmin(np.abs(rows[:-1] - level.stated)))] = (
            level.stated if level.stated < last else rows[-2]
        )
    return tuple(int(row) for row in np.unique(rows))


def roles(count: int) -> tuple[Role, ...]:
    """So many weights, the heaviest last."""
    return ROLES[len(ROLES) - count :]


def name(level: ChangeWithLevel, row: int) -> str:
    """``91 dB``, what a drive's line is called."""
    return value_text(float(level.arrived_db[row]), "dB", 0)


def called(level: ChangeWithLevel, row: int) -> Sentence:
    """``91 dB (8 V)``."""
    loud = quantity(float(level.arrived_db[row]), "dB", f"level:arrived_db/{row}", 0)
    return say(loud, " (", Term(level.drives[row].label), ")")


def thinned(values: Floats) -> Floats:
    """Every fourth point."""
    return np.asarray(values[..., ::STRIDE])


def percent(ratio: float, reference: str) -> Number:
    """``0.25 %``, two significant digits; the value stays a ratio."""
    return Number(f"{float(f'{100.0 * ratio:.2g}'):g} %", ratio, reference)


def nearest(frequency_hz: Floats, wanted_hz: float) -> int:
    """The index of the grid frequency nearest to a wanted one."""
    return int(np.argmin(np.abs(np.log(frequency_hz / wanted_hz))))
