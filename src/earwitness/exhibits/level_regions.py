"""The areas and lines of equal level of a map, as plain paths: both renderers draw these same ones.

Interpolation is linear over angle and over the logarithm of frequency; nothing is drawn next to a value that
isn't valid.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import contourpy
import numpy as np
import numpy.typing as npt

from earwitness.exhibits.description import LevelMap
from earwitness.records.grid import Floats

#: Far below any level: its area is all that is valid.
EVERYTHING_DB = -1e3


@dataclass(frozen=True)
class Region:
    """Where the level is at least `at_least_db` (None: wherever it is valid).

    Each ring has shape (N, 2): frequency in Hz and angle in degrees, closed. Outer rings and holes turn in
    opposite directions, so that the non-zero fill rule leaves the holes open.
    """

    at_least_db: float | None
    rings: tuple[Floats, ...]


@dataclass(frozen=True)
class LevelLine:
    """The paths along which the level is `level_db`, each of shape (N, 2): Hz and degrees."""

    level_db: float
    heavy: bool
    paths: tuple[Floats, ...]


def regions(level_map: LevelMap) -> tuple[Region, ...]:
    """From the whole valid area up to the highest level: each is painted over the one before it."""
    generator = _generator(level_map)
    thresholds = (None, *level_map.levels)
    return tuple(Region(at_least, _rings(generator, at_least)) for at_least in thresholds)


def level_lines(level_map: LevelMap) -> tuple[LevelLine, ...]:
    """The lines of every level of the map, ascending; without paths where a level isn't reached."""
    generator = _generator(level_map)
    return tuple(
        LevelLine(level, level == level_map.heavy, tuple(map(_hertz, _paths(generator, level))))
        for level in level_map.levels
    )


def _generator(level_map: LevelMap) -> contourpy.ContourGenerator:
    return contourpy.contour_generator(
        np.log10(level_map.x),
        level_map.y,
        np.ma.masked_invalid(level_map.z),
        name="serial",
        fill_type=contourpy.FillType.OuterOffset,
        line_type=contourpy.LineType.Separate,
    )


def _paths(generator: contourpy.ContourGenerator, level: float) -> list[Floats]:
    return cast(list[Floats], generator.lines(level))


def _rings(generator: contourpy.ContourGenerator, at_least: float | None) -> tuple[Floats, ...]:
    lowest = EVERYTHING_DB if at_least is None else at_least
    outlines = generator.filled(lowest, -EVERYTHING_DB)
    points, offsets = cast(tuple[list[Floats], list[npt.NDArray[np.uint32]]], outlines)
    return tuple(
        _hertz(polygon[start:end])
        for polygon, starts in zip(points, offsets, strict=True)
        for start, end in pairwise(starts)
    )


def _hertz(path: Floats) -> Floats:
    return np.column_stack((10.0 ** path[:, 0], path[:, 1]))
