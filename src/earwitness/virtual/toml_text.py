"""A scenario's document as TOML text: tables that a person reads, with comments, the same bytes each time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

#: Lists that are written as tables of their own.
LISTS: Final = (
    "enclosures",
    "drive_units",
    "ports",
    "resonators",
    "mouths",
    "branches",
    "faults",
    "surfaces",
)
#: Tables that are written so.
TABLES: Final = (
    "cabinet",
    "air",
    "turntable",
    "session",
    "near_field",
    "room",
    "microphone",
    "chain",
    "stimulus",
)
#: The key whose value is a comment above its table.
COMMENT: Final = "#"


def toml_text(document: Mapping[str, Any]) -> str:
    """The text of a document: comment first, then values, then tables in their order."""
    return "\n".join(_lines(document, "")) + "\n"


def _lines(table: Mapping[str, Any], path: str) -> Iterator[str]:
    yield from (f"# {line}" for line in table.get(COMMENT, "").splitlines())
    if path:
        yield path
    deeper = [key for key in table if key in LISTS or key in TABLES]
    for key, value in table.items():
        if key != COMMENT and key not in deeper:
            yield f"{_key(key)} = {_value(value)}"
    outer = path.strip("[]")
    for key in deeper:
        name = f"{outer}.{key}" if outer else key
        for entry in table[key] if key in LISTS else [table[key]]:
            yield ""
            yield from _lines(entry, f"[[{name}]]" if key in LISTS else f"[{name}]")


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() else f'"{key}"'


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list | tuple):
        return _listed([_value(entry) for entry in value])
    return str(value) if isinstance(value, int) else str(float(f"{value:.4g}"))


def _listed(entries: list[str]) -> str:
    line = "[" + ", ".join(entries) + "]"
    if len(line) < 90 and not any(entry.startswith("{") for entry in entries[1:]):
        return line
    return "[\n" + "".join(f"  {entry},\n" for entry in entries) + "]"
