"""Lines of a text file: rows of numbers, and the words above and below them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.records.errors import ReadError

#: What may part columns, by the name that ``read.delimiter`` gives it.
DELIMITERS: Final[Mapping[str, str]] = {
    "tab": "\t",
    "semicolon": ";",
    "bar": "|",
    "comma": ",",
    "space": " ",
}
MAX_LINES: Final = 210_000
MAX_WORD_LINES: Final = 2_000
MAX_LINE_LENGTH: Final = 65_536
#: No number needs more digits before its point, or behind it.
MAX_DIGITS: Final = 40
COMMENTS: Final = ("#", "*", ";", "//", "%", "!")

#: A number with a decimal point; the minus of print is one too.
NUMBER: Final = (
    rf"[+\-−]?+(?:\d{{1,{MAX_DIGITS}}}+(?:\.\d{{0,{MAX_DIGITS}}}+)?+|\.\d{{1,{MAX_DIGITS}}}+)"
    r"(?:[eE][+\-−]?+\d{1,3}+)?+"
)
_BETWEEN: Final = r"[ \t,;|\"]"
#: Numbers and what parts them, and nothing else. Every quantifier is possessive: one pass, no way back.
_ROW: Final = re.compile(rf"{_BETWEEN}*+{NUMBER}(?:{_BETWEEN}++{NUMBER})*+{_BETWEEN}*+", re.ASCII)
_NO_NUMBER: Final = re.compile(r"[+\-]?(?:nan|inf|infinity|n/?a|null|none|-+|1\.#.*)", re.IGNORECASE)
#: What a spreadsheet writes where it has no number; it only looks like a comment.
_FAILED_CELL: Final = re.compile(r"#(?:N/?A|NV|DIV/0|VALUE|WERT|NUM|ZAHL|REF|BEZUG)\b", re.IGNORECASE)
_THOUSANDS: Final = re.compile(r"\d[\u00a0\u202f\u2009'’]\d")
_WORDY: Final = re.compile(r"[^\W\d_]{2}")
_SAYS: Final = re.compile(r"[^\W_]")
#: A name, a colon or an equals sign, and what it is.
_FACT: Final = re.compile(r"[^\d:=]{1,80}[:=]")
#: So much of a line of words is looked at: a row that is damaged shows it there.
_LOOKED_AT: Final = 1_000
_MARKS: Final = "#*;/%! \t"


@dataclass(frozen=True, slots=True)
class Line:
    """A line that is no row of numbers."""

    number: int
    text: str
    comment: bool

    @property
    def words(self) -> str:
        """The line without the marks that make it a comment."""
        return self.text.strip().lstrip(_MARKS) if self.comment else self.text.strip()


@dataclass(frozen=True)
class Sorted:
    """The lines of a file in their order, blank ones left out.

    `rows` hold numbers alone, at the line numbers `at`; `above` and `below` are words.
    """

    above: tuple[Line, ...]
    rows: list[str]
    at: list[int]
    below: tuple[Line, ...]


def sort_lines(text: str, name: str, skip: int) -> Sorted:
    """Tell rows of numbers from words; the first `skip` lines are left unread.

    A line is a row if it holds nothing but numbers and what may part them, whatever parts them in this file:
    so no row can be taken for words by a wrong guess of the delimiter. Words may stand above the rows and
    below them. A row that begins with a delimiter has no first cell; above the first whole row it may be the
    upper line of a heading, later it is refused.

    Raises
    ------
    ReadError
        There are too many lines, or one is too long; words stand among the rows.
    """
    lines = _lines(text, name)
    above: list[Line] = []
    below: list[Line] = []
    rows: list[str] = []
    at: list[int] = []
    for number, line in enumerate(lines[skip:], start=skip + 1):
        if _ROW.fullmatch(line) and (rows or not _lacks_first_cell(line)):
            if below:
                _require_no_words(below, name)
            rows.append(line)
            at.append(number)
        elif bare := line.strip():
            (below if rows else above).append(Line(number, line, _is_comment(bare)))
    if len(above) + len(below) > MAX_WORD_LINES:
        problem = f"has {len(above) + len(below)} lines of words, more than {MAX_WORD_LINES}"
        raise ReadError(name, problem, "leave them out")
    if len(rows) < 2:
        raise _too_few(above, below, len(rows), name)
    return Sorted(tuple(above), rows, at, tuple(below))


def _lines(text: str, name: str) -> list[str]:
    if text.count("\n") > MAX_LINES:
        raise ReadError(name, f"has more than {MAX_LINES} lines", "export fewer frequencies")
    lines = text.split("\n")
    if max(map(len, lines)) > MAX_LINE_LENGTH:
        number = next(k for k, line in enumerate(lines, start=1) if len(line) > MAX_LINE_LENGTH)
        problem = f"is longer than {MAX_LINE_LENGTH} characters"
        raise ReadError(name, problem, "export fewer columns", f"line {number}")
    return lines


def _is_comment(bare: str) -> bool:
    return bare.startswith(COMMENTS) and not _FAILED_CELL.match(bare)


def _lacks_first_cell(line: str) -> bool:
    """Whether a delimiter stands before the first number of what would be a row."""
    bare = line.strip(" ")
    return bare.startswith(("\t", ",", ";", "|")) and bool(_ROW.fullmatch(bare))


def _require_no_words(below: list[Line], name: str) -> None:
    """Refuse words that have rows above and below them."""
    wrong = next((line for line in below if not line.comment), None)
    if wrong is not None:
        raise not_a_row(wrong, name)


def require_words(lines: Sorted, columns: int, delimiter: str, used: set[int], name: str) -> None:
    """Refuse what may be a damaged row among the words above and below the rows.

    A title may begin with digits (``2 way, 30 deg``) and a line of facts may end with them (``Distance: 2``).
    A line of as many cells as the rows have is a row if its first cell is a number, or all others are; so is
    one of several pieces that has a number and no word in it.

    Parameters
    ----------
    columns, delimiter
        Of the rows.
    used
        Lines that hold the headings.

    Raises
    ------
    ReadError
        With the line.
    """
    for line in (*lines.above, *lines.below):
        if line.number in used or (line.comment and delimiter != "semicolon"):
            continue
        if _lacks_first_cell(line.text) or (
            not line.comment and _may_be_a_row(line.text, columns, delimiter)
        ):
            raise not_a_row(line, name)


def _may_be_a_row(text: str, columns: int, delimiter: str) -> bool:
    bare = text.strip()
    if not _SAYS.search(bare) and (delimiter == "space" or DELIMITERS[delimiter] not in bare):
        return False
    cells = bare.split() if delimiter == "space" else bare.split(DELIMITERS[delimiter])
    whole = len(cells) - (not cells[-1]) == columns
    pieces = cells_by_any(bare)
    numbers = [is_number_like(piece) for piece in pieces]
    words = sum(
        bool(_WORDY.search(piece)) and not number for piece, number in zip(pieces, numbers, strict=True)
    )
    if pieces and (numbers[0] or (not words and len(pieces) > 1 and any(numbers))):
        return words < 1 + whole
    return whole and len(pieces) > 1 and all(numbers[1:]) and not _FACT.match(bare)


def _too_few(above: list[Line], below: list[Line], rows: int, name: str) -> ReadError:
    """The refusal of a file without a table: the line that comes nearest to a row, if one does."""
    for line in (*above, *below):
        if not line.comment and (rows or any(map(is_number_like, cells_by_any(line.text)))):
            return not_a_row(line, name)
    return ReadError(name, f"has {rows} row{'s' * (rows != 1)} of numbers", "export at least two frequencies")


def not_a_row(line: Line, name: str) -> ReadError:
    """The refusal of a line that should be a row and isn't one."""
    where = f"line {line.number}"
    if _lacks_first_cell(line.text):
        return ReadError(name, "its first cell is empty", "export the frequency in every row", where)
    if _THOUSANDS.search(line.text):
        problem = "has a separator of thousands in its numbers"
        return ReadError(name, problem, "export it without one", where)
    cells = cells_by_any(line.text)
    wrong = next((cell for cell in cells if not re.fullmatch(NUMBER, cell, re.ASCII)), line.text.strip())
    remedy = "export it again, or make the line a comment"
    return ReadError(name, f"{wrong[:40]!r} is not a number", remedy, where)


def cells_by_any(text: str) -> list[str]:
    """The pieces of a line between anything that may part cells."""
    return [cell for cell in re.split(r"[ \t,;|\"]+", text[:_LOOKED_AT]) if cell]


def is_number_like(cell: str) -> bool:
    """Whether a piece of a line is a number, or what stands where one is missing."""
    return bool(re.fullmatch(NUMBER, cell, re.ASCII) or _NO_NUMBER.fullmatch(cell))
