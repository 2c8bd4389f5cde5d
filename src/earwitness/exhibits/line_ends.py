"""What is written at the right of a panel: each line's name, or each level's, at the height where it ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from earwitness.derive.formatting import value_text
from earwitness.exhibits.description import LevelMap, Line, Panel, Role
from earwitness.exhibits.labels import room_for
from earwitness.records.grid import Floats


@dataclass(frozen=True, slots=True)
class LineEnd:
    """One name at a line's end: its text and a shorter one, and where on the y axis the line ends.

    Where not all names fit, those of the highest `rank` are left out first.
    """

    text: str
    short: str
    y: float
    role: Role
    rank: int


def line_ends(panel: Panel) -> tuple[LineEnd, ...]:
    """The names of a panel, in the order of its lines, or the levels of its map from top to bottom."""
    if panel.level_map is not None:
        return _level_ends(panel.level_map)
    low, high = panel.y_axis.minimum, panel.y_axis.maximum
    return tuple(
        LineEnd(
            line.label,
            line.short or line.label,
            float(np.clip(_height(line), low, high)),
            line.role,
            rank,
        )
        for rank, line in enumerate(panel.lines)
        if line.at_end and line.label
    )


def _height(line: Line) -> float:
    """Where its name is wanted on the y axis: where it ends, or at `name_at`."""
    drawn = np.isfinite(line.y)
    if line.name_at is None:
        return float(line.y[drawn][-1])
    return float(line.y[drawn][np.argmin(np.abs(np.log(line.x[drawn] / line.name_at)))])


def that_fit(ends: Sequence[LineEnd], gap: float, height: float) -> tuple[LineEnd, ...]:
    """As many names as have room in `height` at `gap` from each other, those of the lowest rank, in order."""
    kept = sorted(ends, key=lambda end: end.rank)[: room_for(gap, 0.0, height)]
    return tuple(end for end in ends if end in kept)


def _level_ends(level_map: LevelMap) -> tuple[LineEnd, ...]:
    """Where each level is first met going outward from the axis, at the highest valid frequency."""
    column = level_map.z[:, np.flatnonzero(np.isfinite(level_map.z).any(axis=0))[-1]]
    found: list[LineEnd] = []
    for level in level_map.levels:
        text = value_text(level, "dB", 0)
        heavy = level == level_map.heavy
        role = Role.ON_AXIS if heavy else Role.QUIET
        # The heavy line first, then those at whole multiples of it, the rest last.
        rank = 0 if heavy else int(1 + (level % level_map.heavy != 0))
        for side in (1.0, -1.0):
            angle = _first_crossing(level_map.y * side, column, level)
            if angle is not None:
                found.append(LineEnd(text, text, angle * side, role, rank))
    return tuple(sorted(found, key=lambda end: -end.y))


def _first_crossing(outward_deg: Floats, level_db: Floats, wanted_db: float) -> float | None:
    """The first angle from 0 outward at which the level falls to what is wanted, linear between angles."""
    order = np.argsort(outward_deg)
    angle, level = outward_deg[order], level_db[order]
    angle, level = angle[angle >= 0.0], level[angle >= 0.0]
    falls = np.flatnonzero((level[:-1] >= wanted_db) & (level[1:] < wanted_db))
    if falls.size == 0:
        return None
    i = int(falls[0])
    share = (level[i] - wanted_db) / (level[i] - level[i + 1])
    return float(angle[i] + share * (angle[i + 1] - angle[i]))
