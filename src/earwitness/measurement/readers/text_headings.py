"""Headings of columns: the lines that hold them, and what each says of its column."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from earwitness.measurement.readers.text_abscissae import is_other_abscissa
from earwitness.measurement.readers.text_beside import is_plain_frequency, spoils_its_unit
from earwitness.measurement.readers.text_lines import DELIMITERS, Line
from earwitness.measurement.readers.text_units import (
    EXACT,
    FILLERS,
    FREQUENCY_UNITS,
    IMPEDANCE_WORDS,
    SPL_WORDS,
    UNIT,
    Role,
    is_derived,
    role_of,
)
from earwitness.measurement.readers.units import ValueUnit, value_unit

_WORD: Final = re.compile(r"[^\W\d_]+")
_EMPTY_BRACKETS: Final = re.compile(r"[(\[{|]\s*[)\]}|]")
_ONE_LETTER_FREE: Final = frozenset(word for word in EXACT if len(word) == 1)
_LONGEST: Final = 200
#: A number with its unit, which heads no column.
_QUANTITY: Final = re.compile(
    r"(?<![^\W_])[+\-−]?\d[\d.,]{0,20}\s?(?:dB\w*|[mkµμu]?Pa|[kM]?Hz|ohms?|Ω|%|m?V|m?s)"
)
_BEGINS_WITH_NUMBER: Final = re.compile(r"[+\-−]?\d")
#: Headings stand among so many lines above the rows.
_NEAREST: Final = 20


@dataclass(frozen=True, slots=True)
class Heading:
    """What one column's heading says.

    Attributes
    ----------
    text
        The heading as it stands in the file, its unit included.
    role
        What the column is; `VALUE` where nothing else is said.
    words
        What is left of it without unit and role, such as a direction; a word that hangs on to what follows
        stays, as in ``SPL-10``, where the hyphen may be a minus.
    key
        `words` without any word of a role: two columns of one direction have the same.
    frequency
        Hertz per unit of a frequency column; None where the unit isn't said.
    unit
        The unit of values; None where it isn't said.
    phase
        ``deg`` or ``rad``; None where it isn't said. On a `VALUE` column in brackets it may be the unit of
        a direction as well.
    named
        Whether a word or unit said what the column is.
    hint
        ``spl`` or ``ohm``, where a word says what kind of level or magnitude it is.
    derived
        The word that says that the column was made of measured ones; such a column is left `ASIDE`, unless
        the case says that it is meant.
    """

    text: str
    role: Role
    words: str
    key: str
    frequency: float | None = None
    unit: ValueUnit | None = None
    phase: str | None = None
    named: bool = True
    hint: str = ""
    derived: str = ""


@dataclass(frozen=True, slots=True)
class HeadingLines:
    """The headings of all columns and the lines they were found in; perhaps none of a frequency."""

    columns: tuple[Heading, ...]
    lines: tuple[int, ...]


def read_heading(text: str) -> Heading:
    """What one heading says of its column."""
    text = re.sub(r"\s+", " ", text.strip().strip('"').strip())[:_LONGEST]
    # a raised digit would count as a letter of the unit's
    scanned = text.replace("²", "^2").replace("³", "^3")
    units: dict[str, list[str]] = {}
    for match in UNIT.finditer(scanned):
        units.setdefault(str(match.lastgroup), []).append(match.group())
    bare = UNIT.sub(lambda m: " " * len(m.group()), scanned)
    letters = _WORD.findall(bare)
    alone = len(letters) == 1
    roles: list[Role] = []
    known: list[str] = []
    for word in letters:
        low = word.lower()
        role = role_of(low)
        if role is not None and (alone or low not in _ONE_LETTER_FREE):
            roles.append(role)
            known.append(word)
        elif low in FILLERS:
            known.append(word)
    role = _role(roles, units, bool(letters) or any(c.isdigit() for c in bare))
    hint = _hint([word.lower() for word in known])
    derived = _derived(letters, units, hint) if role not in (Role.FREQUENCY, Role.ASIDE) else ""
    spoilt = spoils_its_unit(scanned, bare)
    plain = role is not Role.FREQUENCY or (_is_read(units) and is_plain_frequency(bare, letters))
    if derived or spoilt or not plain:
        role = Role.ASIDE
    return Heading(
        text=text,
        role=role,
        words=_words(text, _rest(bare, known, glued=False)),
        key=_rest(bare, known, glued=True).casefold(),
        frequency=_frequency(units) if role is Role.FREQUENCY else None,
        unit=_unit(units) if derived or role in (Role.VALUE, Role.REAL, Role.IMAGINARY) else None,
        phase="rad" if "radian" in units else "deg" if "degree" in units else None,
        named=bool(roles or units or derived),
        hint=hint,
        derived="" if spoilt else derived,
    )


def _derived(letters: Sequence[str], units: dict[str, list[str]], hint: str) -> str:
    """What says that a column was made of measured ones; a sound pressure level re its own at 1 kHz is."""
    word = next((word for word in letters if is_derived(word.lower())), "")
    own = next((unit for unit in units.get("decibel", ()) if unit.lower().endswith("hz")), "")
    return word or (own if hint == "spl" else "")


def _is_read(units: dict[str, list[str]]) -> bool:
    """Whether a frequency is in a unit that is read, or in none that is said."""
    return set(units) <= {"frequency"} and (not units or _frequency(units) is not None)


def _role(roles: Sequence[Role], units: dict[str, list[str]], has_more: bool) -> Role:
    """What words and units make of a column; `ASIDE` where they contradict each other."""
    said = set(roles)
    value_units = {unit for key in ("decibel", "linear") for unit in units.get(key, ())}
    known = len(value_units) < 2 and all(value_unit(unit) is not None for unit in value_units)
    if Role.ASIDE in said or "other" in units or not known:
        return Role.ASIDE
    if value_units or Role.VALUE in said:
        # "frequency response" is a level, whatever its first word
        said -= {Role.VALUE, Role.FREQUENCY}
        said |= {Role.FREQUENCY} if "frequency" in units else set()
        complex_part = said in ({Role.REAL}, {Role.IMAGINARY}) and "decibel" not in units
        return said.pop() if complex_part else Role.ASIDE if said else Role.VALUE
    said |= {Role.FREQUENCY} if "frequency" in units else set()
    said |= {Role.PHASE} if "radian" in units or ("degree" in units and not has_more) else set()
    return Role.VALUE if not said else said.pop() if len(said) == 1 else Role.ASIDE


def _frequency(units: dict[str, list[str]]) -> float | None:
    spelt, *others = units.get("frequency", [""])
    if others:
        return None
    return next((hz for unit, hz in FREQUENCY_UNITS.items() if unit.lower() == spelt.lower()), None)


def _unit(units: dict[str, list[str]]) -> ValueUnit | None:
    spelt = [u for key in ("decibel", "linear") for u in units.get(key, ())]
    return value_unit(spelt[0]) if spelt else None


def _hint(known: Sequence[str]) -> str:
    if any(word.startswith(IMPEDANCE_WORDS) for word in known):
        return "ohm"
    pressure_level = "pressure" in known and "level" in known
    return "spl" if pressure_level or any(word.startswith(SPL_WORDS) for word in known) else ""


def _words(text: str, rest: str) -> str:
    """What is left of a heading; the whole where a dash before it may be a minus or part two words."""
    return text if re.match(r"[-−–—]\s", rest) else rest


def _rest(bare: str, known: Sequence[str], *, glued: bool) -> str:
    """A heading without the `known` words: `glued` ones, too, or those alone that stand by themselves."""
    for word in known:
        edge = r"[^\W\d_]" if glued else r"[\w+\-−.]"
        bare = re.sub(rf"(?<!{edge}){re.escape(word)}(?!{edge})", " ", bare)
        if not glued:
            bare = re.sub(rf"(?<![^\s_]){re.escape(word)}_", " ", bare)
    bare = _EMPTY_BRACKETS.sub(" ", bare)
    return re.sub(r"[\s_]+", " ", bare).strip(" _/,:;|=")


def find_headings(above: Sequence[Line], count: int, delimiter: str) -> HeadingLines | None:
    """The headings of `count` columns among the lines above the rows; None where there are none.

    The lowest line that falls into `count` cells, one of which is a frequency, is it. A line of units below a
    line of names is joined with it, and a line of directions above fills in what the headings lack. So is a
    line that names a level or any unit, and no frequency that is read: there none of the columns is one.
    """
    for k in range(len(above) - 1, max(-1, len(above) - 1 - _NEAREST), -1):
        otherwise: HeadingLines | None = None
        for own, cells in splits(above[k], count, delimiter):
            joined, used = _joined(above, k, cells, count, delimiter)
            columns = tuple(read_heading(cell) for cell in joined)
            if [c.role for c in columns].count(Role.FREQUENCY) == 1:
                return _completed(above, k + 1 - len(used), columns, used, delimiter)
            if otherwise is None and _heads_otherwise(joined, delimiter if own else ""):
                otherwise = HeadingLines(_without_frequency(columns), used)
        if otherwise is not None:
            return otherwise
    return None


def _heads_otherwise(cells: Sequence[str], own: str) -> bool:
    """Whether cells without a frequency head columns, and aren't a title or a fact (``Distance; 2``).

    Parameters
    ----------
    own
        The rows' delimiter, if it parts these cells; where another does, units have to say it, as titles
        have words for levels in them, too.
    """
    if any(re.search("[:=]", cell) for cell in cells):
        return False
    if len(cells) == 2 and _BEGINS_WITH_NUMBER.match(cells[1]):
        return False
    bare = [_QUANTITY.sub(" ", cell) for cell in cells]
    if any(UNIT.search(cell) for cell in bare):
        return True
    columns = [read_heading(cell) for cell in bare]
    named = any(column.named for column in columns)
    if own == "space":
        return named and columns[0].role in (Role.VALUE, Role.ASIDE) and not _is_level(columns[0])
    return bool(own) and (named or is_other_abscissa(cells[0]))


def _is_level(heading: Heading) -> bool:
    return heading.named and heading.role is Role.VALUE


def _without_frequency(columns: tuple[Heading, ...]) -> tuple[Heading, ...]:
    """Columns of which the first is said to be something else, if it is."""
    first = columns[0]
    if first.role is Role.VALUE and is_other_abscissa(first.text):
        first = replace(first, role=Role.ASIDE, named=True)
    return (first, *columns[1:])


def _joined(
    above: Sequence[Line], k: int, cells: list[str], count: int, delimiter: str
) -> tuple[list[str], tuple[int, ...]]:
    """Cells of line `k`, after those of the line of names above where they are units, and the lines used."""
    alone = (above[k].number,)
    if k == 0 or not all(_is_unit(cell) for cell in cells):
        return cells, alone
    has_frequency = any(read_heading(cell).role is Role.FREQUENCY for cell in cells)
    for own, names in splits(above[k - 1], count, delimiter):
        roles = [read_heading(name).role for name in names]
        headed = roles.count(Role.FREQUENCY) == 1 or roles[0] is Role.ASIDE
        if headed or (not has_frequency and _heads_otherwise(names, delimiter if own else "")):
            units = [unit.strip("()[]{} ") for unit in cells]
            joined = [f"{n} [{u}]" if u else n for n, u in zip(names, units, strict=True)]
            return joined, (*alone, above[k - 1].number)
    return cells, alone


def _completed(
    above: Sequence[Line], top: int, columns: tuple[Heading, ...], used: tuple[int, ...], delimiter: str
) -> HeadingLines:
    """Headings from line `top` on, with the line of directions above them where they lack any."""
    values = [c.key for c in columns if c.role is not Role.FREQUENCY]
    if top > 0 and len(values) > 1 and not any(values):
        over = _spread(above[top - 1], columns, delimiter)
        if over is not None:
            columns = tuple(
                c if c.role is Role.FREQUENCY else replace(c, words=upper, key=upper.casefold())
                for upper, c in zip(over, columns, strict=True)
            )
            used = (*used, above[top - 1].number)
    return HeadingLines(columns, used)


def _is_unit(cell: str) -> bool:
    bare = cell.strip().strip("()[]{}")
    return not bare or UNIT.fullmatch(bare) is not None or bare == "-"


def _spread(line: Line, columns: Sequence[Heading], delimiter: str) -> list[str] | None:
    """A line of directions with one entry a column: blank cells hold what stands to their left."""
    roles = [c.role for c in columns]
    groups = roles.count(Role.VALUE) or roles.count(Role.REAL)
    if groups < 2:
        return None
    for _, cells in splits(line, len(columns), delimiter):
        filled: list[str] = []
        for cell, column in zip(cells, columns, strict=True):
            starts = column.role in (Role.VALUE, Role.REAL, Role.FREQUENCY)
            filled.append(cell or ("" if starts or not filled else filled[-1]))
        if all(filled[i] for i, role in enumerate(roles) if role is not Role.FREQUENCY):
            return filled
    for _, cells in splits(line, groups + 1, delimiter):
        given = iter(cells[1:])
        spread, current = [], ""
        for role in roles:
            current = next(given, "") if role in (Role.VALUE, Role.REAL) else current
            spread.append("" if role is Role.FREQUENCY else current)
        return spread
    return None


def splits(line: Line, count: int, delimiter: str) -> Iterator[tuple[bool, list[str]]]:
    """The ways in which a line falls into `count` cells: at the rows' own delimiter first.

    Each comes with whether it is the rows' own.
    """
    for name in (delimiter, *(other for other in DELIMITERS if other != delimiter)):
        texts = [line.words, line.text] if line.comment and name == "semicolon" else [line.words]
        texts = texts if line.comment else [line.text]
        for text in texts:
            for cells in _cut(text, name):
                bare = [cell.strip() for cell in cells]
                if len(bare) == count + 1 and not bare[-1]:
                    bare.pop()
                if len(bare) == count:
                    yield name == delimiter, bare


def _cut(text: str, delimiter: str) -> Iterator[list[str]]:
    if delimiter == "space":
        # a unit in brackets belongs to the word before it
        glued = re.sub(r"\s+(?=[(\[{])", "\u00a0", text.strip())
        yield [cell.strip('"') for cell in re.findall(r'"[^"]*"|[^ \t]+', glued)]
        yield re.split(r"\s{2,}|\t", text.strip())
        return
    try:
        yield next(csv.reader([text.strip(" ")], delimiter=DELIMITERS[delimiter], skipinitialspace=True), [])
    except csv.Error:
        return
