"""The response set: the sound that goes straight, early and everywhere, and the two directivity indices."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.exhibits.axes import about_zero, frequency_axis, hanging
from earwitness.exhibits.description import Exhibit, Panel, Role
from earwitness.exhibits.lines import lines
from earwitness.exhibits.wording import axis_span, conditions, read_out
from earwitness.methods.iec_60263 import DB_PER_DECADE
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.sentences import say

#: Least and greatest span of the level axis.
SPAN_DB: Final = (40.0, 50.0)
LEVELS: Final[Mapping[CurveName, Role]] = {
    CurveName.ON_AXIS: Role.ON_AXIS,
    CurveName.LISTENING_WINDOW: Role.LISTENING_WINDOW,
    CurveName.EARLY_REFLECTIONS: Role.EARLY_REFLECTIONS,
    CurveName.SOUND_POWER: Role.SOUND_POWER,
}
INDICES: Final[Mapping[CurveName, Role]] = {
    CurveName.EARLY_REFLECTIONS_DI: Role.EARLY_REFLECTIONS,
    CurveName.SOUND_POWER_DI: Role.SOUND_POWER,
}


def response_set(curves: CurveSet) -> Exhibit | None:
    """Four levels of directness above the two indices; None where nothing is valid."""
    levels = lines(curves, LEVELS)
    if not levels:
        return None
    panels = [
        Panel(
            id="levels",
            x_axis=frequency_axis(),
            y_axis=hanging("level", [line.y for line in levels], *SPAN_DB),
            lines=levels,
            db_per_decade=DB_PER_DECADE,
        )
    ]
    indices = lines(curves, INDICES)
    if indices:
        axis = about_zero("directivity index", [line.y for line in indices], least_db=10.0, most_db=20.0)
        panels.append(Panel("indices", frequency_axis(), axis, indices, db_per_decade=DB_PER_DECADE))
    shown = [name for name in LEVELS if curves.curves[name].available]
    return Exhibit(
        id="response-set",
        letter="",
        title="Response set",
        caption=say(
            "The stronger the line, the nearer to the direct sound. "
            "The pale band is one standard uncertainty either way."
        ),
        conditions=conditions(curves, shown[0]),
        alt=say("Level over frequency, ", axis_span(), ". ", read_out(curves, [*shown, *INDICES]), "."),
        panels=tuple(panels),
    )
