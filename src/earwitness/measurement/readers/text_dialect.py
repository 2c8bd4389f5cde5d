"""What parts the columns of a file and what stands before decimals: decided on all rows at once."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from operator import methodcaller
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.text_lines import DELIMITERS, NUMBER
from earwitness.measurement.readers.text_options import TextOptions
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

MAX_COLUMNS: Final = 1_024
MAX_CELLS: Final = 2**22
#: No frequency, level or phase is larger, and sums and squares of smaller ones stay finite.
MAX_NUMBER: Final = 1e12
#: Two tabs with nothing between, or one at a row's end: an empty cell, not a wide space.
_TABS_OF_NOTHING: Final = re.compile(r"\t *\t|\t *(?:\n|\Z)")
_PLURALS: Final = {
    "tab": "tabs",
    "semicolon": "semicolons",
    "bar": "bars",
    "comma": "commas",
    "space": "spaces",
}


@dataclass(frozen=True, slots=True)
class Dialect:
    """`delimiter` is one of the names of `DELIMITERS`, `decimal` a point or a comma."""

    delimiter: str
    decimal: str

    def __str__(self) -> str:
        decimal = "commas" if self.decimal == "," else "points"
        return f"{_PLURALS[self.delimiter]} between columns and decimal {decimal}"


@dataclass(frozen=True)
class Table:
    """Numbers of shape (n, columns), the line of each row, and how they were told.

    `whole_between_commas` holds where commas part the columns and no number has decimals: each of two
    neighbouring columns might be half of a number with a decimal comma.
    """

    values: Float64s
    at: npt.NDArray[np.int64]
    dialect: Dialect
    whole_between_commas: bool

    @property
    def columns(self) -> int:
        """How many there are."""
        return int(self.values.shape[1])


def tabulate(rows: list[str], at: list[int], name: str, options: TextOptions) -> Table:
    """The one table that `rows` can be.

    Every dialect is tried on all rows; one that doesn't make a number of each cell, and as many cells of each
    row, isn't this file's. Where two remain and give different numbers, the file is refused, as in
    ``20 ,5``, which is 20 and 5 by commas, and 20 and 0.5 by spaces.

    Raises
    ------
    ReadError
        No dialect fits all rows, or two do; there are too many columns or numbers.
    """
    text = "\n".join(rows)
    candidates = _candidates(text, options.delimiter, options.decimal)
    found = [
        (dialect, values)
        for dialect in candidates
        if (values := _parse(rows, text, dialect, name)) is not None
    ]
    if not found:
        unbound = _candidates(text, None, None)
        if any(_parse(rows, text, dialect, name) is not None for dialect in set(unbound) - set(candidates)):
            raise _contradicted(name, options)
        raise _unreadable(rows, at, name, candidates or unbound)
    dialect, values = found[0]
    for other, rival in found[1:]:
        if not np.array_equal(values, rival):
            problem = f"may have {dialect}, or {other}"
            raise ReadError(
                name, problem, f'state which, as in read = {{ delimiter = "{dialect.delimiter}" }}'
            )
    beyond = ~(np.abs(values) <= MAX_NUMBER).all(axis=1)
    if beyond.any():
        where = f"line {at[int(np.argmax(beyond))]}"
        raise ReadError(name, "holds a number beyond all bounds", "export it again", where)
    whole = dialect.delimiter == "comma" and "." not in text and options.delimiter is None
    return Table(values, np.array(at), dialect, whole)


def _candidates(text: str, delimiter: str | None, decimal: str | None) -> list[Dialect]:
    """The dialects whose marks are in the rows, and that go with what is stated."""
    undecided = "," not in text and "." not in text
    found = []
    for each, mark in DELIMITERS.items():
        dialect = Dialect(each, "," if each != "comma" and "," in text else ".")
        goes = delimiter in (None, each) and (decimal in (None, dialect.decimal) or undecided)
        if goes and (mark in text or each == "space"):
            found.append(dialect)
    return found


def _parse(rows: list[str], text: str, dialect: Dialect, name: str) -> Float64s | None:
    """The numbers, shape (n, columns); None where `dialect` doesn't fit every row."""
    if dialect.decimal == "," and "." in text:
        return None
    if dialect.delimiter == "space" and _TABS_OF_NOTHING.search(text):
        return None
    bare, mark = _between_marks(rows, dialect)
    widths = (
        set(map(len, map(str.split, bare))) if mark is None else set(map(methodcaller("count", mark), bare))
    )
    width = widths.pop() + (mark is not None)
    if width < 2 or widths:
        return None
    _require_few(width, len(rows), name)
    text = "\n".join(bare).replace("−", "-")
    if dialect.decimal == ",":
        text = text.replace(",", ".")
    cells: Iterable[str] = text.split() if mark is None else text.replace(mark, "\n").split("\n")
    if '"' in text:
        cells = map(_unquoted, cells)
    try:
        return np.fromiter(map(float, cells), np.float64, width * len(rows)).reshape(len(rows), width)
    except ValueError:
        return None


def _between_marks(rows: list[str], dialect: Dialect) -> tuple[list[str], str | None]:
    """The rows without a delimiter that ends each of them, and what to split them at."""
    if dialect.delimiter == "space":
        return rows, None
    mark = DELIMITERS[dialect.delimiter]
    if all(row.rstrip(" ").endswith(mark) for row in rows):
        return [row.rstrip(" ")[:-1] for row in rows], mark
    return rows, mark


def _unquoted(cell: str) -> str:
    bare = cell.strip()
    return bare[1:-1] if len(bare) > 2 and bare[0] == bare[-1] == '"' else cell


def _require_few(width: int, rows: int, name: str) -> None:
    if width > MAX_COLUMNS:
        raise ReadError(name, f"has {width} columns, more than {MAX_COLUMNS}", "split it into several files")
    if width * rows > MAX_CELLS:
        problem = f"holds {width * rows} numbers, more than {MAX_CELLS}"
        raise ReadError(name, problem, "split it, or export fewer frequencies")


def _contradicted(name: str, options: TextOptions) -> ReadError:
    """The refusal of a dialect that is stated where another one fits."""
    pairs = (("delimiter", options.delimiter), ("decimal", options.decimal))
    stated = " and ".join(f'read.{key} = "{value}"' for key, value in pairs if value is not None)
    return ReadError(name, f"can't be read with {stated}", "take that out of takes.toml, or correct it")


def _unreadable(rows: list[str], at: list[int], name: str, candidates: list[Dialect]) -> ReadError:
    """Why no dialect fits: the first row that spoils the one that fits best."""
    dialect = candidates[0]
    split, mark = _between_marks(rows, dialect)
    counts = [len(row.split(mark)) for row in split]
    usual = Counter(counts).most_common(1)[0][0]
    if usual < 2:
        return ReadError(name, "has one column", "export frequency and level side by side", f"line {at[0]}")
    for row, line, count in zip(split, at, counts, strict=True):
        where = f"line {line}"
        if count != usual:
            return _of_unequal_length(name, where, count, usual, dialect)
        for cell in row.split(mark):
            bare = _unquoted(cell).strip()
            if not bare:
                return ReadError(name, "has an empty cell", "export a number in every cell", where)
            if bad := _no_number(bare, dialect):
                return ReadError(name, bad, "export it again with decimal points and nothing else", where)
    return ReadError(name, "mixes what parts its columns", "export it again with semicolons", f"line {at[0]}")


def _of_unequal_length(name: str, where: str, count: int, usual: int, dialect: Dialect) -> ReadError:
    problem = f"has {count} column{'s' * (count != 1)} where most rows have {usual}"
    remedy = "export it again; lines above the rows can be left unread by read = { skip = … }"
    if dialect.delimiter == "comma":
        problem += "; its decimals may be commas, like what parts its columns"
        remedy = "export it with decimal points, or with semicolons between columns"
    return ReadError(name, problem, remedy, where)


def _no_number(cell: str, dialect: Dialect) -> str | None:
    """What is wrong with a cell; None where it is a number."""
    if dialect.decimal == "," and "." in cell and "," not in cell:
        return f"{cell[:40]!r} has a point, where other numbers have decimal commas"
    if re.fullmatch(NUMBER, cell.replace(",", ".", 1) if dialect.decimal == "," else cell, re.ASCII):
        return None
    if re.search(r"[.,].*[.,]|\d \d{3}", cell):
        return f"{cell[:40]!r} may have a separator of thousands"
    if "," in cell and dialect.decimal == ".":
        return f"{cell[:40]!r} has a decimal comma, where commas part the columns"
    return f"{cell[:40]!r} is not a number"
