"""Pattern rules: what a file's name says about its take, such as ``{orbit}_{angle}_{drive}.wav``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

# digits are never given back: a name made of them must not be tried in every possible cut
_NUMBER: Final = r"[+\-−]?[0-9]++(?:\.[0-9]++)?+"
#: Each placeholder: the field that it states, and what it matches.
_PLACEHOLDERS: Final[Mapping[str, tuple[str, str]]] = {
    "orbit": ("orbit", "horizontal|vertical"),
    "angle": ("angle_deg", _NUMBER),
    "azimuth": ("azimuth_deg", _NUMBER),
    "elevation": ("elevation_deg", _NUMBER),
    "distance": ("distance_m", _NUMBER),
    "drive": ("drive", rf"{_NUMBER}[ _]?(?:V|dBFS|dBu)"),
    "radiator": ("radiator", "[a-z][a-z0-9_]*?"),
    "repeat": ("repeat", "[0-9]{1,4}"),
}
_NUMBERS: Final = frozenset(field for field, matched in _PLACEHOLDERS.values() if matched == _NUMBER)
_TOKEN: Final = re.compile(r"\{([^{}]*)\}|(\*)|([{}])")
_LONGEST: Final = 500
_MOST_STARS: Final = 2


@dataclass(frozen=True, slots=True)
class Rule:
    """A pattern over names below ``raw/``. ``*`` stands for anything but a slash."""

    pattern: str
    fields: tuple[str, ...]
    expression: re.Pattern[str]

    @classmethod
    def parse(cls, pattern: str) -> Rule | str:
        """The rule of `pattern`, or what is wrong with it."""
        if len(pattern) > _LONGEST or pattern.count("*") > _MOST_STARS:
            return "is too long, or has too many stars"
        fields: list[str] = []
        expression, end = "", 0
        for token in _TOKEN.finditer(pattern):
            expression += re.escape(pattern[end : token.start()])
            end = token.end()
            if token[2]:
                expression += "[^/]*"
                continue
            known = _PLACEHOLDERS.get(token[1] or "")
            if known is None:
                return f"{token[0]!r} is no placeholder"
            if known[0] in fields:
                return f"{token[0]!r} stands in it twice"
            fields.append(known[0])
            expression += f"(?P<{known[0]}>{known[1]})"
        return cls(pattern, tuple(fields), re.compile(expression + re.escape(pattern[end:])))

    @staticmethod
    def placeholders() -> str:
        """The placeholders, for messages."""
        return ", ".join(f"{{{name}}}" for name in _PLACEHOLDERS)

    def match(self, name: str) -> dict[str, Any] | None:
        """The fields that the file's name states, or None if it doesn't fit."""
        found = self.expression.fullmatch(name)
        if found is None:
            return None
        values: dict[str, Any] = found.groupdict()
        for number in _NUMBERS & values.keys():
            values[number] = float(values[number].replace("−", "-"))
        if "repeat" in values:
            values["repeat"] = int(values["repeat"])
        return values
