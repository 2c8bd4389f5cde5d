"""The interactive picture: a JSON-ready description for the page's script, made without the plotting library.

`exhibit.js` draws it. What the script needs beside traces and layout, it gets as data: the colours of both
modes (`dress`), the proportions that hold at any width (`proportion`), and the names at line ends (`panels`).
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Final

from earwitness.exhibits.description import Exhibit, LevelMap, Panel
from earwitness.exhibits.geometry import Margins, frame, height_per_width
from earwitness.exhibits.line_ends import line_ends
from earwitness.exhibits.palette import MARK_OPACITY, TOKENS, Mode, translucent
from earwitness.exhibits.plotly_layout import layout, layout_colours
from earwitness.exhibits.plotly_traces import Json, Trace, drawn_decimals, numbers, traces

SCRIPT: Final = Path(__file__).parent / "static" / "exhibit.js"

#: In CSS pixels. Below `NARROW` the shorter names and the narrower right margin are used.
MARGINS: Final = Margins(left=34.0, right=118.0, top=28.0, bottom=30.0, gap=36.0)
NARROW_RIGHT: Final = 58.0
NARROW: Final = 520.0
FIRST_WIDTH: Final = 640.0
LABEL_GAP_PX: Final = 17.0


def interactive(exhibit: Exhibit) -> Json:
    """Everything that `Earwitness.draw` needs for one exhibit, as plain JSON values (no NaN).

    Keys: `data` and `layout` as the plotting library takes them, in light colours and at a first width;
    `dress`, the colours by mode; `proportion`, how height follows from width; `panels` with axes, lines and
    names; `title` and `alt`, plain text.
    """
    drawn = [trace for i, panel in enumerate(exhibit.panels) for trace in traces(panel, i)]
    light = TOKENS[Mode.LIGHT]
    return {
        "id": exhibit.id,
        "title": exhibit.title,
        "alt": str(exhibit.alt),
        "data": [trace.painted(light) for trace in drawn],
        "layout": layout(exhibit, frame(exhibit, FIRST_WIDTH, MARGINS), light),
        "dress": {mode.value: _dress(exhibit, mode, drawn) for mode in Mode},
        "proportion": {
            "left": MARGINS.left,
            "right": MARGINS.right,
            "top": MARGINS.top,
            "bottom": MARGINS.bottom,
            "gap": MARGINS.gap,
            "narrow_right": NARROW_RIGHT,
            "narrow_below": NARROW,
            "label_gap": LABEL_GAP_PX,
            "heights_per_width": [height_per_width(panel) for panel in exhibit.panels],
        },
        "panels": [_panel(panel, drawn) for panel in exhibit.panels],
    }


def _dress(exhibit: Exhibit, mode: Mode, drawn: list[Trace]) -> Json:
    """The colours of one mode: patches for traces and layout, and those that the script itself uses."""
    tokens = TOKENS[mode]
    return {
        "traces": {
            "line.color": [trace.stroke(tokens) for trace in drawn],
            "fillcolor": [trace.area(tokens) for trace in drawn],
        },
        "layout": layout_colours(exhibit, tokens),
        "roles": {role.value: colour for role, colour in tokens.roles.items()},
        "text": tokens.text,
        "quiet": tokens.quiet,
        "rule": tokens.rule,
        "raised": tokens.raised,
        "accent": tokens.accent,
        "mark": translucent(tokens.accent, MARK_OPACITY),
    }


def _panel(panel: Panel, drawn: list[Trace]) -> Json:
    indices = {id(trace.line): i for i, trace in enumerate(drawn) if trace.line is not None}
    return {
        "id": panel.id,
        "heading": escape(panel.y_axis.heading),
        "x": [panel.x_axis.minimum, panel.x_axis.maximum],
        "x_unit": panel.x_axis.unit,
        "logarithmic": panel.x_axis.logarithmic,
        "x_decimals": panel.x_axis.decimals,
        "y": [panel.y_axis.minimum, panel.y_axis.maximum],
        "y_unit": panel.y_axis.unit,
        "y_logarithmic": panel.y_axis.logarithmic,
        "y_decimals": panel.y_axis.decimals,
        "lines": [
            {
                "curve": line.curve,
                "label": line.label,
                "short": line.short or line.label,
                "role": line.role.value,
                "trace": indices[id(line)],
                "uncertainty": None
                if line.uncertainty is None
                else numbers(line.uncertainty, drawn_decimals(panel.y_axis)),
                "reads": None if line.reads is None else numbers(line.reads, drawn_decimals(panel.y_axis)),
            }
            for line in panel.lines
        ],
        "map": None if panel.level_map is None else _readable(panel.level_map),
        "ends": [
            {
                "text": escape(end.text),
                "short": escape(end.short),
                "y": round(end.y, 3),
                "role": end.role.value,
                "rank": end.rank,
            }
            for end in line_ends(panel)
        ],
    }


def _readable(level_map: LevelMap) -> Json:
    return {
        "curve": level_map.curve,
        "x": numbers(level_map.x, 1),
        "y": numbers(level_map.y, 2),
        "z": [numbers(row, 1) for row in level_map.z],
    }
