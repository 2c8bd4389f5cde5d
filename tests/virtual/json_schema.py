"""Just enough of JSON Schema (draft 2020-12) to check a document; a keyword that isn't known is an error."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

TYPES: dict[str, Callable[[Any], bool]] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "number": lambda value: isinstance(value, int | float) and not isinstance(value, bool),
    "null": lambda value: value is None,
}
PLAIN: dict[str, Callable[[Any, Any], bool]] = {
    "$schema": lambda _, __: True,
    "title": lambda _, __: True,
    "items": lambda _, __: True,
    "properties": lambda _, __: True,
    "additionalProperties": lambda _, __: True,
    "const": lambda value, wanted: bool(value == wanted),
    "enum": lambda value, wanted: value in wanted,
    "minLength": lambda value, least: len(value) >= least,
    "minItems": lambda value, least: len(value) >= least,
    "maxItems": lambda value, most: len(value) <= most,
    "required": lambda value, keys: all(key in value for key in keys),
    "type": lambda value, kinds: any(
        TYPES[kind](value) for kind in ([kinds] if isinstance(kinds, str) else kinds)
    ),
    "anyOf": lambda value, schemas: any(not faults(value, schema) for schema in schemas),
}


def faults(value: Any, schema: Mapping[str, Any], place: str = "$") -> list[str]:
    """What is wrong with a value, one line each; empty where it is valid."""
    found = []
    if not PLAIN["type"](value, schema.get("type", list(TYPES))):
        return [f"{place}: not a {schema['type']}"]
    found += [f"{place}: {key}" for key, wanted in schema.items() if not PLAIN[key](value, wanted)]
    if isinstance(value, dict):
        properties = schema.get("properties", {})
        for key, entry in value.items():
            if key in properties:
                found += faults(entry, properties[key], f"{place}.{key}")
            elif not schema.get("additionalProperties", True):
                found.append(f"{place}: strange {key}")
    if isinstance(value, list) and "items" in schema:
        for number, entry in enumerate(value):
            found += faults(entry, schema["items"], f"{place}[{number}]")
    return found
