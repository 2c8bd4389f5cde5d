"""Phases: degrees or radians, told by headings, by the case, or by jumps that only one of them makes."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.text_columns import Columns
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

DEGREES_PER_UNIT: Final = {"deg": 1.0, "rad": 180.0 / np.pi}
_TURN: Final = {"deg": 360.0, "rad": 2.0 * np.pi}
#: Rounding at the ends of a turn.
_SLACK: Final = 1e-3
#: So many jumps by a turn prove that a column which nothing names is a wrapped phase.
_JUMPS_UNNAMED: Final = 2
_SETTLED: Final = 'state read = { phase = "deg" }, "rad", or "none" if it is no phase'


def phase_unit_of(columns: Columns, values: Float64s, name: str, stated: str | None) -> str | None:
    """``deg`` or ``rad`` for all phase columns of a table, shape (n, columns); None where it has none.

    A heading or the case says it; what the numbers prove must not contradict that. Where neither says it,
    the numbers of one column have to prove it: they stay within one turn (±180 or 0 to 360, ±π or 0 to 2π),
    jump by nearly a whole turn, and but for these jumps go on by less than a quarter of one. Radians don't
    jump by 360, and degrees within ±3.15 don't jump by 6.3 and go on where they were. A phase that isn't
    wrapped proves nothing, as −400 may be either.

    A column that nothing names may be anything (coherence, distortion, a second level): there two jumps are
    asked for, and radians must go below zero, which percentages never do. As much is asked for to contradict
    what is said.

    Raises
    ------
    ReadError
        It can't be told, or is contradicted.
    """
    these = [part.phase for part in columns.parts if part.phase is not None]
    if not these:
        return None
    headings = [columns.headings[k] for k in these]
    first = headings[0]
    headed = {heading.phase for heading in headings}
    if len(headed) > 1:
        raise ReadError(name, "its phases have different units", "export all columns in one unit")
    if first.phase and stated in DEGREES_PER_UNIT and stated != first.phase:
        problem = f"its phase is headed {first.text!r}, where read.phase says {stated}"
        raise ReadError(name, problem, "correct read.phase in takes.toml")
    proven = {unit for k in these if (unit := proven_phase(values[:, k])) is not None}
    said = first.phase or stated
    if said is not None:
        if any(_proven_without_name(values[:, k]) and proven_phase(values[:, k]) != said for k in these):
            problem = f"its phase is said to be in {said}, and jumps as one in {(proven - {said}).pop()} does"
            raise ReadError(name, problem, "export it again, or correct read.phase in takes.toml")
        return said
    of_what = f"the column {first.text!r}" if first.text else f"column {these[0] + 1}"
    named = first.named or columns.stated
    if len(proven) != 1 or not (named or _proven_without_name(values[:, these[0]])):
        may_be = "in degrees or radians" if named else "a phase or anything else"
        raise ReadError(name, f"{of_what} may be {may_be}", _SETTLED)
    return proven.pop()


def proven_phase(values: Float64s) -> str | None:
    """The unit in which a column is a wrapped phase beyond doubt; None where there is doubt."""
    low, high = float(values.min()), float(values.max())
    steps = np.abs(np.diff(values))
    for unit, turn in _TURN.items():
        slack = _SLACK * turn
        within = (low >= -turn / 2 - slack and high <= turn / 2 + slack) or (
            low >= -slack and high <= turn + slack
        )
        goes_on = np.minimum(steps, np.abs(steps - turn)) < turn / 4
        if within and goes_on.all() and _jumps(values, unit):
            return unit
    return None


def _jumps(values: Float64s, unit: str) -> int:
    return int(np.count_nonzero(np.abs(np.diff(values)) > 0.75 * _TURN[unit]))


def _proven_without_name(values: Float64s) -> bool:
    unit = proven_phase(values)
    return (
        unit is not None
        and _jumps(values, unit) >= _JUMPS_UNNAMED
        and (unit == "deg" or float(values.min()) < 0.0)
    )
