"""Frequencies such as 1.000 and 20.000, of which nobody can tell whether they are thousands."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.measurement.readers.text_dialect import Table
from earwitness.measurement.readers.text_frequency import FrequencyAxis, can_be_hz
from earwitness.measurement.readers.text_units import FREQUENCY_UNITS
from earwitness.records.errors import ReadError

_GROUPED: Final = re.compile(r"[+]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_SHORT: Final = re.compile(r"[+]?\d{1,3}", re.ASCII)
_BETWEEN: Final = re.compile(r'[ \t;|"]+')


def require_no_thousands(
    rows: Sequence[str], table: Table, column: int, axis: FrequencyAxis, name: str
) -> None:
    """Refuse frequencies whose decimal mark may as well part thousands.

    One that isn't cut into groups of three digits proves the mark to be a decimal one (20.5, 0.125,
    1250.000); so does any decimal in another column, since nobody's levels and phases are thousands
    throughout, and so does an order that is none or a range that is no loudspeaker's with the mark left out.

    Parameters
    ----------
    rows
        The table's rows as they stand in the file.
    column
        That of the frequencies.

    Raises
    ------
    ReadError
        Both readings are possible.
    """
    mark = table.dialect.decimal
    first = table.values[:, column]
    if first.max() >= 1000.0 or not any(mark in row for row in rows):
        return
    between = re.compile(r'[, \t"]+') if table.dialect.delimiter == "comma" else _BETWEEN
    whole = []
    for row in rows:
        cells = [cell for cell in between.split(row) if cell]
        frequency = cells.pop(column)
        if any(mark in cell for cell in cells):
            return
        if not (_GROUPED.fullmatch(frequency) or _SHORT.fullmatch(frequency)):
            return
        whole.append(float(frequency.replace(mark, "")))
    hz = np.array(whole)[axis.rows] * FREQUENCY_UNITS[axis.unit]
    if np.all(np.diff(hz) > 0.0) and can_be_hz(hz):
        problem = "may have separators of thousands in its frequencies, or three decimals in each"
        remedy = f'state read = {{ decimal = "{mark}" }}, or export it without them'
        raise ReadError(name, problem, remedy)
