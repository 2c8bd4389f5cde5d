"""What to paste into ``takes.toml`` for files that can't be told: a rule for many alike, or one entry.

What the person must say stands there as ``"?"``, which is refused until it is made right.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Final

from earwitness.case.drives import format_drive
from earwitness.case.take_rules import Rule
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import reader_of
from earwitness.measurement.recognition.answers import Recognition
from earwitness.pipeline.unsettled import positive
from earwitness.records.facts import Rig
from earwitness.records.takes import DIRECTIONAL, EVERY_PART, ReadOptions, TakeKind

_FEWEST_FOR_A_RULE: Final = 3
_NUMBER: Final = re.compile(r"(?<![A-Za-z0-9])[+\-−]?[0-9]+(?:\.[0-9]+)?|[0-9]+(?:\.[0-9]+)?")
_ORBITS: Final = re.compile(r"(?<![a-z])(?:horizontal|vertical)(?![a-z])")
_SETTLED_BY_A_RULE: Final = frozenset({"sign", "plane", "drive", "angle"})
_PLAIN: Final = re.compile(r"[^{}*\"\\]+")


def example_for(
    doubtful: Sequence[Recognition],
    played: Mapping[str, Sequence[str]],
    read: Mapping[str, ReadOptions],
    rig: Rig,
) -> str:
    """A rule for the first of `doubtful` and all that are named alike, else an entry for the first.

    Empty where nothing is doubtful, or no entry settles it.

    Parameters
    ----------
    played, read
        By path the stimuli that may have been played, and the ``read`` options that the call states.
    """
    if not doubtful:
        return ""
    first = doubtful[0]
    fitting = played.get(first.path, ())
    if {doubt.subject for doubt in first.doubts} == {"stimulus"} and not fitting:
        return ""
    stimulus = fitting[0] if len(fitting) == 1 else None
    alike = [one for one in doubtful if _skeleton(one.path) == _skeleton(first.path)]
    settled = all(doubt.subject in _SETTLED_BY_A_RULE for one in alike for doubt in one.doubts)
    directional = first.said.kind in DIRECTIONAL and not first.selector
    pattern = _pattern([one.path for one in alike]) if settled and directional else None
    if pattern is not None:
        counted = f"a number without a sign counts as positive: {positive(rig)}"
        fields = [("files", pattern, counted), *_fields(first, stimulus, pattern, rig)]
        return _table("rule", fields, _read_of(first, read))
    place = [("file", first.path, "")]
    place += [("selector", first.selector, "")] if first.selector else []
    channels = [str(doubt) for doubt in first.doubts if doubt.subject == "channel"]
    place += [("selector", "?", channel) for channel in channels if not first.selector]
    return _table("take", [*place, *_fields(first, stimulus, "", rig)], _read_of(first, read))


def _read_of(one: Recognition, read: Mapping[str, ReadOptions]) -> str:
    """The line of what the file's form is: as the call states, and what a doubt of levels asks for."""
    options = dict(read.get(one.path, ()))
    if any(doubt.subject == "level" for doubt in one.doubts) and one.said.kind in DIRECTIONAL:
        option = reader_of(Source(Path(one.path), one.path, tuple(options.items()))).level_option
        options |= {option: "?"} if option else {}
    texts = [
        f"{name} = {_quoted(v) if isinstance(v, str) else str(v).lower()}" for name, v in options.items()
    ]
    return f"read = {{ {', '.join(texts)} }}" if texts else ""


def _fields(one: Recognition, stimulus: str | None, pattern: str, rig: Rig) -> list[tuple[str, str, str]]:
    """Name, value and comment of the fields that the take must have and the pattern doesn't state."""
    said, kind = one.said, one.said.kind
    fields = [("kind", str(kind) if kind else "?", "" if kind else "what it holds")]
    if (kind in DIRECTIONAL or kind is None) and one.selector != EVERY_PART:
        orbit = str(said.direction.orbit if said.direction else said.orbit or "?")
        angle = f"{said.direction.angle_deg:g}" if said.direction else "?"
        fields += [("orbit", orbit, '"horizontal" or "vertical"')] if "{orbit}" not in pattern else []
        angle_comment = f"degrees, without quotes: + is {positive(rig)}"
        fields += [("angle_deg", angle, angle_comment)] if "{angle}" not in pattern else []
    if kind is TakeKind.NEAR_FIELD:
        fields.append(("radiator", said.radiator or "?", "one of those in case.toml"))
    if kind in DIRECTIONAL | {TakeKind.NEAR_FIELD, TakeKind.REFERENCE, None}:
        drive = format_drive(said.drive) if said.drive else "?"
        fields.append(("drive", drive, 'as in "2.83 V" (RMS at the terminals), "-20 dBFS" or "+4 dBu"'))
    if kind in (TakeKind.SWEEP, TakeKind.NEAR_FIELD, TakeKind.REFERENCE):
        fields.append(("stimulus", stimulus or "?", "the file that was played"))
    if kind is TakeKind.CALIBRATOR:
        fields.append(("level_db", "?", "without quotes: its level, dB re 20 µPa"))
    return fields


def _table(name: str, fields: Sequence[tuple[str, str, str]], read: str) -> str:
    lines = []
    for field, value, comment in fields:
        number = field == "angle_deg" and value != "?"
        line = f"{field} = {value if number else _quoted(value)}"
        said = comment if value == "?" or field == "files" else ""
        lines.append(f"{line}    # {said}" if said else line)
    return "\n".join([f"[[{name}]]", *lines, *([read] if read else [])])


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
