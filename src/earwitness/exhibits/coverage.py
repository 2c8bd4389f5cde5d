"""Coverage: level over frequency and angle on one orbit, relative to on axis."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.directivity import MAX_STEP_DEG
from earwitness.derive.formatting import number_text
from earwitness.derive.numerals import quantity
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Axis, Exhibit, LevelMap, Panel
from earwitness.exhibits.wording import axis_span
from earwitness.records.curves import CoverageMap, CurveSet
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, say

LEVELS_DB: Final = (-24.0, -18.0, -12.0, -9.0, -6.0, -3.0)
HEAVY_DB: Final = -6.0
#: A picture needs no more than every fourth point of the grid, 24 to the octave.
STRIDE: Final = 4
ANGLE_STEP_DEG: Final = 45.0
BEHIND_DEG: Final = 180.0
SIDES: Final[Mapping[str, str]] = {
    "horizontal": "Positive angles are to the loudspeaker's left.",
    "vertical": "Positive angles are upward.",
}


def coverage(curves: CurveSet, orbit: str) -> Exhibit | None:
    """The map of one orbit; None where it has fewer than two angles or nothing valid."""
    measured = curves.coverage.get(orbit)
    if measured is None or measured.angle_deg.size < 2 or not measured.valid.any():
        return None
    shown = _map(curves, measured)
    panel = Panel("angles", frequency_axis(), _angle_axis(shown.y), level_map=shown)
    return Exhibit(
        id=f"coverage-{orbit}",
        letter="",
        title=f"{orbit.capitalize()} coverage",
        caption=say(
            "Level relative to the smoothed on-axis response: the stronger the colour, the louder. ",
            "The heavy line is ",
            quantity(HEAVY_DB, "dB", "method:exhibits.coverage/HEAVY_DB", 0),
            f". {SIDES[orbit]}",
        ),
        conditions=say(
            "dB re on axis · blank where it isn't valid",
            say(" · what wasn't measured is the mirror image of the other side")
            if measured.mirrored_deg
            else EMPTY,
        ),
        alt=say(f"Map of level over angle on the {orbit} orbit and frequency, ", axis_span(), "."),
        panels=(panel,),
    )


def _map(curves: CurveSet, measured: CoverageMap) -> LevelMap:
    level = np.where(measured.valid, measured.relative_db, np.nan)
    angle_deg, level = _gaps_open(*_whole_turn(measured.angle_deg, level))
    last = curves.frequency_hz.size - 1
    kept = np.unique(np.r_[: last + 1 : STRIDE, last])
    return LevelMap(
        curve=f"coverage_{measured.orbit}",
        x=curves.frequency_hz[kept],
        y=angle_deg,
        z=level[:, kept],
        levels=LEVELS_DB,
        heavy=HEAVY_DB,
    )


def _whole_turn(angle_deg: Floats, level_db: Floats) -> tuple[Floats, Floats]:
    """Behind is at both ends of a map: what was measured at 180° is shown at −180° too."""
    if angle_deg[-1] != BEHIND_DEG or angle_deg[0] == -BEHIND_DEG:
        return angle_deg, level_db
    return np.r_[-BEHIND_DEG, angle_deg], np.vstack((level_db[-1:], level_db))


def _gaps_open(angle_deg: Floats, level_db: Floats) -> tuple[Floats, Floats]:
    """Blank rows in the middle of every step that is too wide to be drawn across."""
    after = np.flatnonzero(np.diff(angle_deg) > MAX_STEP_DEG)
    middles = (angle_deg[after] + angle_deg[after + 1]) / 2.0
    return np.insert(angle_deg, after + 1, middles), np.insert(level_db, after + 1, np.nan, axis=0)


def _angle_axis(angle_deg: Floats) -> Axis:
    low, high = float(angle_deg[0]), float(angle_deg[-1])
    first = np.ceil(low / ANGLE_STEP_DEG) * ANGLE_STEP_DEG
    values = np.arange(first, high + 1e-9, ANGLE_STEP_DEG)
    ticks = tuple((float(v), f"{number_text(v, 0, signed=True)}°") for v in values)
    return Axis("angle", "°", low, high, ticks)
