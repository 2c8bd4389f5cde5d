"""What both parts of the file of truth share: how numbers are rounded, and pieces of its schema."""

from __future__ import annotations

from typing import Any, Final

from earwitness.virtual.arrays import Floats

#: Decimals of a number in the file.
DECIMALS: Final = 3
NUMBER: Final = {"type": "number"}
TEXT: Final = {"type": "string", "minLength": 1}


def rounded(values: Floats) -> list[float]:
    """As numbers in the file, without a minus before nothing."""
    return [round(value, DECIMALS) + 0.0 for value in values.tolist()]


def strict_object(properties: dict[str, Any]) -> dict[str, Any]:
    """The schema of an object with these properties, all of them and no others."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
