"""A TOML file of the case as plain values, and the line on which each of them stands."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from earwitness.records.errors import CaseError

LONGEST_FILE: Final = 1 << 20
LONGEST_LINE: Final = 8192
DEEPEST: Final = 20
Place = tuple[str | int, ...]

_HEADER: Final = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(#.*)?")
_KEY: Final = re.compile(r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")
_AT: Final = re.compile(r"\(at line (\d+), column (\d+)\)")


@dataclass(frozen=True, slots=True)
class TomlText:
    """A TOML file: its name in messages, its text and its values."""

    file: str
    text: str
    values: dict[str, Any]

    def changed(self, text: str) -> TomlText:
        """The same file with another text.

        Raises
        ------
        CaseError
            If it isn't TOML any more: the file is written in a way that can't be rewritten.
        """
        try:
            return TomlText(self.file, text, tomllib.loads(text))
        except ValueError as error:
            raise CaseError(self.file, "can't be rewritten", "write plain [[take]] entries in it") from error

    def refuse(self, place: Place, problem: str, remedy: str) -> CaseError:
        """The error for what stands at `place`, with its line and key where they can be found."""
        key = ".".join(str(p + 1) if isinstance(p, int) else p for p in place)
        line = line_of(self.text, place)
        where = ", ".join(part for part in (f"line {line}" if line else "", key) if part)
        return CaseError(self.file, problem, remedy, where)


def read_toml(path: Path) -> TomlText:
    """Read a TOML file.

    Raises
    ------
    CaseError
        It is missing, no regular file, over 1 MiB, has a line over 8192 characters, isn't UTF-8, isn't TOML,
        or is nested over 20 deep.
    """
    file = path.name
    text = _text(path)
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        found = _AT.search(str(error))
        where = f"line {found[1]}, column {found[2]}" if found else ""
        remedy = "look at the quotes, brackets and equals signs there"
        raise CaseError(file, "isn't valid TOML", remedy, where) from error
    if _too_deep(values):
        raise CaseError(
            file, f"has tables in tables over {DEEPEST} deep", "compare it with that of a new case"
        )
    return TomlText(file, text, values)


def line_of(text: str, place: Place) -> int | None:
    """The line (from 1) of the key at `place`, or of the nearest table or key that encloses it.

    `place` has names of keys and, for arrays, indices from 0. None where nothing of it is found.
    """
    best, line = 0, None
    for number, here, _ in _places(text):
        length = _common(here, place)
        if length == len(here) and length > best:
            best, line = length, number
    return line


def block_of(text: str, place: Place) -> tuple[int, int]:
    """Where the table at `place` begins and ends: from its header to its last key, without what follows.

    (0, 0) if it has no header.
    """
    lines = re.findall(r"[^\n]*\n|[^\n]+", text)
    headers = [(number - 1, here) for number, here, header in _places(text) if header]
    ends = [first for first, _ in headers[1:]] + [len(lines)]
    for (first, here), end in zip(headers, ends, strict=False):
        if here == place:
            last = end
            while lines[last - 1].strip() == "" or lines[last - 1].lstrip().startswith("#"):
                last -= 1
            return len("".join(lines[:first])), len("".join(lines[:last]))
    return 0, 0


def _text(path: Path) -> str:
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOFOLLOW)
    except OSError as error:
        problem = f"can't be opened ({os.strerror(error.errno or 0).lower()})"
        raise CaseError(path.name, problem, "restore it, or start a new case") from error
    with os.fdopen(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise CaseError(path.name, "is no regular file", "put a file there")
        data = file.read(LONGEST_FILE + 1)
    if len(data) > LONGEST_FILE:
        raise CaseError(path.name, "is over 1 MiB", "keep only the facts of the case in it")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise CaseError(path.name, "isn't UTF-8 text", "save it as UTF-8", f"line {line}") from error
    for number, line_text in enumerate(text.split("\n"), 1):
        if len(line_text) > LONGEST_LINE:
            problem = f"is longer than {LONGEST_LINE} characters"
            raise CaseError(path.name, problem, "break the text", f"line {number}")
    return text


def _too_deep(values: object) -> bool:
    """Whether tables and arrays lie in each other more than `DEEPEST` times."""
    layer = [values]
    for _ in range(DEEPEST + 1):
        layer = [
            inner
            for outer in layer
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(layer)


def _places(text: str) -> Iterator[tuple[int, Place, bool]]:
    """Line number and place of each header (True) and key; a string over many lines may fool it."""
    table: Place = ()
    counts: dict[Place, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        if header := _HEADER.fullmatch(line.rstrip("\r")):
            names: Place = tuple(_bare(part) for part in header[2].split("."))
            if header[1] == "[[":
                counts[names] = counts.get(names, -1) + 1
            table = _indexed(names, counts)
            yield number, table, True
        elif key := _KEY.match(line):
            yield number, table + tuple(_bare(part) for part in key[1].split(".")), False


def _indexed(names: Place, counts: dict[Place, int]) -> Place:
    """The place of a header: after each array's name the index of its current entry."""
    place: Place = ()
    for depth, name in enumerate(names, 1):
        place += (name,)
        if names[:depth] in counts:
            place += (counts[names[:depth]],)
    return place


def _bare(part: str) -> str:
    return part.strip().strip("\"'")


def _common(here: Place, place: Place) -> int:
    """How many leading parts are the same."""
    same = [a == b for a, b in zip(here, place, strict=False)]
    return same.index(False) if False in same else len(same)
