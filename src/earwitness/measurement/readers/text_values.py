"""Levels: decibels or magnitudes, told by headings, by the case, or by numbers that allow no other.

Without a word on their unit, numbers are decibels only where a linear magnitude can't be: one of them is
zero or negative, or their median lies above 40 and none above 150. As pascals 40 are 126 dB, as ohms they are
more than a loudspeaker's impedance is over most of its band, and in millipascals a level that is worth a
measurement goes beyond 150. Nor may they be a phase: numbers that jump as one does, or lie more than 200
apart, are refused. So is 0.02 to 5 (pascals, or a microphone's few decibels), and so are real and imaginary
parts without a unit.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.contents import MAX_LEVEL_DB
from earwitness.measurement.readers.text_columns import Columns
from earwitness.measurement.readers.text_units import Role
from earwitness.measurement.readers.units import OHM, PLAIN_DB, SPL, STATED, ValueUnit
from earwitness.measurement.readers.wrapping import proven_phase
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

#: What positive numbers without a unit have to be, to be decibels.
_LEAST_MEDIAN_DB: Final = 40.0
_LOUDEST_DB: Final = 150.0
#: The levels of one response don't lie further apart, and a phase that goes round does.
_WIDEST_SPAN_DB: Final = 200.0
#: Directions of one loudspeaker don't differ by more in their median.
_WIDEST_SPREAD_DB: Final = 60.0
_SETTLED: Final = 'state which, as in read = { level = "dB SPL" }'
_SETTLED_COMPLEX: Final = 'as in read = { level = "Pa" }'


def value_unit_of(columns: Columns, values: Float64s, name: str, stated: str | None) -> ValueUnit:
    """The one unit of all value columns of a table, shape (n, columns).

    Raises
    ------
    ReadError
        It can't be told, differs between columns, or what is stated contradicts the headings or the numbers.
    """
    first = columns.parts[0]
    heading = columns.headings[first.value]
    headed = heading.unit
    others = [columns.headings[k] for k in _value_columns(columns)]
    other = next((each for each in others if each.unit != headed), None)
    if other is not None:
        problem = f"{heading.text!r} and {other.text!r} have different units"
        raise ReadError(name, problem, "export all columns in one unit")
    wanted = STATED[stated] if stated else None
    if headed is not None and wanted is not None and not _refines(wanted, headed):
        problem = f"its levels are headed {heading.text!r}, where read.level says {stated}"
        raise ReadError(name, problem, "correct read.level in takes.toml")
    is_complex = heading.role is Role.REAL
    if is_complex and wanted is not None and not wanted.linear:
        problem = f"read.level says {stated}, which real and imaginary parts can't be in"
        raise ReadError(name, problem, f"state their unit, {_SETTLED_COMPLEX}")
    unit = _hinted(wanted if wanted and headed in (None, PLAIN_DB) else headed, heading.hint)
    if unit is not None:
        return unit
    if is_complex:
        problem = "the unit of its real and imaginary parts isn't said"
        raise ReadError(name, problem, f"state it, {_SETTLED_COMPLEX}")
    magnitudes = values[:, [part.value for part in columns.parts]]
    _require_decibels(columns, magnitudes, name)
    return SPL if heading.hint == "spl" else PLAIN_DB


def _refines(wanted: ValueUnit, headed: ValueUnit) -> bool:
    """Whether a stated unit says the same as a heading, or what plain dB are relative to."""
    if wanted == headed or (wanted is PLAIN_DB and not headed.linear):
        return True
    return headed is PLAIN_DB and not wanted.linear


def _hinted(unit: ValueUnit | None, hint: str) -> ValueUnit | None:
    if unit is PLAIN_DB and hint == "spl":
        return SPL
    if unit is None and hint == "ohm":
        return OHM
    return unit


def _value_columns(columns: Columns) -> list[int]:
    found = [part.value for part in columns.parts]
    return found + [part.imaginary for part in columns.parts if part.imaginary is not None]


def _require_decibels(columns: Columns, magnitudes: Float64s, name: str) -> None:
    """Refuse numbers, shape (n, parts), that may be something else than decibels."""
    medians = np.median(magnitudes, axis=0)
    spans = np.ptp(magnitudes, axis=0)
    for part, column, span_db in zip(columns.parts, magnitudes.T, spans, strict=True):
        if span_db > _WIDEST_SPAN_DB or proven_phase(column) is not None:
            problem = (
                f"column {part.value + 1} may be a phase: it runs from {column.min():g} to {column.max():g}"
            )
            raise ReadError(
                name, problem, 'state read = { columns = "frequency, level, phase" } or what it holds'
            )
    decibels = medians.min() >= _LEAST_MEDIAN_DB and magnitudes.max() <= _LOUDEST_DB
    if magnitudes.min() > 0.0 and not decibels:
        span = f"{magnitudes.min():g} to {magnitudes.max():g}"
        raise ReadError(name, f"its values from {span} may be dB or a linear magnitude", _SETTLED)
    apart = np.abs(medians - np.median(medians)) > _WIDEST_SPREAD_DB
    if apart.any():
        column = columns.parts[int(np.argmax(apart))].value + 1
        problem = f"column {column} can't be the level of one more direction"
        raise ReadError(
            name, problem, "name what it is in its heading, or leave it aside: read = { columns = … }"
        )


def levels_db(
    value: Float64s, imaginary: Float64s | None, unit: ValueUnit, at: npt.NDArray[np.int64], name: str
) -> tuple[Float64s, Float64s | None]:
    """Levels in dB re the unit's reference and the phase of a complex value in degrees, each (n,).

    Raises
    ------
    ReadError
        A magnitude has no level, or a level is none; with the line.
    """
    phase = None if imaginary is None else np.degrees(np.arctan2(imaginary, value))
    magnitude = value if imaginary is None else np.hypot(value, imaginary)
    linear = unit.linear or imaginary is not None
    if linear:
        silent = magnitude <= 0.0
        if silent.any():
            k = int(np.argmax(silent))
            problem = f"a magnitude of {magnitude[k]:g} {unit.name} has no level"
            raise ReadError(name, problem, "export it again, or leave that row out", f"line {at[k]}")
        level = 20.0 * np.log10(magnitude) + 20.0 * np.log10(unit.scale)
    else:
        level = value + 20.0 * np.log10(unit.scale)
    wrong = np.abs(level) > MAX_LEVEL_DB
    if wrong.any():
        k = int(np.argmax(wrong))
        raise ReadError(name, f"{value[k]:g} {unit.name} is no level", "export it again", f"line {at[k]}")
    return level, phase
