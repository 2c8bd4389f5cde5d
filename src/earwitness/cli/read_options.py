"""``--read KEY=VALUE``: what a call states of the form of its files."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from earwitness.records.errors import CallError

if TYPE_CHECKING:
    from earwitness.records.takes import ReadOption, ReadOptions

_KEY: Final = re.compile(r"[a-z][a-z0-9_]{0,39}")
_WHOLE: Final = re.compile(r"[+-]?[0-9]{1,15}")
_DECIMAL: Final = re.compile(r"[+-]?[0-9]{0,15}\.[0-9]{1,15}(?:e[+-]?[0-9]{1,2})?")
_LONGEST: Final = 200


def parse_read(texts: Sequence[str]) -> ReadOptions:
    """The options in the order of their keys: true, false and numbers as such, all else as text.

    Raises
    ------
    CallError
        One isn't a key, ``=`` and a value on one line, or a key stands twice.
    """
    found: dict[str, ReadOption] = {}
    for text in texts:
        key, equals, value = text.partition("=")
        if not equals or not _KEY.fullmatch(key) or not 0 < len(value) <= _LONGEST or not value.isprintable():
            raise CallError(f"--read {text!r} isn't KEY=VALUE, as in --read level=dB")
        if key in found:
            raise CallError(f"--read {key} stands twice; state it once")
        found[key] = _plain(value)
    return tuple(sorted(found.items()))


def _plain(value: str) -> ReadOption:
    if value in ("true", "false"):
        return value == "true"
    if _WHOLE.fullmatch(value):
        return int(value)
    return float(value) if _DECIMAL.fullmatch(value) else value
