"""Responses as plain text: frequency in Hz, level in dB, and phase in degrees where there is one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    MeasuredResponse,
    Part,
    Source,
    no_such_part,
)
from earwitness.measurement.readers.files import require_regular
from earwitness.records.errors import ReadError

MAX_BYTES: Final = 2**24
MAX_LINES: Final = 200_000
MAX_LINE_LENGTH: Final = 1_000
MAX_COLUMNS: Final = 5
MAX_FREQUENCY_HZ: Final = 1e6
MAX_LEVEL_DB: Final = 400.0
COMMENTS: Final = ("#", "*", ";", "//", "%")

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_DECIMAL_COMMA: Final = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_CONTROL: Final = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


class TextReader:
    """The reader of text."""

    name = "text"
    suffixes = frozenset({".txt", ".csv", ".tsv", ".dat"})
    options: Mapping[str, str] = {}

    def look(self, source: Source) -> Contents:
        """What the file holds."""
        read_response(source.file, source.name)
        return Contents(Form.RESPONSES, (Part(),))

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[MeasuredResponse]:
        """The file's one response, for each of `selectors`."""
        for selector in selectors:
            if selector:
                raise no_such_part(source, selector)
        return [read_response(source.file, source.name)] * len(selectors)


READER: Final = TextReader()


def read_response(file: Path, name: str) -> MeasuredResponse:
    """Frequency, level and phase from columns parted by tab, space, comma or semicolon.

    Lines that begin with ``#``, ``*``, ``;``, ``//`` or ``%`` are comments; so is a heading of words above
    the first row. A fourth and a fifth column are left aside.

    Raises
    ------
    ReadError
        With the line: not text, not a number, decimal commas, frequencies that don't rise, rows of unequal
        length, fewer than two rows, too many columns or lines, a line that is too long.
    """
    require_regular(file, name, MAX_BYTES)
    rows: list[list[float]] = []
    for number, line in _lines(file.read_bytes(), name):
        row = _row(line, number, name, may_be_heading=not rows)
        if row is None:
            continue
        if rows and len(row) != len(rows[0]):
            problem = f"has {len(row)} columns where the rows above have {len(rows[0])}"
            raise ReadError(name, problem, "export it again", f"line {number}")
        _require_in_range(row, rows[-1][0] if rows else 0.0, number, name)
        rows.append(row)
    if len(rows) < 2:
        raise ReadError(name, f"has {len(rows)} rows of numbers", "export at least two frequencies")
    table = np.array(rows, dtype=np.float64)
    return MeasuredResponse(table[:, 0], table[:, 1], table[:, 2] if table.shape[1] > 2 else None)


def _lines(content: bytes, name: str) -> Iterator[tuple[int, str]]:
    """Numbered lines that hold something other than a comment."""
    raw = content.removeprefix(b"\xef\xbb\xbf").splitlines()
    if len(raw) > MAX_LINES:
        raise ReadError(name, f"has more than {MAX_LINES} lines", "export fewer frequencies")
    for number, line in enumerate(raw, start=1):
        if len(line) > MAX_LINE_LENGTH:
            raise ReadError(
                name, f"is longer than {MAX_LINE_LENGTH} bytes", "export it again", f"line {number}"
            )
        if _CONTROL.search(line):
            raise ReadError(name, "is not text", "export it as plain text", f"line {number}")
        try:
            text = line.decode("utf-8").strip()
        except UnicodeDecodeError as error:
            raise ReadError(
                name, "is not text in UTF-8", "export it as plain text", f"line {number}"
            ) from error
        if text and not text.startswith(COMMENTS):
            yield number, text


def _row(line: str, number: int, name: str, *, may_be_heading: bool) -> list[float] | None:
    """The numbers of one line; None for a heading of words."""
    where = f"line {number}"
    spaced = _split(line, r"[;\s]+")
    if len(spaced) > 1 and any(_DECIMAL_COMMA.fullmatch(cell) for cell in spaced):
        raise ReadError(name, "has decimal commas", "export it with decimal points", where)
    cells = _split(line, r"\s*[,;]\s*|\s+")
    if may_be_heading and _is_word(cells[0]):
        return None
    if len(cells) > MAX_COLUMNS:
        problem = f"has {len(cells)} columns, more than {MAX_COLUMNS}"
        raise ReadError(name, problem, "export frequency, level and phase only", where)
    if len(cells) < 2:
        raise ReadError(name, "has one column", "export frequency and level side by side", where)
    if len(cells) > 3 and "," in line and "." not in line:
        raise ReadError(name, "may have decimal commas", "export it with decimal points", where)
    for cell in cells:
        if not _NUMBER.fullmatch(cell):
            problem = f"{cell[:40]!r} is not a number"
            raise ReadError(name, problem, "export it again, or make the line a comment", where)
    return [float(cell) for cell in cells]


def _is_word(cell: str) -> bool:
    return any(c.isalpha() for c in cell) and not re.fullmatch(r"[+-]?(nan|inf|[\d.]+e?[\d.+-]*)", cell, re.I)


def _split(line: str, at: str) -> list[str]:
    return re.split(at, line.rstrip(",; "))


def _require_in_range(row: list[float], previous_hz: float, number: int, name: str) -> None:
    """Refuse frequencies that don't rise, and values that no response has."""
    frequency, level = row[0], row[1]
    where = f"line {number}"
    if not 0.0 < frequency <= MAX_FREQUENCY_HZ:
        raise ReadError(name, f"{frequency:g} Hz is no audible frequency", "leave that row out", where)
    if frequency == previous_hz:
        raise ReadError(name, f"{frequency:g} Hz stands there twice", "export each frequency once", where)
    if frequency < previous_hz:
        problem = f"{frequency:g} Hz follows {previous_hz:g} Hz"
        raise ReadError(name, problem, "export the rows in rising order of frequency", where)
    if abs(level) > MAX_LEVEL_DB or not all(np.isfinite(row)):
        raise ReadError(name, f"{level:g} dB is no level", "export it again", where)
