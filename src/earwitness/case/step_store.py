"""Results of build steps: one folder a step with the digests of its files, and cached parts of a step."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.case import durable
from earwitness.case.layout import CaseFolder

#: Beside a step's files: which they are. It is written last, so a folder without it isn't done.
RECORD: Final = "step.json"
Arrays = Mapping[str, npt.NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class StepRecord:
    """What one step made: its key, the SHA-256 of each file, and the cached parts that it used."""

    key: str
    files: Mapping[str, str]
    parts: tuple[str, ...]


def canonical(value: object) -> bytes:
    """A plain value as JSON with sorted keys: the same bytes for the same value.

    Raises
    ------
    TypeError, ValueError
        If `value` isn't made of mappings, sequences, text, finite numbers, booleans and None.
    """
    return json.dumps(
        value, sort_keys=True, allow_nan=False, ensure_ascii=True, separators=(",", ":")
    ).encode()


def digest(value: object) -> str:
    """SHA-256 of `canonical`."""
    return hashlib.sha256(canonical(value)).hexdigest()


def make_folder(target: Path, key: str, make: Callable[[Path], Sequence[str]]) -> StepRecord:
    """Let `make` fill a folder (it gives the parts that it used), and put it at `target` once it is whole."""
    with durable.prepared_folder(target) as folder:
        parts = make(folder)
        record = StepRecord(key, _file_digests(folder), tuple(sorted(parts)))
        plain = {"key": record.key, "files": dict(record.files), "parts": list(record.parts)}
        (folder / RECORD).write_bytes(canonical(plain) + b"\n")
        durable.replace_folder(folder, target)
    return record


def read_record(folder: Path) -> StepRecord | None:
    """What the record of a step's folder says; None where there is none that can be read."""
    try:
        plain = json.loads((folder / RECORD).read_bytes())
        return StepRecord(plain["key"], dict(plain["files"]), tuple(plain["parts"]))
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None


def intact(folder: Path, key: str) -> StepRecord | None:
    """The record of a step's folder, if it is of `key` and every file is what it was; else None."""
    record = read_record(folder)
    if record is None or record.key != key or _file_digests(folder) != record.files:
        return None
    return record


def write_part(case: CaseFolder, name: str, arrays: Arrays) -> None:
    """Keep `arrays` as the part `name`. It isn't flushed: its own digest tells whether it is whole."""
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, **arrays)
    payload = buffer.getvalue()
    case.parts.mkdir(parents=True, exist_ok=True)
    data = hashlib.sha256(payload).digest() + payload
    durable.write_atomically(case.parts / name, data, flush=False)


def read_part(case: CaseFolder, name: str) -> dict[str, npt.NDArray[np.generic]] | None:
    """The part `name`; None where it isn't there or isn't whole."""
    try:
        data = (case.parts / name).read_bytes()
    except FileNotFoundError:
        return None
    payload = data[hashlib.sha256().digest_size :]
    if hashlib.sha256(payload).digest() != data[: hashlib.sha256().digest_size]:
        return None
    with np.load(io.BytesIO(payload), allow_pickle=False) as arrays:
        return {key: arrays[key] for key in arrays.files}


def _file_digests(folder: Path) -> dict[str, str]:
    """SHA-256 of each file below `folder` but the record, by its name with forward slashes."""
    found = sorted(path for path in folder.rglob("*") if not path.is_dir())
    names = {path.relative_to(folder).as_posix(): path for path in found}
    return {name: durable.file_digest(path) for name, path in names.items() if name != RECORD}
