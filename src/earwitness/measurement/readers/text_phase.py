"""Phases: degrees or radians, told by headings, by the case, or by jumps that only one of them makes."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.text_columns import Columns
from earwitness.measurement.readers.wrapping import DEGREES_PER_UNIT, proven_phase, proven_without_name
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

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
    what is said. What goes round at 400 is in gons, which "Grad" may mean too, and is refused.

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
    of_what = f"the column {first.text!r}" if first.text else f"column {these[0] + 1}"
    said = first.phase or stated
    jumping = {unit for k in these if (unit := proven_without_name(values[:, k])) is not None}
    if said is not None:
        if others := jumping - {said}:
            problem = f"its phase is said to be in {said}, and jumps as one in {min(others)} does"
            raise ReadError(name, problem, "export it again, or correct read.phase in takes.toml")
        return said
    proven = {unit for k in these if (unit := proven_phase(values[:, k])) is not None}
    if "gon" in proven:
        raise ReadError(name, f"{of_what} jumps as a phase in gon does", "export it in degrees")
    named = first.named or columns.stated
    if len(proven) != 1 or not (named or proven_without_name(values[:, these[0]])):
        may_be = "in degrees or radians" if named else "a phase or anything else"
        raise ReadError(name, f"{of_what} may be {may_be}", _SETTLED)
    return proven.pop()
