"""What the case may state of a text file's form: ``read`` in ``takes.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.options import one_of, whole_number
from earwitness.measurement.readers.text_decoding import ENCODINGS
from earwitness.measurement.readers.text_lines import DELIMITERS
from earwitness.measurement.readers.text_units import FREQUENCY_UNITS, Role
from earwitness.measurement.readers.units import STATED
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

#: Words of ``columns``; a hyphen is a column that is left aside.
COLUMNS: Final[Mapping[str, Role]] = {
    "frequency": Role.FREQUENCY,
    "level": Role.VALUE,
    "phase": Role.PHASE,
    "real": Role.REAL,
    "imaginary": Role.IMAGINARY,
    "-": Role.ASIDE,
}
_ALLOWED: Final[Mapping[str, tuple[str, ...]]] = {
    "encoding": tuple(ENCODINGS),
    "delimiter": tuple(DELIMITERS),
    "decimal": (".", ","),
    "frequency": tuple(FREQUENCY_UNITS),
    "level": tuple(STATED),
    "phase": ("deg", "rad", "none"),
}
_HELP: Final[Mapping[str, str]] = {
    "encoding": "how its characters are coded",
    "skip": "how many lines at its top are left unread, as in 12",
    "delimiter": "what stands between its columns",
    "decimal": "what stands before decimals",
    "columns": 'what its columns are from the left, as in "frequency, level, phase"',
    "frequency": "unit of its frequencies",
    "level": "unit of its levels, magnitudes, or real and imaginary parts",
    "phase": 'unit of its phases; "none" leaves a column that may be one aside',
}
_MOST_SKIPPED: Final = 10_000
_SKIP: Final = f"state a number of lines from 0 to {_MOST_SKIPPED}"


def _help(key: str) -> str:
    listed = _ALLOWED.get(key, tuple(COLUMNS) if key == "columns" else ())
    return f"{_HELP[key]}: {', '.join(listed)}" if listed else _HELP[key]


OPTIONS: Final[Mapping[str, str]] = {key: _help(key) for key in _HELP}


@dataclass(frozen=True, slots=True)
class TextOptions:
    """The stated options; None where nothing is. `columns` are roles from the left."""

    encoding: str | None = None
    skip: int = 0
    delimiter: str | None = None
    decimal: str | None = None
    columns: tuple[Role, ...] | None = None
    frequency: str | None = None
    level: str | None = None
    phase: str | None = None


def text_options(source: Source) -> TextOptions:
    """What is stated for `source`.

    Raises
    ------
    ReadError
        An option holds what it can't; the decimal comma is stated beside the comma as delimiter.
    """
    chosen = {key: one_of(source, key, allowed) for key, allowed in _ALLOWED.items()}
    if chosen["delimiter"] == "comma" and chosen["decimal"] == ",":
        problem = "read.decimal is a comma, and so is read.delimiter"
        raise ReadError(source.name, problem, "export it with decimal points or with semicolons")
    columns = source.option("columns")
    return TextOptions(
        skip=whole_number(source, "skip", 0, _MOST_SKIPPED, _SKIP) or 0,
        columns=None if columns is None else _columns(source, columns),
        **chosen,
    )


def _columns(source: Source, value: ReadOption) -> tuple[Role, ...]:
    words = [word.strip().lower() for word in str(value).split(",")]
    for word in words:
        if word not in COLUMNS:
            remedy = f"give the columns from the left, each one of {', '.join(COLUMNS)}"
            raise ReadError(source.name, f"read.columns can't hold {word!r}", remedy)
    roles = tuple(COLUMNS[word] for word in words)
    if roles.count(Role.FREQUENCY) != 1:
        problem = f"read.columns names {roles.count(Role.FREQUENCY)} columns of frequency"
        raise ReadError(source.name, problem, 'name one, as in "frequency, level"')
    return roles
