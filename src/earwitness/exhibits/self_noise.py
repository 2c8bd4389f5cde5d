"""Self-noise: third octaves of a loudspeaker that plays nothing, over the room without it."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.exhibits.axes import frequency_axis, hanging
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.long_term import SelfNoise
from earwitness.records.sentences import EMPTY, Sentence, Term, say

HEIGHT: Final = 0.36
CURVE: Final = "self_noise"
#: Least and greatest span of the axis, dB.
SPAN_DB: Final = (30.0, 60.0)
#: Third octaves that are read out, by their place from the first one: every octave.
READ_EVERY: Final = 3


def self_noise(curves: CurveSet) -> Exhibit | None:
    """Loudspeaker and room together above the room alone; None without a recording."""
    found = curves.long_term.self_noise
    if found is None:
        return None
    hertz = np.array(found.third_octaves_hz)
    lines = [Line(CURVE, "on", Role.ON_AXIS, hertz, np.array(found.third_octaves_db))]
    if found.room_third_octaves_db:
        lines.append(Line("room_noise", "off", Role.QUIET, hertz, np.array(found.room_third_octaves_db)))
    axis = hanging("level in third octaves", [line.y for line in lines], *SPAN_DB)
    return Exhibit(
        id="self-noise",
        letter="",
        title="Self-noise",
        caption=say(
            "The loudspeaker is on and plays nothing. Where the room with the loudspeaker off is as loud, "
            "what it adds is hidden."
            if found.room_third_octaves_db
            else "The loudspeaker is on and plays nothing. The room alone wasn't recorded, so that all of it "
            "may be the room's."
        ),
        conditions=_conditions(found),
        alt=say("Noise in third octaves, ", axis_span(), ". ", _read_out(found)),
        panels=(Panel("self-noise", frequency_axis(), axis, tuple(lines), height_per_width=HEIGHT),),
    )


def _conditions(found: SelfNoise) -> Sentence:
    parts = [
        say(Term("dB re 20 µPa")),
        say("at ", quantity(found.distance_m, "m", "long_term:self_noise/distance_m")),
    ]
    return joined(parts, " · ")


def _read_out(found: SelfNoise) -> Sentence:
    level = quantity(found.level_dba, "dB", "long_term:self_noise/level_dba")
    said = say("A-weighted " + ("at most " if found.is_bound else ""), level, ". ")
    if found.room_dba is not None:
        said += say("The room alone: ", quantity(found.room_dba, "dB", "long_term:self_noise/room_dba"), ". ")
    told = [
        say(
            quantity(found.third_octaves_db[i], "dB", f"long_term:self_noise/third_octaves_db/{i}"),
            " at ",
            frequency(found.third_octaves_hz[i], f"long_term:self_noise/third_octaves_hz/{i}"),
        )
        for i in range(0, len(found.third_octaves_hz), READ_EVERY)
    ]
    return said + (joined(told, ", ") + say(".") if told else EMPTY)
