"""What ``case.toml`` may state where, read off the record types."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin, get_type_hints

from earwitness.records.facts import CaseFacts

Location = tuple[str | int, ...]


def types_at(place: Location) -> tuple[type, ...]:
    """The plain types and records that may stand at `place`: names of keys, indices, and shapes' tags.

    >>> types_at(("unit", "active"))
    (<class 'bool'>,)
    """
    here: tuple[Any, ...] = (CaseFacts,)
    for part in place:
        if isinstance(part, int):
            continue
        records = [kind for kind in here if dataclasses.is_dataclass(kind)]
        tagged = [kind for kind in records if part in tags(kind)]
        if tagged:
            here = tuple(tagged)
            continue
        hints = [hint for kind in records if (hint := _hints(kind).get(part)) is not None]
        here = tuple(leaf for hint in hints for leaf in _leaves(hint))
    return here


def keys_at(place: Location) -> tuple[str, ...]:
    """The keys that the table at `place` may have, sorted."""
    records = [kind for kind in types_at(place) if dataclasses.is_dataclass(kind)]
    return tuple(sorted({field.name for kind in records for field in dataclasses.fields(kind)}))


def without_tags(location: Location) -> Location:
    """A validation error's location as the keys that stand in the file: the tag of a shape isn't one."""
    plain: Location = ()
    for depth, part in enumerate(location):
        records = types_at(location[:depth])
        if not any(isinstance(part, str) and part in tags(kind) for kind in records):
            plain += (part,)
    return plain


def tags(kind: Any) -> tuple[str, ...]:
    """The values of a record's `Literal` fields, by which a union tells its members apart."""
    if not dataclasses.is_dataclass(kind):
        return ()
    literal = [hint for name, hint in _hints(kind).items() if name == "shape" and get_origin(hint) is Literal]
    return tuple(str(value) for hint in literal for value in get_args(hint))


def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _leaves(hint: Any) -> Iterator[type]:
    """The classes inside a union, tuple or optional."""
    if isinstance(hint, type) and get_origin(hint) is None:
        yield hint
    for inner in get_args(hint):
        yield from _leaves(inner)
