"""Phases that go round: what a jump by a whole turn proves of their unit, whatever the file's format."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.measurement.readers.contents import Float64s

DEGREES_PER_UNIT: Final = {"deg": 1.0, "rad": 180.0 / np.pi}
#: Gons are in no heading that is read; what goes round at 400 is no phase in degrees.
_TURN: Final = {"deg": 360.0, "rad": 2.0 * np.pi, "gon": 400.0}
#: Rounding at the ends of a turn.
_SLACK: Final = 1e-3
#: So many jumps by a turn prove that numbers which nothing names are a wrapped phase.
_JUMPS_UNNAMED: Final = 2


def proven_phase(values: Float64s) -> str | None:
    """The unit in which numbers, shape (n,), are a wrapped phase beyond doubt; None where there is doubt.

    They stay within one turn (±180 or 0 to 360, ±π or 0 to 2π, ±200 or 0 to 400), jump by nearly a whole
    turn, and but for these jumps go on by less than a quarter of one.
    """
    return _proven(values[np.newaxis], 1)[0]


def proven_without_name(values: Float64s) -> str | None:
    """As `proven_phase`, for numbers that may be anything, or that are said to be in another unit.

    Two jumps are asked for, and radians must go below zero, which percentages never do.
    """
    return rows_proven(values[np.newaxis])[0]


def rows_proven(values: Float64s) -> list[str | None]:
    """What `proven_without_name` says of each row, shape (rows, n)."""
    below_zero = values.min(axis=-1) < 0.0
    found = _proven(values, _JUMPS_UNNAMED)
    return [
        None if unit == "rad" and not below else unit for unit, below in zip(found, below_zero, strict=True)
    ]


def _proven(values: Float64s, jumps: int) -> list[str | None]:
    """The first unit in which each row wraps, if it does so `jumps` times."""
    low, high = values.min(axis=-1), values.max(axis=-1)
    steps = np.abs(np.diff(values, axis=-1))
    found: list[str | None] = [None] * len(values)
    open_rows = np.ones(len(values), dtype=np.bool_)
    for unit, turn in _TURN.items():
        slack = _SLACK * turn
        within = (low >= -turn / 2 - slack) & (high <= turn / 2 + slack)
        within |= (low >= -slack) & (high <= turn + slack)
        rows = np.flatnonzero(within & open_rows & ((steps > 0.75 * turn).any(axis=-1)))
        these = steps[rows]
        goes_on = (np.minimum(these, np.abs(these - turn)) < turn / 4).all(axis=-1)
        often = np.count_nonzero(these > 0.75 * turn, axis=-1) >= jumps
        for row in rows[goes_on & often]:
            found[row] = unit
        open_rows[rows[goes_on]] = False
    return found
