"""What to paste into ``takes.toml`` for files that can't be told: a rule for many alike, or one entry.

What the person must say stands there as ``"?"``, which is refused until it is made right.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import PurePosixPath
from typing import Final

from earwitness.case.drives import format_drive
from earwitness.case.take_rules import Rule
from earwitness.measurement.recognition.answers import Recognition
from earwitness.records.takes import DIRECTIONAL, TakeKind

_FEWEST_FOR_A_RULE: Final = 3
_NUMBER: Final = re.compile(r"(?<![A-Za-z0-9])[+\-−]?[0-9]+(?:\.[0-9]+)?|[0-9]+(?:\.[0-9]+)?")
_ORBITS: Final = re.compile(r"(?<![a-z])(?:horizontal|vertical)(?![a-z])")
_SETTLED_BY_A_RULE: Final = frozenset({"sign", "plane", "drive", "angle"})
_PLAIN: Final = re.compile(r"[^{}*\"\\]+")
_NO_SIGN: Final = "a number without a sign counts as positive: the loudspeaker's left, or upward"


def example_for(doubtful: Sequence[Recognition], stimulus: str | None) -> str:
    """A rule for the first of `doubtful` and all that are named alike, else an entry for the first.

    Empty where nothing is doubtful. `stimulus` is what a recording names.
    """
    if not doubtful:
        return ""
    first = doubtful[0]
    alike = [one for one in doubtful if _skeleton(one.path) == _skeleton(first.path)]
    settled = all(doubt.subject in _SETTLED_BY_A_RULE for one in alike for doubt in one.doubts)
    directional = first.said.kind in DIRECTIONAL and not first.selector
    pattern = _pattern([one.path for one in alike]) if settled and directional else None
    if pattern is not None:
        return _table("rule", [("files", pattern, _NO_SIGN), *_fields(first, stimulus, pattern)])
    place = [("file", first.path, "")]
    place += [("selector", first.selector, "")] if first.selector else []
    return _table("take", [*place, *_fields(first, stimulus, "")])


def _fields(one: Recognition, stimulus: str | None, pattern: str) -> list[tuple[str, str, str]]:
    """Name, value and comment of the fields that the take must have and the pattern doesn't state."""
    said, kind = one.said, one.said.kind
    fields = [("kind", str(kind) if kind else "?", "" if kind else "what it holds")]
    if kind in DIRECTIONAL or kind is None:
        orbit = str(said.direction.orbit) if said.direction else "?"
        angle = f"{said.direction.angle_deg:g}" if said.direction else "?"
        fields += [("orbit", orbit, '"horizontal" or "vertical"')] if "{orbit}" not in pattern else []
        angle_comment = "degrees, without quotes: + is the loudspeaker's left, or upward"
        fields += [("angle_deg", angle, angle_comment)] if "{angle}" not in pattern else []
    if kind is TakeKind.NEAR_FIELD:
        fields.append(("radiator", said.radiator or "?", "one of those in case.toml"))
    if kind in DIRECTIONAL | {TakeKind.NEAR_FIELD, None}:
        drive = format_drive(said.drive) if said.drive else "?"
        fields.append(("drive", drive, 'as in "2.83 V" (RMS at the terminals) or "-20 dBFS"'))
    if kind in (TakeKind.SWEEP, TakeKind.NEAR_FIELD):
        fields.append(("stimulus", stimulus or "?", "the file that was played"))
    if kind is TakeKind.CALIBRATOR:
        fields.append(("level_db", "?", "without quotes: its level, dB re 20 µPa"))
    return fields


def _table(name: str, fields: Sequence[tuple[str, str, str]]) -> str:
    lines = []
    for field, value, comment in fields:
        number = field == "angle_deg" and value != "?"
        line = f"{field} = {value if number else _quoted(value)}"
        said = comment if value == "?" or field == "files" else ""
        lines.append(f"{line}    # {said}" if said else line)
    return "\n".join([f"[[{name}]]", *lines])


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _skeleton(path: str) -> str:
    """What names have alike that differ in numbers and planes alone."""
    return _NUMBER.sub("#", _ORBITS.sub("@", path))


def _pattern(paths: Sequence[str]) -> str | None:
    """The pattern of names that differ in one number, and maybe in their plane; None where none fits."""
    if len(paths) < _FEWEST_FOR_A_RULE or not all(_PLAIN.fullmatch(path) for path in paths):
        return None
    first = paths[0]
    columns = list(zip(*([m[0] for m in _NUMBER.finditer(path)] for path in paths), strict=True))
    varying = [i for i, column in enumerate(columns) if len(set(column)) > 1]
    if len(varying) != 1:
        return None
    start, end = [m.span() for m in _NUMBER.finditer(first)][varying[0]]
    if end > len(first) - len(PurePosixPath(first).suffix):
        return None
    orbits = list(_ORBITS.finditer(first))
    pattern = f"{first[:start]}{{angle}}{first[end:]}"
    if len(orbits) == 1:
        pattern = pattern.replace(orbits[0][0], "{orbit}", 1)
    rule = Rule.parse(pattern)
    fits = not isinstance(rule, str) and all(rule.match(path) is not None for path in paths)
    return pattern if fits else None
