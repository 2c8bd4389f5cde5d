"""``case.toml``: a new case to fill in, and the facts that it states."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import tomlkit
from pydantic import TypeAdapter, ValidationError

from earwitness.case import durable
from earwitness.case.documents import STRICT
from earwitness.case.fact_types import keys_at, types_at, without_tags
from earwitness.case.layout import CaseFolder
from earwitness.case.toml_text import Place, TomlText, read_toml
from earwitness.records.errors import CallError, CaseError
from earwitness.records.facts import CaseFacts

_TEMPLATES: Final = ("takes.toml", "revisions.toml", "case.toml")
#: In the order in which they are written: a folder is a case once it has its case.toml.
_FIRST_FILES: Final = ("verdict.md", *_TEMPLATES)
_LONGEST_NAME: Final = 300

#: For each way in which a value can be wrong: what is wrong, and what to do; limits come from the type.
_MESSAGES: Final[Mapping[str, tuple[str, str]]] = {
    "missing": ("is missing", "add it"),
    "string_type": ("isn't text", "put it in quotes"),
    "string_too_long": ("is longer than {max_length} characters", "shorten it"),
    "string_pattern_mismatch": (
        "isn't a plain name",
        "use small letters, digits and _, beginning with a letter",
    ),
    "float_type": ("isn't a number", "give a number without quotes"),
    "int_type": ("isn't a whole number", "give a whole number without quotes"),
    "int_parsing_size": ("is too large", "give a smaller number"),
    "finite_number": ("isn't a finite number", "give a number, or leave the line out"),
    "greater_than": ("isn't over {gt:g}", "look at the number and its unit"),
    "greater_than_equal": ("is under {ge:g}", "look at the number and its unit"),
    "less_than": ("isn't under {lt:g}", "look at the number and its unit"),
    "bool_type": ("is neither true nor false", "write true or false, without quotes"),
    "literal_error": ("isn't one of those allowed", "write {expected}"),
    "union_tag_invalid": ("has no such shape", "write shape = {expected_tags}"),
    "union_tag_not_found": ("doesn't say its shape", 'add shape = "box" or "sphere"'),
    "dataclass_type": ("isn't a table", "write its keys below a [heading]"),
    "tuple_type": ("isn't a list", "write [[heading]] for each, or [one, another]"),
    "too_long": ("has too many values", "give {max_length}"),
    "date_type": ("isn't a date", "write it as 2026-03-31, without quotes"),
    "date_parsing": ("isn't a date", "write it as 2026-03-31, without quotes"),
    "date_from_datetime_parsing": ("isn't a date", "write it as 2026-03-31, without quotes"),
}
_OTHER: Final = ("isn't what is expected here", "compare it with the case.toml of a new case")


def new_case(root: Path, name: str, written: Mapping[str, str] | None = None) -> CaseFolder:
    """Start a case in the folder `root` for a loudspeaker called `name`.

    What a kill left of an earlier start is no hindrance: the folder is a case only once ``case.toml``, which
    comes last, is in it.

    Parameters
    ----------
    root
        A folder that isn't there yet, or is empty.
    name
        One line.
    written
        Texts by file name that come in place of those that wait to be filled in.

    Raises
    ------
    CallError
        `root` is a file or a folder that holds something, or `name` isn't one line of at most 300 characters.
    """
    if not name.strip() or not name.isprintable() or len(name) > _LONGEST_NAME:
        raise CallError(f"the name must be one line of at most {_LONGEST_NAME} characters")
    case = CaseFolder(root)
    texts = {**_first_texts(name), **(written or {})}
    contents = {file: texts[file].encode("utf-8") for file in _FIRST_FILES}
    if root.is_symlink() or (root.exists() and not _may_start(case, contents)):
        raise CallError(f"{root} is there already and isn't an empty folder; give a new folder")
    for folder in (root, case.raw, case.testimony):
        folder.mkdir(parents=True, exist_ok=True)
    for file, content in contents.items():
        durable.write_atomically(root / file, content)
    durable.flush_folder(root.absolute().parent)
    return case


def _first_texts(name: str) -> dict[str, str]:
    """The files of a new case that a person goes on writing."""
    quoted = tomlkit.item(name).as_string()
    template = files("earwitness.case") / "template"
    texts = {file: (template / file).read_text(encoding="utf-8") for file in _TEMPLATES}
    return {"verdict.md": ""} | {file: text.replace('"@NAME@"', quoted) for file, text in texts.items()}


def _may_start(case: CaseFolder, contents: Mapping[str, bytes]) -> bool:
    """Whether the folder is empty, or holds nothing but what a killed start would have left."""
    if not case.root.is_dir() or case.case_toml.exists():
        return False
    return all(
        (entry in (case.raw, case.testimony) and entry.is_dir() and not any(entry.iterdir()))
        or (entry.is_file() and durable.is_temporary(entry.name))
        or (entry.is_file() and entry.read_bytes() == contents.get(entry.name))
        for entry in case.root.iterdir()
    )


def read_facts(case: CaseFolder) -> CaseFacts:
    """The facts that ``case.toml`` states; what it doesn't state is None.

    Raises
    ------
    CaseError
        The file can't be read, has a key that doesn't exist (the nearest that does is named), or a value of
        the wrong type or out of its range; with line and key.
    """
    toml = read_toml(case.case_toml)
    _refuse_misplaced_dates(toml)
    text = json.dumps([toml.values], default=_date_text)
    try:
        facts = TypeAdapter(tuple[CaseFacts], config=STRICT).validate_json(text)[0]
    except ValidationError as error:
        raise _first_problem(toml, error) from error
    _refuse_contradictions(toml, facts)
    return facts


def _date_text(value: object) -> str:
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    raise TypeError(f"TOML has no {type(value).__name__}")


def _refuse_misplaced_dates(toml: TomlText) -> None:
    """Dates travel as text in JSON, so a text field would take one without a word."""
    for place, value in _leaves(toml.values):
        if isinstance(value, dt.datetime | dt.time) or (
            isinstance(value, dt.date) and dt.date not in types_at(place)
        ):
            raise toml.refuse(
                place, "is a date or time where none is expected", "put it in quotes if it is text"
            )


def _leaves(values: Any, place: Place = ()) -> Iterator[tuple[Place, object]]:
    items: Any = ()
    if isinstance(values, dict):
        items = values.items()
    elif isinstance(values, list):
        items = enumerate(values)
    else:
        yield place, values
    for key, value in items:
        yield from _leaves(value, (*place, key))


def _first_problem(toml: TomlText, error: ValidationError) -> CaseError:
    """The first problem in our words: a key that doesn't exist before one that is missing."""
    details = error.errors(include_url=False)
    unknown = [d for d in details if d["type"] == "unexpected_keyword_argument"]
    first = (unknown or details)[0]
    location = first["loc"][1:]
    place = without_tags(location)
    if unknown:
        name, allowed = str(location[-1]), keys_at(location[:-1])
        near = get_close_matches(name, allowed, n=1)
        remedy = f"did you mean {near[0]}?" if near else f"the keys here are {', '.join(allowed)}"
        return toml.refuse(place, "is no key of a case", remedy)
    context = first.get("ctx", {})
    problem, remedy = (text.format(**context) for text in _MESSAGES.get(first["type"], _OTHER))
    return toml.refuse(place, problem, remedy)


def _refuse_contradictions(toml: TomlText, facts: CaseFacts) -> None:
    """What no single field can tell: a band that runs backwards, a radiator named twice."""
    for index, claim in enumerate(facts.claims):
        if claim.band_hz is not None and claim.band_hz[0] >= claim.band_hz[1]:
            raise toml.refuse(
                ("claims", index, "band_hz"), "runs backwards", "give the lower frequency first"
            )
    names = [radiator.name for radiator in facts.unit.radiators]
    for index, name in enumerate(names):
        if name in names[:index]:
            place: Place = ("unit", "radiators", index, "name")
            raise toml.refuse(place, f"{name!r} stands twice", "give each radiator a name of its own")
    _refuse_unlike(toml, facts)


def _refuse_unlike(toml: TomlText, facts: CaseFacts) -> None:
    """Radiators stated as the same as none, as a copy of another, or as one of another size."""
    by_name = {radiator.name: radiator for radiator in facts.unit.radiators}
    for index, radiator in enumerate(facts.unit.radiators):
        if radiator.same_as is None:
            continue
        first, place = by_name.get(radiator.same_as), ("unit", "radiators", index, "same_as")
        if first is None or first is radiator:
            others = ", ".join(name for name in by_name if name != radiator.name) or "none yet"
            raise toml.refuse(
                place, f"{radiator.same_as!r} is no other radiator of the case", f"the others are {others}"
            )
        if first.same_as is not None:
            raise toml.refuse(
                place,
                f"{first.name} is itself stated as the same as {first.same_as}",
                f"name {first.same_as}",
            )
        if first.diameter_m != radiator.diameter_m:
            raise toml.refuse(
                place,
                f"{radiator.name} and {first.name} have different diameters, so they aren't the same",
                "state one diameter for both, or leave same_as out and give each its near field",
            )
