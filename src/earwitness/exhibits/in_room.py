"""The estimated in-room response, its trend, and what is left when the trend is taken away."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.exhibits.axes import about_zero, frequency_axis, hanging
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.lines import line
from earwitness.exhibits.wording import axis_span, conditions, read_out
from earwitness.methods.iec_60263 import DB_PER_DECADE
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.grid import Floats
from earwitness.records.sentences import Sentence, say

#: Least and greatest span of the level axis.
SPAN_DB: Final = (30.0, 40.0)
NAME: Final = CurveName.ESTIMATED_IN_ROOM


def in_room(curves: CurveSet) -> Exhibit | None:
    """The estimate with its trend, above the residual where there is a trend; None where nothing is valid."""
    if not curves.curves[NAME].available:
        return None
    estimate = line(curves.frequency_hz, curves.curves[NAME], Role.IN_ROOM)
    trend = _line(curves, curves.in_room_trend_db, "trend", "trend", Role.TREND)
    residual = _line(curves, curves.in_room_residual_db, "residual", "residual", Role.IN_ROOM)
    shown = (estimate,) if trend is None else (estimate, trend)
    levels = Panel(
        id="levels",
        x_axis=frequency_axis(),
        y_axis=hanging("level", [item.y for item in shown], *SPAN_DB),
        lines=shown,
        db_per_decade=DB_PER_DECADE,
    )
    panels = [levels]
    if residual is not None:
        axis = about_zero("level less trend", [residual.y], least_db=5.0, most_db=15.0)
        panels.append(Panel("residual", frequency_axis(), axis, (residual,), db_per_decade=DB_PER_DECADE))
    return Exhibit(
        id="in-room",
        letter="",
        title="Estimated in-room response",
        caption=_caption(with_trend=trend is not None),
        conditions=conditions(curves, NAME),
        alt=say("Level over frequency, ", axis_span(), ". ", read_out(curves, [NAME]), "."),
        panels=tuple(panels),
    )


def _caption(*, with_trend: bool) -> Sentence:
    room = "What an ordinary room is likely to make of it."
    rest = " The straight line is its trend; below stands what is left without it." if with_trend else ""
    return say(room + rest)


def _line(curves: CurveSet, level_db: Floats | None, label: str, short: str, role: Role) -> Line | None:
    if level_db is None or not np.isfinite(level_db).any():
        return None
    return Line(NAME.value, label, role, curves.frequency_hz, level_db, short=short)
