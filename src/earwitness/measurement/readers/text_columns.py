"""Which columns make up each part of a file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from earwitness.measurement.readers.text_dialect import Table
from earwitness.measurement.readers.text_headings import Heading, find_headings, read_heading
from earwitness.measurement.readers.text_lines import Line
from earwitness.measurement.readers.text_options import TextOptions
from earwitness.measurement.readers.text_units import UNIT, Role
from earwitness.records.errors import ReadError
from earwitness.records.takes import EVERY_PART

#: Words that begin as a frequency does, and are the name of something else.
_NO_FREQUENCY: Final = re.compile(
    r"freq\w*(?:gang|\s+(?:response|range|resolution|weighting))", re.IGNORECASE
)
_BRACKETS: Final = re.compile(r"[(\[{][^()\[\]{}]{1,30}[)\]}]")
_LONGEST_TITLE: Final = 300
_LONGEST_SELECTOR: Final = 80
_SETTLED: Final = 'state what its columns are, as in read = { columns = "frequency, level, phase" }'


@dataclass(frozen=True, slots=True)
class PartColumns:
    """The columns of one part, counted from 0: a value, or real and imaginary; a phase where there is one."""

    selector: str
    words: str
    value: int
    phase: int | None = None
    imaginary: int | None = None


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a file.

    `headings` has one entry a column; `lines` are those that the headings were found in. `stated` is True
    where the case says what the columns are.
    """

    frequency: int
    parts: tuple[PartColumns, ...]
    headings: tuple[Heading, ...]
    lines: tuple[int, ...]
    stated: bool

    @property
    def used(self) -> int:
        """How many columns the parts are made of."""
        columns = (k for part in self.parts for k in (part.value, part.phase, part.imaginary))
        return sum(k is not None for k in columns)


def tell_columns(table: Table, above: Sequence[Line], name: str, options: TextOptions) -> Columns:
    """What each column is: by the case, by the headings, or in a file of two or three columns by their order.

    Raises
    ------
    ReadError
        It can't be told, or what is stated contradicts the headings.
    """
    count = table.columns
    found = find_headings(above, count, table.dialect.delimiter)
    lines = found.lines if found else ()
    headings = found.columns if found else ()
    if options.columns is not None:
        stated = _stated(options.columns, count, headings, name)
        headings = headings or tuple(_unnamed(role) for role in stated)
        headings = tuple(replace(h, role=role) for h, role in zip(headings, stated, strict=True))
        parts = _by_order(stated, headings)
    elif found:
        _require_frequency(headings, lines, name)
        parts = _by_headings(headings, name)
    else:
        roles = _headless(table, above, name)
        headings = tuple(_unnamed(role) for role in roles)
        parts = _by_order(roles, headings)
    if options.phase == "none":
        parts = [replace(part, phase=None) for part in parts]
    if not parts:
        raise _without_values(headings, name)
    frequency = [heading.role for heading in headings].index(Role.FREQUENCY)
    return Columns(frequency, _selectable(parts, name), headings, lines, options.columns is not None)


def _unnamed(role: Role) -> Heading:
    return Heading("", role, "", "", named=False)


def _stated(roles: tuple[Role, ...], count: int, headings: Sequence[Heading], name: str) -> tuple[Role, ...]:
    """The stated roles, which must be as many as there are columns and go with the headings."""
    if len(roles) != count:
        problem = f"has {count} columns, where read.columns names {len(roles)}"
        raise ReadError(name, problem, 'name each column, with "-" for one that is left aside')
    for k, (role, heading) in enumerate(zip(roles, headings, strict=False), start=1):
        meant = heading.derived and role is not Role.FREQUENCY
        if role is not Role.ASIDE and heading.named and role is not heading.role and not meant:
            problem = f"column {k} is headed {heading.text!r}, where read.columns says {role}"
            raise ReadError(name, problem, "correct read.columns in takes.toml")
    return roles


def _require_frequency(headings: Sequence[Heading], lines: Sequence[int], name: str) -> None:
    """Refuse headings of which none is that of a frequency that is read."""
    if any(heading.role is Role.FREQUENCY for heading in headings):
        return
    where = f"line {min(lines)}"
    first = headings[0]
    if first.role is Role.ASIDE and not first.derived:
        problem = f"{first.text!r} is no frequency in Hz or kHz"
        raise ReadError(name, problem, "export it over frequency", where)
    raise ReadError(name, "looks like a heading, and none of its columns is a frequency", _SETTLED, where)


def _headless(table: Table, above: Sequence[Line], name: str) -> tuple[Role, ...]:
    """Roles of columns that nothing names: frequency, level, and in a third column perhaps a phase."""
    for line in above:
        if _like_a_heading(line.words):
            problem = f"looks like a heading of other than the {table.columns} columns that the rows have"
            raise ReadError(name, problem, _SETTLED, f"line {line.number}")
    if table.columns > 3:
        raise ReadError(name, f"has {table.columns} columns, and no heading that names them", _SETTLED)
    if table.columns == 3 and table.whole_between_commas:
        problem = "may have decimal commas, since commas part whole numbers and no heading names the columns"
        raise ReadError(name, problem, "export it with decimal points, or " + _SETTLED)
    return (Role.FREQUENCY, Role.VALUE, Role.PHASE)[: table.columns]


def _like_a_heading(words: str) -> bool:
    """Whether a line names columns without being a sentence or a title.

    It names a frequency and something beside it, or units in several brackets.
    """
    if re.search(r"[:=]", words):
        return False
    bracketed = _BRACKETS.findall(words[:_LONGEST_TITLE])
    if sum(UNIT.search(group) is not None for group in bracketed) > 1:
        return True
    found = _roles_in(words)
    return Role.FREQUENCY in found and bool(found & {Role.VALUE, Role.PHASE, Role.REAL, Role.IMAGINARY})


def _roles_in(words: str) -> set[Role]:
    """The roles that pieces of a line name, each piece taken for itself."""
    pieces = [
        piece for piece in re.split(r"[\s,;|]+", _NO_FREQUENCY.sub(" ", words[:_LONGEST_TITLE])) if piece
    ]
    return {heading.role for heading in map(read_heading, pieces) if heading.named}


def _by_order(roles: Sequence[Role], headings: Sequence[Heading]) -> list[PartColumns]:
    """Parts by the order of roles: each value or real part begins one, and what follows belongs to it."""
    parts: list[PartColumns] = []
    for k, role in enumerate(roles):
        if role in (Role.VALUE, Role.REAL):
            parts.append(PartColumns(f"column {k + 1}", headings[k].words, k))
        elif role is Role.PHASE and parts:
            parts[-1] = replace(parts[-1], phase=k)
        elif role is Role.IMAGINARY and parts:
            parts[-1] = replace(parts[-1], imaginary=k)
    return parts


def _by_headings(headings: Sequence[Heading], name: str) -> list[PartColumns]:
    """Parts by headings: columns with the same words belong together."""
    groups: dict[str, list[int]] = {}
    previous = ""
    lonely = _phases_are_lonely(headings)
    for k, heading in enumerate(headings):
        if heading.role in (Role.FREQUENCY, Role.ASIDE):
            continue
        key = previous if lonely and heading.role in (Role.PHASE, Role.IMAGINARY) else heading.key
        groups.setdefault(key, []).append(k)
        previous = key
    if len(groups) > 1 and "" in groups:
        other = headings[next(these[0] for key, these in groups.items() if key)]
        raise ReadError(name, f"its column {other.text!r} isn't told", _SETTLED)
    return [_one_part(these, headings, name) for these in groups.values()]


def _phases_are_lonely(headings: Sequence[Heading]) -> bool:
    """Whether every second column of a pair is headed by its role alone, and follows a direction."""
    seconds = [h for h in headings if h.role in (Role.PHASE, Role.IMAGINARY)]
    firsts = [h for h in headings if h.role in (Role.VALUE, Role.REAL)]
    alternate = [
        h.role in (Role.PHASE, Role.IMAGINARY) for h in headings if h.role not in (Role.FREQUENCY, Role.ASIDE)
    ]
    return (
        len(seconds) == len(firsts)
        and all(not h.key for h in seconds)
        and any(h.key for h in firsts)
        and alternate == [False, True] * len(firsts)
    )


def _one_part(these: Sequence[int], headings: Sequence[Heading], name: str) -> PartColumns:
    """The part that some columns of the same words make up."""
    by_role: dict[Role, list[int]] = {}
    for k in these:
        by_role.setdefault(_role_beside(k, these, headings), []).append(k)
    shape = {role: len(columns) for role, columns in by_role.items()}
    complete = (
        {Role.VALUE: 1},
        {Role.VALUE: 1, Role.PHASE: 1},
        {Role.REAL: 1, Role.IMAGINARY: 1},
    )
    if shape not in complete:
        named = " and ".join(repr(headings[k].text) for k in these[:3])
        problem = (
            f"{named} don't make up one response" if len(these) > 1 else f"{named} has no level beside it"
        )
        raise ReadError(name, problem, _SETTLED)
    value = (by_role.get(Role.VALUE) or by_role[Role.REAL])[0]
    phase = by_role.get(Role.PHASE, [None])[0]
    imaginary = by_role.get(Role.IMAGINARY, [None])[0]
    return PartColumns(headings[value].words, headings[value].words, value, phase, imaginary)


def _role_beside(k: int, these: Sequence[int], headings: Sequence[Heading]) -> Role:
    """A column in degrees is a phase where one with a unit of levels stands beside it."""
    heading = headings[k]
    if heading.role is Role.VALUE and heading.unit is None and heading.phase is not None:
        others = [headings[other] for other in these if other != k]
        if any(other.role is Role.VALUE and other.unit is not None for other in others):
            return Role.PHASE
    return heading.role


def _selectable(parts: Sequence[PartColumns], name: str) -> tuple[PartColumns, ...]:
    """Parts with selectors of their own; none for the only one."""
    if len(parts) == 1:
        return (replace(parts[0], selector=""),)
    named = [
        part if _can_select(part.selector) else replace(part, selector=f"column {part.value + 1}")
        for part in parts
    ]
    seen: dict[str, PartColumns] = {}
    for part in named:
        twin = seen.setdefault(part.selector, part)
        if twin is not part:
            problem = f"columns {twin.value + 1} and {part.value + 1} have the same heading, {part.words!r}"
            raise ReadError(name, problem, "give each direction a heading of its own")
    return tuple(named)


def _can_select(text: str) -> bool:
    return 0 < len(text) <= _LONGEST_SELECTOR and text.isprintable() and text != EVERY_PART


def _without_values(headings: Sequence[Heading], name: str) -> ReadError:
    derived = next((h for h in headings if h.derived), None)
    if derived is not None:
        problem = f"{derived.text!r} says {derived.derived!r}, which no measured level is"
        columns = ", ".join(_stated_word(heading) for heading in headings)
        remedy = f'export the measured one, or state read = {{ columns = "{columns}" }} if it is that'
        return ReadError(name, problem, remedy)
    aside = next((h.text for h in headings if h.role is Role.ASIDE and h.text), None)
    if aside is None:
        return ReadError(name, "has no column of levels", _SETTLED)
    problem = f"has no column of levels; {aside!r} is in no unit that is read"
    return ReadError(name, problem, "export a level or magnitude, in dB, Pa, Pa/V or ohm")


def _stated_word(heading: Heading) -> str:
    """What ``read.columns`` would say of a column, one that is derived being meant."""
    if heading.derived and heading.phase is None:
        return str(Role.VALUE)
    return str(heading.role)
