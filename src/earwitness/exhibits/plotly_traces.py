"""The traces of an interactive picture, each with the colours it wears in either mode."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from earwitness.exhibits.bands import outlines
from earwitness.exhibits.description import Axis, LevelMap, Line, Panel, Role
from earwitness.exhibits.level_regions import level_lines, regions
from earwitness.exhibits.palette import BAND_OPACITY, STROKES, Tokens, steps, translucent
from earwitness.records.grid import Floats

Json = dict[str, Any]
Paint = Callable[[Tokens], str]

CLEAR: Final = "rgba(0,0,0,0)"
#: Level lines are cut into the areas in the colour of the ground.
HEAVY_PX: Final = 2.6
LIGHT_PX: Final = 0.7


@dataclass(frozen=True)
class Trace:
    """A trace without colours, and what colours its stroke and its area; `curve` where it is a line's own."""

    body: Json
    stroke: Paint
    area: Paint
    line: Line | None = None

    def painted(self, tokens: Tokens) -> Json:
        """The trace in the colours of one mode."""
        stroke = {**self.body["line"], "color": self.stroke(tokens)}
        return {**self.body, "line": stroke, "fillcolor": self.area(tokens)}


def numbers(values: Iterable[float] | Floats, decimals: int) -> list[float | None]:
    """Rounded numbers for JSON, None where there is none."""
    rounded = np.round(np.asarray(values, dtype=np.float64), decimals) + 0.0
    return [float(v) if np.isfinite(v) else None for v in rounded]


def traces(panel: Panel, index: int) -> list[Trace]:
    """All traces of the panel with that index, from back to front: the strongest line comes last."""
    if panel.level_map is not None:
        return _map(panel.level_map, index)
    backwards = panel.lines[::-1]
    digits = drawn_decimals(panel.x_axis, frequency=True), drawn_decimals(panel.y_axis)
    bands = [band for line in backwards if (band := _band(line, index, digits)) is not None]
    return bands + [_line(line, index, digits) for line in backwards]


def drawn_decimals(axis: Axis, *, frequency: bool = False) -> int:
    """Decimals to which values are drawn: one more than is read out, of a frequency one."""
    return 1 if frequency and axis.logarithmic else axis.decimals + 1


def _body(index: int, x: list[float | None], y: list[float | None], line: Json) -> Json:
    number = "" if index == 0 else str(index + 1)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "xaxis": f"x{number}",
        "yaxis": f"y{number}",
        "line": line,
        "hoverinfo": "skip",
        "showlegend": False,
    }


def _line(line: Line, index: int, digits: tuple[int, int]) -> Trace:
    stroke = STROKES[line.role]
    style: Json = {"width": stroke.weight}
    if stroke.dash:
        style["dash"] = ",".join(f"{length:g}px" for length in stroke.dash)
    x, y = (numbers(values, decimals) for values, decimals in zip((line.x, line.y), digits, strict=True))
    body = {**_body(index, x, y, style), "connectgaps": False}
    return Trace(body, _role(line.role), _clear, line)


def _band(line: Line, index: int, digits: tuple[int, int]) -> Trace | None:
    rings = outlines(line)
    if not rings:
        return None
    body = {**_body(index, *_joined(rings, digits), {"width": 0}), "fill": "toself"}
    return Trace(body, _clear, lambda tokens: translucent(tokens.roles[line.role], BAND_OPACITY))


def _map(level_map: LevelMap, index: int) -> list[Trace]:
    areas = regions(level_map)
    made = [
        Trace(
            {**_body(index, *_joined(area.rings), {"width": 0}), "fill": "toself"},
            _clear,
            _step(step, len(areas)),
        )
        for step, area in enumerate(areas)
        if area.rings
    ]
    for level in level_lines(level_map):
        if level.paths:
            body = _body(index, *_joined(level.paths), {"width": HEAVY_PX if level.heavy else LIGHT_PX})
            made.append(Trace(body, _ground, _clear))
    return made


def _joined(
    paths: Sequence[Floats], digits: tuple[int, int] = (1, 2)
) -> tuple[list[float | None], list[float | None]]:
    """Several paths as one, with a gap between each two."""
    x: list[float | None] = []
    y: list[float | None] = []
    for path in paths:
        if x:
            x.append(None)
            y.append(None)
        x += numbers(path[:, 0], digits[0])
        y += numbers(path[:, 1], digits[1])
    return x, y


def _role(role: Role) -> Paint:
    return lambda tokens: tokens.roles[role]


def _step(step: int, count: int) -> Paint:
    return lambda tokens: steps(tokens, count)[step]


def _clear(tokens: Tokens) -> str:  # noqa: ARG001
    return CLEAR


def _ground(tokens: Tokens) -> str:
    return tokens.ground
