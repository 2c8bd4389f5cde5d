"""Sealed listening notes on the disk: one TOML file a note, each with a hash that holds the one before.

A seal shows that a note's words are those that were sealed, and in which order. It doesn't show when that
was: the clock and the folder are the reviewer's own.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from earwitness.case.durable import write_atomically
from earwitness.case.layout import CaseFolder
from earwitness.case.toml_text import TomlText, read_toml
from earwitness.records.errors import CallError, CaseError, FileError, IntegrityError
from earwitness.records.qualities import MEANINGS
from earwitness.records.testimony import Amount, HeardAt, HeardFrom, Note, Quality

LONGEST_TEXT: Final = 2000
MOST_NOTES: Final = 999
BAND_HZ: Final = (20.0, 20_000.0)
#: A band is no narrower than this.
LEAST_OCTAVES: Final = 1.0 / 6.0
_FIELDS: Final = frozenset(
    {
        "text",
        "quality",
        "amount",
        "band_hz",
        "heard_from",
        "heard_at",
        "sealed_at",
        "built",
        "raw_digest",
        "previous",
        "seal",
    }
)
_OPTIONAL: Final = frozenset({"quality", "amount", "band_hz", "heard_at"})
#: Control characters, and what stands for bytes that aren't UTF-8.
_UNWANTED: Final = frozenset({"Cc", "Cs"})
_REMEDY: Final = "put the sealed file back from a copy; a note can't be changed, but another can be added"


@dataclass(frozen=True, slots=True)
class Said:
    """What a reviewer says: words, and what of them can be held against data.

    A `quality` brings its amount, and its band where none is given.
    """

    text: str
    amount: Amount | None = None
    band_hz: tuple[float, float] | None = None
    heard_from: HeardFrom = HeardFrom.IN_THE_ROOM
    quality: Quality | None = None
    heard_at: HeardAt | None = None

    @property
    def meant(self) -> tuple[Amount | None, tuple[float, float] | None]:
        """Amount and band."""
        if self.quality is None:
            return self.amount, self.band_hz
        meaning = MEANINGS[self.quality]
        return meaning.amount, meaning.band_hz if self.band_hz is None else self.band_hz


def seal_note(case: CaseFolder, said: Said, *, sealed_at: str, built: str, raw_digest: str) -> Note:
    """Seal a note after those that are there. The caller holds the case's lock.

    Raises
    ------
    CallError
        The note says nothing, too much, or a band that isn't one.
    CaseError, IntegrityError
        The notes that are there can't be read, or aren't what was sealed.
    """
    _require(said)
    before = read_notes(case)
    if len(before) >= MOST_NOTES:
        raise CallError(f"there are {MOST_NOTES} notes already; start another case")
    amount, band_hz = said.meant
    unsealed = Note(
        number=len(before) + 1,
        text=said.text,
        amount=amount,
        band_hz=band_hz,
        heard_from=said.heard_from,
        sealed_at=sealed_at,
        built=built,
        raw_digest=raw_digest,
        previous=before[-1].seal if before else "",
        seal="",
        quality=said.quality,
        heard_at=said.heard_at,
    )
    values = _values(unsealed)
    note = _note(unsealed.number, {**values, "seal": _seal(unsealed.number, values)})
    case.testimony.mkdir(exist_ok=True)
    write_atomically(case.testimony / _name(note.number), _toml(_values(note)).encode("utf-8"))
    return note


def read_notes(case: CaseFolder) -> tuple[Note, ...]:
    """All notes in order, each held against its seal and the one before.

    Raises
    ------
    CaseError
        A file isn't a note.
    IntegrityError
        A note isn't what was sealed, or one is missing.
    """
    notes: list[Note] = []
    for number, name in enumerate(_names(case), 1):
        if name != _name(number):
            problem = "is missing" if name > _name(number) else "isn't the name of a note"
            raise IntegrityError(f"testimony/{min(name, _name(number))}", problem, _REMEDY)
        note = _read(read_toml(case.testimony / name), number)
        previous = notes[-1].seal if notes else ""
        if note.seal != _seal(number, _values(note)) or note.previous != previous:
            raise IntegrityError(f"testimony/{name}", "isn't what was sealed", _REMEDY)
        notes.append(note)
    return tuple(notes)


def notes_of(root: Path, folders: Sequence[str]) -> tuple[Note, ...]:
    """The notes of other cases; folders count from `root`, and one without readable notes gives none."""
    found: list[Note] = []
    for folder in folders:
        try:
            found += read_notes(CaseFolder(root / folder))
        except (FileError, OSError):
            continue
    return tuple(found)


def _names(case: CaseFolder) -> list[str]:
    if not case.testimony.is_dir():
        return []
    return sorted(name for name in os.listdir(case.testimony) if not name.startswith("."))


def _name(number: int) -> str:
    return f"{number:03}.toml"


def _require(said: Said) -> None:
    if not said.text.strip():
        raise CallError("the note says nothing; give its words with --note")
    if len(said.text) > LONGEST_TEXT:
        raise CallError(f"the note is longer than {LONGEST_TEXT} characters; give it in several")
    if any(unicodedata.category(c) in _UNWANTED and c not in "\n\t" for c in said.text):
        raise CallError("the note holds control characters, or isn't UTF-8; give plain words")
    if said.band_hz is not None and not _is_band(said.band_hz):
        raise CallError(
            "the band isn't one: two frequencies from 20 Hz to 20 kHz, a sixth of an octave apart"
        )
    if said.quality is not None and said.amount is not None:
        raise CallError(f"--quality {said.quality} says the amount already; leave out --amount")
    amount, band_hz = said.meant
    if (band_hz is None) != (amount is None):
        raise CallError("a note that can be tested has both: --band and --amount; give both or neither")
    if said.heard_at is not None and band_hz is None:
        raise CallError(
            "--heard-at alone can't be tested; say of what, with --quality or --band and --amount"
        )
    if said.heard_at is not None and said.heard_from is not HeardFrom.IN_THE_ROOM:
        raise CallError(
            "what changes with the level is measured on axis alone; give --heard-at or --heard-from, not both"
        )


def _is_band(band_hz: tuple[float, float]) -> bool:
    low, high = band_hz
    inside = math.isfinite(low) and math.isfinite(high) and BAND_HZ[0] <= low < high <= BAND_HZ[1]
    return inside and math.log2(high / low) >= LEAST_OCTAVES - 1e-9


def _values(note: Note) -> dict[str, Any]:
    """A note as its file holds it."""
    values: dict[str, Any] = {"text": note.text}
    if note.quality is not None:
        values["quality"] = str(note.quality)
    if note.amount is not None and note.band_hz is not None:
        values |= {"amount": str(note.amount), "band_hz": [float(edge) for edge in note.band_hz]}
    if note.heard_at is not None:
        values["heard_at"] = str(note.heard_at)
    values |= {
        "heard_from": str(note.heard_from),
        "sealed_at": note.sealed_at,
        "built": note.built,
        "raw_digest": note.raw_digest,
        "previous": note.previous,
    }
    return values | ({"seal": note.seal} if note.seal else {})


def _seal(number: int, values: dict[str, Any]) -> str:
    """SHA-256 over the number and all values but the seal, as JSON with sorted keys."""
    sealed = {key: value for key, value in values.items() if key != "seal"} | {"number": number}
    return hashlib.sha256(json.dumps(sealed, sort_keys=True, ensure_ascii=False).encode("utf-8")).hexdigest()


def _toml(values: dict[str, Any]) -> str:
    lines = ["# Sealed by `earwitness testify`: changing anything in this file breaks its seal.\n"]
    return "".join([*lines, *(f"{key} = {_literal(value)}\n" for key, value in values.items())])


def _literal(value: object) -> str:
    """A TOML value: JSON's strings and arrays of floats are TOML's."""
    return json.dumps(value, ensure_ascii=False)


def _read(toml: TomlText, number: int) -> Note:
    file = TomlText(f"testimony/{toml.file}", toml.text, toml.values)
    for key, value in file.values.items():
        if key not in _FIELDS:
            raise file.refuse((key,), "is no field of a note", _REMEDY)
        if key == "band_hz":
            numbers = isinstance(value, list) and len(value) == 2 and all(type(v) is float for v in value)
            if not numbers or not _is_band((value[0], value[1])):
                raise file.refuse((key,), "isn't a band", _REMEDY)
        elif not isinstance(value, str):
            raise file.refuse((key,), "isn't text", _REMEDY)
    words_of = {"amount": Amount, "heard_from": HeardFrom, "quality": Quality, "heard_at": HeardAt}
    for key, words in words_of.items():
        if key in file.values and file.values[key] not in {str(word) for word in words}:
            raise file.refuse((key,), "isn't one of the words for it", _REMEDY)
    missing = sorted(_FIELDS - _OPTIONAL - file.values.keys())
    if missing:
        raise CaseError(file.file, f"has no {missing[0]}", _REMEDY)
    if ("amount" in file.values) != ("band_hz" in file.values):
        raise CaseError(file.file, "has a band or an amount without the other", _REMEDY)
    return _note(number, file.values)


def _note(number: int, values: dict[str, Any]) -> Note:
    band = values.get("band_hz")
    return Note(
        number=number,
        text=values["text"],
        amount=Amount(values["amount"]) if "amount" in values else None,
        band_hz=None if band is None else (band[0], band[1]),
        heard_from=HeardFrom(values["heard_from"]),
        sealed_at=values["sealed_at"],
        built=values["built"],
        raw_digest=values["raw_digest"],
        previous=values["previous"],
        seal=values["seal"],
        quality=Quality(values["quality"]) if "quality" in values else None,
        heard_at=HeardAt(values["heard_at"]) if "heard_at" in values else None,
    )
