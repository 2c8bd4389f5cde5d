"""On axis against the listening window, closer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.exhibits.axes import frequency_axis, hanging
from earwitness.exhibits.correctability import strip, strip_words
from earwitness.exhibits.description import Exhibit, Panel, Role
from earwitness.exhibits.lines import lines
from earwitness.exhibits.wording import axis_span, conditions, read_out
from earwitness.methods.iec_60263 import DB_PER_DECADE
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.sentences import EMPTY, say

#: Least and greatest span of the level axis.
SPAN_DB: Final = (25.0, 30.0)
STRIP_CAPTION: Final = (
    " Below: where an equaliser takes away at least half of what stands out, for every seat (what is alike "
    "all round in both planes) or for one (what is alike within the listening window); blank where next to "
    "nothing stands out."
)
SHOWN: Final[Mapping[CurveName, Role]] = {
    CurveName.ON_AXIS: Role.ON_AXIS,
    CurveName.LISTENING_WINDOW: Role.LISTENING_WINDOW,
}


def on_axis(curves: CurveSet) -> Exhibit | None:
    """On axis and listening window in the uppermost 30 dB, and below them what an equaliser mends.

    None without an on-axis curve.
    """
    if not curves.curves[CurveName.ON_AXIS].available:
        return None
    shown = lines(curves, SHOWN)
    panel = Panel(
        id="levels",
        x_axis=frequency_axis(),
        y_axis=hanging("level", [line.y for line in shown], *SPAN_DB),
        lines=shown,
        db_per_decade=DB_PER_DECADE,
    )
    told = curves.correctability
    mended = None if told is None else strip(told)
    both = len(shown) == len(SHOWN)
    against = "Where the two part, the seats about the axis hear something else than the axis does."
    return Exhibit(
        id="on-axis",
        letter="",
        title="On axis against listening window" if both else "On axis",
        caption=say(
            against if both else "The direct sound straight ahead.",
            EMPTY if mended is None else say(STRIP_CAPTION),
        ),
        conditions=conditions(curves, CurveName.ON_AXIS),
        alt=say(
            "Level over frequency, ",
            axis_span(),
            ". ",
            read_out(curves, [n for n in SHOWN if curves.curves[n].available]),
            ".",
            EMPTY if told is None or mended is None else strip_words(told),
        ),
        panels=(panel,) if mended is None else (panel, mended),
    )
