"""Where the panels of a picture stand: the width decides everything else.

A panel of levels is as high as its decibels ask for: `db_per_decade` of them to the length of one decade
(IEC 60263).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.exhibits.description import Exhibit, Panel

#: A map's height for a width of one; it has no decibels on its axes, so no proportion to keep.
MAP_HEIGHT: Final = 0.55


@dataclass(frozen=True, slots=True)
class Margins:
    """Space round the panels, and between two of them, in any one unit."""

    left: float
    right: float
    top: float
    bottom: float
    gap: float


@dataclass(frozen=True, slots=True)
class Box:
    """A panel's axes, from the picture's upper left corner, in the margins' unit."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Frame:
    """A whole picture: its size, and one box a panel from top to bottom."""

    width: float
    height: float
    boxes: tuple[Box, ...]


def height_per_width(panel: Panel) -> float:
    """How high a panel is for a width of one."""
    if panel.db_per_decade is None:
        return MAP_HEIGHT if panel.height_per_width is None else panel.height_per_width
    decades = float(np.log10(panel.x_axis.maximum / panel.x_axis.minimum))
    return (panel.y_axis.maximum - panel.y_axis.minimum) / (panel.db_per_decade * decades)


def frame(exhibit: Exhibit, width: float, margins: Margins) -> Frame:
    """The frame of a picture of a given outer width."""
    inner = width - margins.left - margins.right
    boxes: list[Box] = []
    top = margins.top
    for panel in exhibit.panels:
        boxes.append(Box(margins.left, top, inner, inner * height_per_width(panel)))
        top += boxes[-1].height + margins.gap
    return Frame(width, top - margins.gap + margins.bottom, tuple(boxes))


def height_of(panel: Panel, box: Box, value: float) -> float:
    """How far below the picture's upper edge a value of the panel's y axis stands."""
    axis = panel.y_axis
    places = np.array((value, axis.minimum, axis.maximum))
    value, low, high = (float(v) for v in (np.log10(places) if axis.logarithmic else places))
    return box.top + box.height * (high - value) / (high - low)
