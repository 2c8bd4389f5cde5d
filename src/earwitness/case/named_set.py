"""The built set: which files belong together, and how one set takes another's place.

A commit first writes its intent (``state.next.json``: the set to come, and what stood there before), then
replaces each named file, then ``state.json``, and drops the intent last. So every named file is at any moment
what the intent says it was or will be, and a reader can tell.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.step_store import canonical
from earwitness.records.errors import IntegrityError, NotAvailableError

SCHEMA_VERSION: Final = 1
_INTERRUPTED: Final = "a build was interrupted; build again"
_GARBLED: Final = (ValueError, TypeError, KeyError, AttributeError, RecursionError)


@dataclass(frozen=True, slots=True)
class NamedSet:
    """A set of named files in ``build/``: its id, each file's SHA-256, and the folders of its steps."""

    build_id: str
    files: Mapping[str, str]
    steps: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """As ``state.json`` has it."""
        return {
            "schema_version": SCHEMA_VERSION,
            "build_id": self.build_id,
            "files": dict(self.files),
            "steps": list(self.steps),
        }


@dataclass(frozen=True, slots=True)
class _Intent:
    """What a commit is about to do: the set to come, and the digest of each of its files before (or None)."""

    named: NamedSet
    before: Mapping[str, str | None]


def read_set(case: CaseFolder) -> NamedSet:
    """The built set, after making sure that every named file belongs to it.

    Raises
    ------
    NotAvailableError
        Nothing is built yet.
    IntegrityError
        A build was interrupted, so the files may be of two builds; or a file isn't what was built.
    """
    problems, notes, named = inspect_set(case)
    if problems:
        raise problems[0]
    if notes:
        raise IntegrityError("build/state.json", "a build was interrupted", "build again")
    if named is None:
        raise NotAvailableError(f"{case.root}: nothing is built yet; run `earwitness build`")
    return named


def inspect_set(case: CaseFolder) -> tuple[list[IntegrityError], list[str], NamedSet | None]:
    """Problems of the set, notes that are none, and the set itself where one is named.

    An interrupted commit is a note: each file is what it was or what it was about to be, so nothing is lost.
    """
    state, intent = _read_state(case.state), _read_intent(case.intent)
    if isinstance(state, IntegrityError) or isinstance(intent, IntegrityError):
        return [e for e in (state, intent) if isinstance(e, IntegrityError)], [], None
    found = {name: _digest(case.build / name) for name in _names(state, intent)}
    complete = state is not None and all(found[name] == value for name, value in state.files.items())
    if state is not None and complete and (intent is None or intent.named == state):
        return [], [], state
    allowed: dict[str, set[str | None]] = {name: set() for name in found}
    if state is not None:
        for name, value in state.files.items():
            allowed[name].add(value)
    if intent is not None:
        for name, value in intent.named.files.items():
            allowed[name].update({value, intent.before.get(name)})
    problems = [
        IntegrityError(
            f"build/{name}", "is missing" if digest is None else "isn't what was built", "build again"
        )
        for name, digest in sorted(found.items())
        if digest not in allowed[name]
    ]
    return problems, [_INTERRUPTED] if intent is not None else [], state


def replace_set(case: CaseFolder, named: NamedSet, sources: Mapping[str, Path]) -> None:
    """Put the files `sources` (by name in ``build/``) in place, and make `named` the built set."""
    current = {name: _digest(case.build / name) for name in sources}
    wanted = canonical(named.as_json()) + b"\n"
    if current == named.files and case.state.is_file() and case.state.read_bytes() == wanted:
        durable.remove(case.intent)
        return
    intent = {"state": named.as_json(), "before": current}
    durable.write_atomically(case.intent, canonical(intent) + b"\n")
    for name, source in sorted(sources.items()):
        if current[name] != named.files[name]:
            data = source.read_bytes()
            durable.write_atomically(case.build / name, data)
    durable.write_atomically(case.state, wanted)
    durable.remove(case.intent)


def current_set(case: CaseFolder) -> NamedSet | None:
    """The set that ``state.json`` names, unchecked; None where nothing is built or it can't be understood."""
    state = _read_state(case.state)
    return state if isinstance(state, NamedSet) else None


def _digest(path: Path) -> str | None:
    return durable.file_digest(path) if path.is_file() else None


def _names(state: NamedSet | None, intent: _Intent | None) -> list[str]:
    return sorted({*(state.files if state else ()), *(intent.named.files if intent else ())})


def _read_state(path: Path) -> NamedSet | IntegrityError | None:
    try:
        return _named_set(json.loads(path.read_bytes()))
    except FileNotFoundError:
        return None
    except _GARBLED:
        return _garbled(path)


def _read_intent(path: Path) -> _Intent | IntegrityError | None:
    try:
        plain = json.loads(path.read_bytes())
        return _Intent(_named_set(plain["state"]), dict(plain["before"]))
    except FileNotFoundError:
        return None
    except _GARBLED:
        return _garbled(path)


def _garbled(path: Path) -> IntegrityError:
    return IntegrityError(f"build/{path.name}", "can't be understood", "delete build/ and build again")


def _named_set(plain: Any) -> NamedSet:
    files = {str(name): str(value) for name, value in plain["files"].items()}
    return NamedSet(str(plain["build_id"]), files, tuple(str(step) for step in plain["steps"]))
