"""The table of what files were recognised as: one row a take, or one for many that are alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from earwitness.pipeline.arrivals import Doubt
    from earwitness.pipeline.intake import Intake
    from earwitness.records.takes import Take

HEADINGS: Final = ("file", "what it is", "direction", "drive", "remark")
Row = tuple[str, ...]

#: So many takes that differ in nothing but their direction become one row.
_FEWEST_FOLDED: Final = 4
_MOST_RUNS: Final = 6
_ON_BOTH_ORBITS: Final = (0.0, 180.0)


def rows_of(intake: Intake, *, every: bool) -> list[Row]:
    """Rows of all takes and of all doubts, sorted by file.

    Takes that differ in nothing but their direction share a row, unless `every` one is wanted.
    """
    takes = [(take, _remark(take, intake, stated=False)) for take in intake.takes]
    takes += [(take, _remark(take, intake, stated=True)) for take in intake.stated]
    alike: dict[tuple[object, ...], list[tuple[Take, str]]] = {}
    for take, remark in takes:
        key = take.key
        orbit = key.direction.orbit if key.direction is not None and not every else take.id
        folder = PurePosixPath(take.path).parent
        alike.setdefault((folder, key.kind, orbit, key.drive, key.repeat, remark), []).append((take, remark))
    rows: list[Row] = []
    for group in alike.values():
        if len(group) >= _FEWEST_FOLDED:
            rows.append(_folded([take for take, _ in group], group[0][1]))
        else:
            rows += [_single(take, intake, remark) for take, remark in group]
    return sorted([*rows, *_doubtful(intake.doubts, every=every)])


def _doubtful(doubts: Sequence[Doubt], *, every: bool) -> list[Row]:
    """Rows of doubts; files of one folder with the very same problem share one."""
    alike: dict[tuple[object, ...], list[Doubt]] = {}
    for doubt in doubts:
        whose = doubt.label if every else PurePosixPath(doubt.path).parent
        alike.setdefault((whose, doubt.problem), []).append(doubt)
    rows: list[Row] = []
    for group in alike.values():
        if len(group) >= _FEWEST_FOLDED:
            counted = f"{group[0].label} … ({_counted([doubt.path for doubt in group])})"
            rows.append((counted, "can't be added", "", "", group[0].problem))
        else:
            rows += [(doubt.label, "can't be added", "", "", doubt.problem) for doubt in group]
    return rows


def _counted(paths: Sequence[str]) -> str:
    files = len(set(paths))
    return f"{files} files" if files == len(paths) else f"{len(paths)} parts of {files} files"


def _single(take: Take, intake: Intake, remark: str) -> Row:
    key = take.key
    direction = key.direction.label if key.direction else ""
    if key.direction and key.direction.angle_deg in _ON_BOTH_ORBITS:
        direction = f"{direction} ({key.direction.orbit})"
    whole = intake.wholes.get(take.path)
    if whole is not None and key.direction is None:
        direction = f"{whole.directions:,} directions, {whole.on_orbits:,} on the orbits"
    return (
        take.id,
        str(key.kind).replace("_", " "),
        direction,
        key.drive.label if key.drive else "",
        remark,
    )


def _folded(group: Sequence[Take], remark: str) -> Row:
    """One row of takes on one orbit, with every angle accounted for."""
    first = min(group, key=lambda take: take.id)
    counted = _counted([take.path for take in group])
    angles = sorted(take.key.direction.angle_deg for take in group if take.key.direction)
    orbit = first.key.direction.orbit if first.key.direction else ""
    drive = first.key.drive.label if first.key.drive else ""
    kind = str(first.key.kind).replace("_", " ")
    return (f"{first.id} … ({counted})", kind, f"{orbit} {runs(angles)}", drive, remark)


def runs(angles: Sequence[float]) -> str:
    """Sorted angles in words: ``−170° to +180° every 10°``, with each gap shown."""
    parts: list[list[float]] = []
    for angle in angles:
        run = parts[-1] if parts else []
        if not run or (len(run) > 1 and abs((angle - run[-1]) - (run[-1] - run[-2])) > 1e-6):
            parts.append([angle])
        else:
            run.append(angle)
    parts = list(_joined(parts))
    shown = ", ".join(_run(part) for part in parts[:_MOST_RUNS])
    return f"{shown} and more (--all lists them)" if len(parts) > _MOST_RUNS else shown


def _joined(parts: Iterable[list[float]]) -> Iterable[list[float]]:
    """Runs of two are two angles: their step means nothing."""
    for part in parts:
        if len(part) == 2:
            yield from ([angle] for angle in part)
        else:
            yield part


def _run(angles: Sequence[float]) -> str:
    ends = [f"{angle:+g}°".replace("-", "−") for angle in (angles[0], angles[-1])]
    if len(angles) == 1:
        return ends[0]
    step = next(after - before for before, after in pairwise(angles))
    return f"{ends[0]} to {ends[1]} every {step:g}°"


def _remark(take: Take, intake: Intake, *, stated: bool) -> str:
    key = take.key
    several = len({other.stimulus for other in intake.takes if other.stimulus}) > 1
    parts = [key.radiator] if key.radiator else []
    parts += [f"repeat {key.repeat}"] if key.repeat != 1 else []
    parts += [f"{take.level_db:g} dB"] if take.level_db is not None else []
    parts += [f"at {take.distance_m * 1000:g} mm"] if take.distance_m is not None else []
    parts += [f"of {take.stimulus}"] if take.stimulus and several else []
    parts += [intake.remarks[take.path]] if take.path in intake.remarks else []
    parts += ["as takes.toml says"] if stated else []
    parts += ["as it was before it was removed"] if take.path in intake.returned else []
    parts += ["there already"] if take.path in intake.there else []
    return ", ".join(parts)
