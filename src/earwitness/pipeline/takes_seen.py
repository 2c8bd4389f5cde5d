"""What a person changed in ``takes.toml``: since `add` saw it last, and against what the files' names say."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.measurement.readers.contents import Contents, Form, Part
from earwitness.measurement.recognise import Arrived, recognise
from earwitness.measurement.recognition.answers import Said
from earwitness.records.takes import Take, TakeId, TakeKind

#: Kinds that come as responses; the others are sound.
_RESPONSES: Final = frozenset({TakeKind.RESPONSE, TakeKind.IMPEDANCE, TakeKind.MICROPHONE_CALIBRATION})
_FILE: Final = "takes_seen.json"
_Fields = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Correction:
    """One field of an entry that says something else than the file's name does."""

    take: TakeId
    field: str
    stated: str
    named: str

    def __str__(self) -> str:
        return f"{self.take}: takes.toml says {self.stated} where the name says {self.named}"


@dataclass(frozen=True, slots=True)
class Change:
    """One field of an entry that isn't what it was when `add` saw it last; empty: there was, or is, none."""

    take: TakeId
    field: str
    before: str
    after: str

    def __str__(self) -> str:
        if self.field == "entry":
            if self.after:
                return f"{self.take}: its entry or its rule is new"
            return f"{self.take}: neither an entry nor a rule covers it any more"
        before, after = self.before or "not stated", self.after or "not stated"
        return f"{self.take}: {self.field} was {before}, and is {after}"


def corrections(takes: Sequence[Take]) -> tuple[Correction, ...]:
    """Where entries say otherwise than the names of their files, which are read as one set."""
    files = [
        Arrived(take.path, Contents(_form(take), (Part(take.selector),)))
        for take in takes
        if take.key.direction or take.key.drive or take.key.radiator
    ]
    said = {(one.path, one.selector): one.said for one in recognise(files)}
    return tuple(
        correction
        for take in takes
        if (take.path, take.selector) in said
        for correction in _against(take, said[take.path, take.selector])
    )


def changes(case: CaseFolder, takes: Sequence[Take]) -> tuple[Change, ...]:
    """What is otherwise in `takes` than when `remember` was called last; nothing where it never was."""
    before = _remembered(case)
    if before is None:
        return ()
    now = {str(take.id): _fields(take) for take in takes}
    found = [Change(TakeId(name), "entry", "", "there") for name in now.keys() - before.keys()]
    found += [Change(TakeId(name), "entry", "there", "") for name in before.keys() - now.keys()]
    for name in now.keys() & before.keys():
        for field in sorted(now[name].keys() | before[name].keys()):
            was, is_now = before[name].get(field, ""), now[name].get(field, "")
            found += [Change(TakeId(name), field, was, is_now)] if was != is_now else []
    return tuple(sorted(found, key=lambda change: (change.take, change.field)))


def remember(case: CaseFolder, takes: Sequence[Take]) -> None:
    """Keep what ``takes.toml`` says, for `changes`. The caller holds the case's lock."""
    document = {str(take.id): _fields(take) for take in takes}
    if document != _remembered(case):
        case.build.mkdir(exist_ok=True)
        text = json.dumps(document, sort_keys=True, ensure_ascii=False, indent=0)
        durable.write_atomically(_path(case), text.encode("utf-8"), flush=False)


def _path(case: CaseFolder) -> Path:
    return case.build / _FILE


def _remembered(case: CaseFolder) -> dict[str, _Fields] | None:
    """What was kept; None where nothing was, or a kill without power cut it."""
    try:
        document = json.loads(_path(case).read_bytes())
        return {str(name): {str(f): str(v) for f, v in fields.items()} for name, fields in document.items()}
    except (FileNotFoundError, ValueError, AttributeError, RecursionError):
        return None


def _fields(take: Take) -> _Fields:
    key = take.key
    texts = {
        "kind": str(key.kind).replace("_", " "),
        "direction": key.direction.label if key.direction else "",
        "orbit": str(key.direction.orbit) if key.direction else "",
        "drive": key.drive.label if key.drive else "",
        "radiator": key.radiator or "",
        "repeat": str(key.repeat),
        "stimulus": take.stimulus or "",
        "level": "" if take.level_db is None else f"{take.level_db:g} dB",
        "distance": "" if take.distance_m is None else f"{take.distance_m:g} m",
        "read": ", ".join(f"{name} = {value}" for name, value in take.read),
    }
    return {field: text for field, text in texts.items() if text}


def _form(take: Take) -> Form:
    return Form.RESPONSES if take.key.kind in _RESPONSES and take.stimulus is None else Form.SOUND


def _against(take: Take, said: Said) -> list[Correction]:
    """The fields in which an entry and a name that says them for sure differ."""
    key = take.key
    found = []
    if (
        said.direction is not None
        and key.direction is not None
        and said.direction.shared != key.direction.shared
    ):
        found.append(Correction(take.id, "direction", key.direction.label, said.direction.label))
    if said.drive is not None and key.drive is not None and said.drive != key.drive:
        found.append(Correction(take.id, "drive", key.drive.label, said.drive.label))
    if said.radiator is not None and key.radiator is not None and said.radiator != key.radiator:
        found.append(Correction(take.id, "radiator", key.radiator, said.radiator))
    return found
