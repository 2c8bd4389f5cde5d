"""Responses as text of any dialect: told from the whole file, refused where two readings are possible.

What a file holds is told in this order, each step from everything the steps before it found:

1. `text_decoding`: bytes to characters.
2. `text_lines`: rows of numbers, and the words above and below them.
3. `text_dialect`: what parts the columns, and what stands before decimals.
4. `text_headings`, `text_columns`: which column is frequency, level, phase, real or imaginary part, and
   of which direction.
5. `text_frequency`, `text_values`, `text_phase`: units, each from a heading, from ``read`` in ``takes.toml``,
   or from numbers that allow no other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    MeasuredResponse,
    Part,
    Source,
    rows_of,
)
from earwitness.measurement.readers.files import require_regular
from earwitness.measurement.readers.text_columns import Columns, PartColumns, tell_columns
from earwitness.measurement.readers.text_decoding import ENCODINGS, decode
from earwitness.measurement.readers.text_dialect import Table, tabulate
from earwitness.measurement.readers.text_frequency import FrequencyAxis, frequency_axis
from earwitness.measurement.readers.text_lines import Line, Sorted, require_words, sort_lines
from earwitness.measurement.readers.text_options import OPTIONS, text_options
from earwitness.measurement.readers.text_phase import phase_unit_of
from earwitness.measurement.readers.text_thousands import require_no_thousands
from earwitness.measurement.readers.text_values import levels_db, value_unit_of
from earwitness.measurement.readers.units import ValueUnit
from earwitness.measurement.readers.wrapping import DEGREES_PER_UNIT

MAX_BYTES: Final = 2**25
MAX_WORDS: Final = 100
_LONGEST_WORDS: Final = 300
_PHASES: Final = {"deg": "degrees", "rad": "radians"}


class TextReader:
    """The reader of text."""

    name = "text"
    suffixes = frozenset({".txt", ".csv", ".tsv", ".dat"})
    level_option = "level"
    options: Mapping[str, str] = OPTIONS

    def look(self, source: Source) -> Contents:
        """What the file holds."""
        told = _tell(source)
        for part in told.columns.parts:
            told.response(part)
        parts = tuple(Part(part.selector, part.words) for part in told.columns.parts)
        return Contents(Form.RESPONSES, parts, words=told.words(), remark=told.remark())

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[MeasuredResponse]:
        """The responses that `selectors` name."""
        told = _tell(source)
        parts = told.columns.parts
        rows = rows_of(source, [part.selector for part in parts], selectors)
        return [told.response(parts[row]) for row in rows]


READER: Final = TextReader()


@dataclass(frozen=True)
class _Told:
    """A file of which everything is told but the levels themselves."""

    name: str
    encoding: str
    lines: Sorted
    table: Table
    columns: Columns
    frequency: FrequencyAxis
    unit: ValueUnit
    phase: str | None

    def response(self, part: PartColumns) -> MeasuredResponse:
        """One part."""
        rows = self.frequency.rows
        values = self.table.values[rows]
        imaginary = None if part.imaginary is None else values[:, part.imaginary]
        level, phase = levels_db(values[:, part.value], imaginary, self.unit, self.table.at[rows], self.name)
        if part.phase is not None and self.phase is not None:
            phase = values[:, part.phase] * DEGREES_PER_UNIT[self.phase]
        return MeasuredResponse(self.frequency.hz, level, phase, self.unit.level)

    def words(self) -> tuple[str, ...]:
        """What the file says of itself beside its headings."""
        used = set(self.columns.lines)
        lines: list[Line] = [line for line in self.lines.above if line.number not in used]
        found = (line.words[:_LONGEST_WORDS] for line in (*lines, *self.lines.below))
        return tuple(words for words in found if words)[:MAX_WORDS]

    def remark(self) -> str:
        """How it was read."""
        dialect = self.table.dialect
        phase = (_PHASES[self.phase],) if self.phase else ()
        aside = self.table.columns - 1 - self.columns.used
        notes = (
            *(("decimal commas",) if dialect.decimal == "," else ()),
            *((ENCODINGS[self.encoding],) if self.encoding != "utf-8" else ()),
            *self.frequency.remarks,
            *((f"{aside} column{'s' * (aside > 1)} left aside",) if aside else ()),
        )
        return "; ".join((", ".join((self.frequency.unit, self.unit.name, *phase)), *notes))


def _tell(source: Source) -> _Told:
    """Everything about a file but its levels."""
    name, options = source.name, text_options(source)
    require_regular(source.file, name, MAX_BYTES)
    text, encoding = decode(source.file.read_bytes(), name, options.encoding)
    lines = sort_lines(text, name, options.skip)
    table = tabulate(lines.rows, lines.at, name, options)
    columns = tell_columns(table, lines.above, name, options)
    require_words(lines, table.columns, table.dialect.delimiter, set(columns.lines), name)
    heading = columns.headings[columns.frequency]
    axis = frequency_axis(table.values[:, columns.frequency], table.at, heading, name, options.frequency)
    if options.decimal is None:
        require_no_thousands(lines.rows, table, columns.frequency, axis, name)
    unit = value_unit_of(columns, table.values[axis.rows], name, options.level)
    phase = phase_unit_of(columns, table.values[axis.rows], name, options.phase)
    return _Told(name, encoding, lines, table, columns, axis, unit, phase)
