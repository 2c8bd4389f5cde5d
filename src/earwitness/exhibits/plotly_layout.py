"""The layout of an interactive picture: axes and type, with colours apart so that they can be changed."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from earwitness.exhibits.description import Axis, Exhibit
from earwitness.exhibits.geometry import Frame
from earwitness.exhibits.palette import Tokens
from earwitness.exhibits.typefaces import SANS_STACK

Json = dict[str, Any]

TICK_PX: Final = 11
TICK_GAP_PX: Final = 4
CLEAR: Final = "rgba(0,0,0,0)"


def layout(exhibit: Exhibit, placed: Frame, tokens: Tokens) -> Json:
    """The layout in one mode's colours, for a frame in CSS pixels."""
    first = placed.boxes[0]
    last = placed.boxes[-1]
    made: Json = {
        "width": placed.width,
        "height": placed.height,
        "margin": {
            "l": first.left,
            "r": placed.width - first.left - first.width,
            "t": first.top,
            "b": placed.height - last.top - last.height,
            "pad": 0,
            "autoexpand": False,
        },
        "font": {"family": SANS_STACK, "size": TICK_PX},
        "paper_bgcolor": CLEAR,
        "plot_bgcolor": CLEAR,
        "showlegend": False,
        "hovermode": False,
        "dragmode": False,
        "annotations": [],
    }
    inner = last.top + last.height - first.top
    for i, (panel, box) in enumerate(zip(exhibit.panels, placed.boxes, strict=True)):
        number = "" if i == 0 else str(i + 1)
        bottom = 1.0 - (box.top + box.height - first.top) / inner
        made[f"xaxis{number}"] = {
            **_axis(panel.x_axis),
            "anchor": f"y{number}",
            "showticklabels": i == len(placed.boxes) - 1,
        }
        made[f"yaxis{number}"] = {
            **_axis(panel.y_axis),
            "anchor": f"x{number}",
            "domain": [bottom, bottom + box.height / inner],
        }
    for path, colour in layout_colours(exhibit, tokens).items():
        _set(made, path, colour)
    return made


def layout_colours(exhibit: Exhibit, tokens: Tokens) -> dict[str, str]:
    """The colours of a layout, by their path in it."""
    colours = {"font.color": tokens.quiet}
    for i in range(len(exhibit.panels)):
        for letter in "xy":
            axis = f"{letter}axis{'' if i == 0 else i + 1}"
            colours[f"{axis}.gridcolor"] = tokens.grid
            colours[f"{axis}.linecolor"] = tokens.rule
            colours[f"{axis}.zerolinecolor"] = tokens.rule
    return colours


def _axis(axis: Axis) -> Json:
    limits = np.array((axis.minimum, axis.maximum))
    return {
        "type": "log" if axis.logarithmic else "linear",
        "range": [float(v) for v in (np.log10(limits) if axis.logarithmic else limits)],
        "autorange": False,
        "fixedrange": True,
        "tickmode": "array",
        "tickvals": [value for value, _ in axis.ticks],
        "ticktext": [text for _, text in axis.ticks],
        "tickfont": {"size": TICK_PX},
        "ticklabelstandoff": TICK_GAP_PX,
        "showgrid": True,
        "gridwidth": 1,
        "showline": False,
        "zeroline": not axis.logarithmic and axis.minimum < 0.0 < axis.maximum,
        "zerolinewidth": 1.5,
        "ticks": "",
    }


def _set(target: Json, path: str, value: str) -> None:
    *parents, leaf = path.split(".")
    for parent in parents:
        target = target[parent]
    target[leaf] = value
