"""``takes.toml``: what each raw file holds, as entries a file and as rules by pattern."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError

from earwitness.case import durable
from earwitness.case.drives import format_drive, format_number
from earwitness.case.layout import CaseFolder
from earwitness.case.raw_store import raw_files
from earwitness.case.take_fields import FIELDS, Fields
from earwitness.case.take_rules import Rule
from earwitness.case.toml_text import Place, TomlText, block_of, read_toml
from earwitness.records.errors import CaseError
from earwitness.records.takes import EVERY_PART, ReadOption, Take, TakeId, TakeKey, TakeKind

_ENTRY: Final = ("file", "selector", *FIELDS)
_RULE: Final = ("files", *FIELDS)
_Value = str | float | Mapping[str, ReadOption]


@dataclass(frozen=True, slots=True)
class Changes:
    """What `write_takes` did: ids of new entries, of corrected ones, of takes that stood there already."""

    added: tuple[TakeId, ...]
    corrected: tuple[TakeId, ...]
    same: tuple[TakeId, ...]


@dataclass(frozen=True, slots=True)
class _Placed:
    """A take and where ``takes.toml`` states it."""

    take: Take
    place: Place


@dataclass(frozen=True, slots=True)
class _PlacedRule:
    """A rule, where it stands, and the fields that are the same for all of its files."""

    rule: Rule
    place: Place
    fixed: Mapping[str, Any]


def read_takes(
    case: CaseFolder, awaited: Collection[str] = (), leaving: Collection[str] = ()
) -> tuple[Take, ...]:
    """All takes of the case, sorted by id: the entries, and what rules find among the other raw files.

    `awaited` are names of files that are about to be added and count as there; those that are `leaving` have
    no takes any more, though others may still name them. A stimulus isn't measured, so
    two stimulus files may share a key; any other key stands once.

    Raises
    ------
    CaseError
        The file can't be read; an entry or rule has an unknown, missing or impossible field; an entry's file
        or stimulus isn't in ``raw/``; two rules match one file; two takes have the same id or key (both files
        are named).
    """
    placed = _placed(case, read_toml(case.takes_toml), awaited, leaving)
    return tuple(sorted((p.take for p in placed), key=lambda take: take.id))


def unlisted(case: CaseFolder) -> tuple[str, ...]:
    """Names of the raw files that no entry and no rule covers."""
    listed = {take.path for take in read_takes(case)}
    return tuple(name for name in raw_files(case) if name not in listed)


def write_takes(case: CaseFolder, takes: Sequence[Take]) -> Changes:
    """Make ``takes.toml`` state `takes`, and leave everything else in it as a person wrote it.

    A take that an entry or a rule states already stays as it stands; an entry that states it otherwise is
    corrected field by field; what is new comes as an entry at the end (also for a file whose rule says
    something else). Nothing is removed. The caller holds the case's lock.

    Raises
    ------
    CaseError
        The file can't be read, or would be wrong with `takes` in it; then it isn't touched.
    """
    toml = read_toml(case.takes_toml)
    there = {p.take.id: p for p in _placed(case, toml)}
    wanted = sorted(takes, key=lambda take: take.id)
    new, other, same = [], [], []
    for take in wanted:
        known = there.get(take.id)
        if known is not None and known.take == take:
            same.append(take)
        elif known is not None and known.place[0] == "take":
            other.append((known.place, take))
        else:
            new.append(take)
    text = _corrected(toml, other) if other else toml.text
    text += "".join(_entry_text(take) for take in new)
    if text != toml.text:
        _placed(case, toml.changed(text))
        durable.write_atomically(case.takes_toml, text.encode("utf-8"))
    return Changes(_ids(new), _ids([take for _, take in other]), _ids(same))


def entries_of(case: CaseFolder, names: Collection[str]) -> tuple[Take, ...]:
    """The takes that entries state of the files `names`, in the order of the file; rules have no say.

    Raises
    ------
    CaseError
        See `read_takes`.
    """
    files = sorted({*raw_files(case), *names})
    return stated_in(read_toml(case.takes_toml), names, files)


def stated_in(toml: TomlText, names: Collection[str], files: Sequence[str]) -> tuple[Take, ...]:
    """The takes that the entries of a text state of the files `names`, where the case has `files`.

    Raises
    ------
    CaseError
        See `read_takes`.
    """
    return tuple(
        _entry(Fields(toml, ("take", i), values, files)).take
        for i, values in _tables(toml, "take")
        if values.get("file") in names
    )


def rules_of(case: CaseFolder, names: Collection[str]) -> Mapping[str, str]:
    """The pattern of the rule that covers each of the files `names`; those that none covers left out.

    Raises
    ------
    CaseError
        See `read_takes`.
    """
    toml = read_toml(case.takes_toml)
    rules = [_rule(Fields(toml, ("rule", i), v, ())).rule for i, v in _tables(toml, "rule")]
    found = {name: [rule.pattern for rule in rules if rule.match(name) is not None] for name in names}
    return {name: patterns[0] for name, patterns in found.items() if patterns}


def drop_entries(case: CaseFolder, names: Collection[str]) -> tuple[str, Mapping[str, str]]:
    """The text of ``takes.toml`` without the entries of the files `names`, and their own text by name.

    Comments outside of those entries stay, and so do rules. Nothing is written.

    Raises
    ------
    CaseError
        An entry is written in a way that it can't be taken out of.
    """
    toml = read_toml(case.takes_toml)
    entries = list(_tables(toml, "take"))
    text = toml.text
    dropped: dict[str, str] = {}
    for index, values in reversed(entries):
        name = values.get("file")
        if name in names:
            start, end = block_of(text, ("take", index))
            dropped[name] = f"\n{text[start:end]}{dropped.get(name, '')}"
            before = text[:start]
            text = (before[:-1] if before.endswith("\n\n") else before) + text[end:]
    kept = [values for _, values in entries if values.get("file") not in names]
    left = toml.changed(text).values
    if left.get("take", []) != kept or left.get("rule") != toml.values.get("rule"):
        raise CaseError(toml.file, "can't be rewritten", "write plain [[take]] entries in it")
    return text, dropped


def _placed(
    case: CaseFolder, toml: TomlText, awaited: Collection[str] = (), leaving: Collection[str] = ()
) -> list[_Placed]:
    files = tuple(sorted({*raw_files(case), *awaited}))
    for key in toml.values:
        if key not in {"take", "rule"}:
            raise toml.refuse((key,), "is neither [[take]] nor [[rule]]", "write one of these")
    entries = [
        _entry(Fields(toml, ("take", i), v, files))
        for i, v in _tables(toml, "take")
        if v.get("file") not in leaving
    ]
    named = {entry.take.path for entry in entries}.union(leaving)
    rules = [_rule(Fields(toml, ("rule", i), v, files)) for i, v in _tables(toml, "rule")]
    placed = [*entries, *_ruled(toml, rules, [file for file in files if file not in named], files)]
    _refuse_twice(toml, placed)
    return placed


def _tables(toml: TomlText, name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    tables = toml.values.get(name, [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise toml.refuse((name,), "isn't a list of tables", f"write each as [[{name}]]")
    yield from enumerate(tables)


def _entry(fields: Fields) -> _Placed:
    fields.refuse_unknown(_ENTRY)
    path = fields.file("file")
    if path is None:
        raise fields.wrong("file", "names no file", 'add file = "…", a name below raw/')
    whole = Fields(fields.toml, fields.place, fields.values, fields.files, path)
    return _Placed(whole.take(), fields.place)


def _rule(fields: Fields) -> _PlacedRule:
    fields.refuse_unknown(_RULE)
    pattern = fields.text("files")
    if pattern is None:
        raise fields.wrong("files", "has no pattern", 'add files = "{orbit}_{angle}.wav" or the like')
    rule = Rule.parse(pattern)
    if isinstance(rule, str):
        raise fields.wrong("files", rule, f"the placeholders are {Rule.placeholders()}")
    for field in rule.fields:
        if field in fields.values:
            raise fields.wrong(field, "stands in the pattern too", "state it once")
    fixed = {key: value for key, value in fields.values.items() if key != "files"}
    return _PlacedRule(rule, fields.place, fixed)


def _ruled(
    toml: TomlText, rules: Sequence[_PlacedRule], candidates: Sequence[str], files: Sequence[str]
) -> Iterator[_Placed]:
    for path in candidates:
        matches = [(r, found) for r in rules if (found := r.rule.match(path)) is not None]
        if len(matches) > 1:
            first, second = matches[0][0], matches[1][0]
            problem = f"raw/{path} matches {first.rule.pattern} as well"
            raise toml.refuse(
                second.place, problem, "narrow one of them, or give the file an entry of its own"
            )
        for rule, found in matches:
            yield _Placed(Fields(toml, rule.place, {**found, **rule.fixed}, files, path).take(), rule.place)


def _refuse_twice(toml: TomlText, placed: Sequence[_Placed]) -> None:
    by_id: dict[TakeId, _Placed] = {}
    by_key: dict[TakeKey, _Placed] = {}
    for one in placed:
        if one.take.id in by_id:
            raise toml.refuse(one.place, f"raw/{one.take.id} has two entries", "remove one of them")
        by_id[one.take.id] = one
        if one.take.key.kind is TakeKind.STIMULUS or one.take.selector == EVERY_PART:
            continue
        other = by_key.setdefault(one.take.key, one)
        if other is not one:
            pair = f"raw/{other.take.id} and raw/{one.take.id}"
            problem = f"{pair} are the same take ({one.take.key.label})"
            raise toml.refuse(one.place, problem, "correct one of them, or number them with repeat")


def _corrected(toml: TomlText, corrections: Sequence[tuple[Place, Take]]) -> str:
    """The text with the differing fields of some entries set, and all else as it was.

    Each entry is rewritten alone: a whole document would lose its order where entries and rules alternate.
    """
    text = toml.text
    for place, take in sorted(corrections, key=lambda correction: correction[0], reverse=True):
        start, end = block_of(text, place)
        try:
            document = tomlkit.parse(text[start:end])
            entries: Any = document["take"]
        except (TOMLKitError, KeyError) as error:
            raise toml.refuse(place, "can't be rewritten", "write it as a plain [[take]] entry") from error
        wanted = _stated(take)
        for field in [f for f in entries[0] if f not in wanted]:
            del entries[0][field]
        for field, value in wanted.items():
            if entries[0].get(field) != value:
                entries[0][field] = value
        text = text[:start] + tomlkit.dumps(document) + text[end:]
    return text


def _entry_text(take: Take) -> str:
    lines = [f"{field} = {_toml(value)}\n" for field, value in _stated(take).items()]
    return "\n[[take]]\n" + "".join(lines)


def _stated(take: Take) -> dict[str, _Value]:
    """The fields of an entry that states `take`, in the order in which they are written."""
    key = take.key
    values: dict[str, _Value | None] = {
        "file": take.path,
        "selector": take.selector or None,
        "kind": str(key.kind),
        "orbit": str(key.direction.orbit) if key.direction else None,
        "angle_deg": key.direction.angle_deg if key.direction else None,
        "azimuth_deg": key.place.azimuth_deg if key.place else None,
        "elevation_deg": key.place.elevation_deg if key.place else None,
        "drive": format_drive(key.drive) if key.drive else None,
        "stimulus": take.stimulus,
        "radiator": key.radiator,
        "repeat": key.repeat if key.repeat != 1 else None,
        "level_db": take.level_db,
        "distance_m": key.place.distance_m if key.place else take.distance_m,
        "read": dict(take.read) or None,
    }
    return {field: value for field, value in values.items() if value is not None}


def _toml(value: _Value) -> str:
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{tomlkit.key(k).as_string()} = {_toml(v)}' for k, v in value.items())} }}"
    if isinstance(value, str | bool):
        return tomlkit.item(value).as_string()
    return format_number(value)


def _ids(takes: Sequence[Take]) -> tuple[TakeId, ...]:
    return tuple(take.id for take in takes)
