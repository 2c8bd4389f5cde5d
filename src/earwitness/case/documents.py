"""Results, findings and facts as JSON, and their JSON Schemas, from the records themselves."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math
import types
from collections.abc import Mapping
from enum import Enum
from functools import cache
from typing import Any, Final, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from earwitness.records.errors import CallError, IntegrityError
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Results
from earwitness.records.findings import Findings
from earwitness.records.quality import Quality

Document = TypeVar("Document")

#: Records refuse what they don't know: one of them stands in a tuple, so that this reaches every level.
STRICT: Final = ConfigDict(extra="forbid", strict=True, json_schema_serialization_defaults_required=True)

SCHEMAS: Final[dict[str, type[Any]]] = {
    "results": Results,
    "findings": Findings,
    "quality": Quality,
    "case": CaseFacts,
}


def to_json(document: object, indent: int | None = 1) -> bytes:
    """A record as UTF-8 JSON: keys sorted, a newline at the end, the same bytes for the same record.

    Without `indent` it is for no person to read, and written in a third of the time.

    Raises
    ------
    IntegrityError
        If a number in it is NaN or infinite: what isn't known has a type of its own.
    """
    values = plain(document)
    try:
        text = json.dumps(values, sort_keys=True, allow_nan=False, ensure_ascii=False, indent=indent)
    except ValueError as error:
        remedy = "say why it is not available instead of giving a number"
        name = type(document).__name__
        raise IntegrityError(name, "a number is NaN or infinite", remedy, _not_finite(values)) from error
    return text.encode("utf-8") + b"\n"


def plain(document: object) -> Any:
    """A record as mappings, lists, text and numbers, as its JSON Schema has it.

    Raises
    ------
    TypeError
        If something in it is neither a record nor one of those.
    """
    if isinstance(document, Enum):
        return document.value
    if document is None or isinstance(document, str | int | float):
        return document
    if isinstance(document, tuple | list):
        return [plain(one) for one in document]
    if isinstance(document, Mapping):
        return {str(plain(key)): plain(value) for key, value in document.items()}
    if isinstance(document, dt.date | dt.time):
        return document.isoformat()
    kind: Any = type(document)
    return {name: plain(getattr(document, name)) for name in _names(kind)}


def from_json(kind: type[Document], data: bytes, file: str = "") -> Document:
    """The record of type `kind` that `data` holds.

    Raises
    ------
    IntegrityError
        If `data` isn't JSON, or doesn't fit the schema: `file`, the place, and what is wrong.
    """
    name = file or kind.__name__
    remedy = "build again"
    try:
        json.loads(data, parse_constant=_refuse_constant)
        known: Any = kind
        document: Document = _adapter(known).validate_json(b"[" + data + b"]")[0]
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = "/".join(str(p) for p in first["loc"][1:])
        problem = f"doesn't fit the schema ({str(first['type']).replace('_', ' ')})"
        raise IntegrityError(name, problem, remedy, place) from error
    except (ValueError, RecursionError) as error:
        raise IntegrityError(name, "isn't valid JSON", remedy) from error
    return document


def schema(name: str) -> dict[str, Any]:
    """The JSON Schema of ``results``, ``findings``, ``quality`` or ``case``.

    Raises
    ------
    CallError
        If there is no schema of that name.
    """
    if name not in SCHEMAS:
        raise CallError(f"there is no schema {name!r}; the schemas are {', '.join(sorted(SCHEMAS))}")
    written_by_hand = name == "case"
    kind: Any = SCHEMAS[name]
    whole = _adapter(kind).json_schema(mode="validation" if written_by_hand else "serialization")
    inner = dict(whole["prefixItems"][0])
    top = whole["$defs"].pop(inner["$ref"].rsplit("/", 1)[1])
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Earwitness {name}",
        **{k: v for k, v in top.items() if k != "title"},
        "$defs": dict(sorted(whole["$defs"].items())),
    }


@cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in dataclasses.fields(kind))


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    alone: Any = types.GenericAlias(tuple, (kind,))
    return TypeAdapter(alone, config=STRICT)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")


def _not_finite(values: Any, place: str = "") -> str:
    """The path of the first number that isn't finite."""
    items = (
        values.items() if isinstance(values, dict) else enumerate(values) if isinstance(values, list) else ()
    )
    for key, value in items:
        here = f"{place}/{key}" if place else str(key)
        if isinstance(value, float) and not math.isfinite(value):
            return here
        if inner := _not_finite(value, here):
            return inner
    return ""
