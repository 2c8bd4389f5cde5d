"""Clean output: how loud each third octave plays before distortion or a change of level passes its limit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.clean_limits import CLEAN_CHANGE_DB, CLEAN_DISTORTION
from earwitness.derive.formatting import value_text
from earwitness.derive.numerals import frequency, hours_a_day, quantity
from earwitness.derive.wording import module_number
from earwitness.exhibits.axes import frequency_axis, hanging
from earwitness.exhibits.by_drive import percent
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.wording import axis_span, joined, proportion
from earwitness.methods.iec_60263 import DB_PER_DECADE
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import ChangeWithLevel, Told
from earwitness.records.grid import Floats
from earwitness.records.sentences import Sentence, Term, say

CURVE: Final = "clean_output"
#: Least and greatest span of the axis, dB.
SPAN_DB: Final = (30.0, 60.0)
#: A stroke reaches so far to either side of its band's middle, octaves.
HALF_OCTAVES: Final = 0.14
#: Signs: how far from their stroke and how high, dB, and how far they reach to either side, octaves.
STAND_OFF_DB: Final = 0.7
SIGN_DB: Final = 1.1
SIGN_OCTAVES: Final = 0.09
ROLES: Final[Mapping[Told, Role]] = {
    Told.DISTORTION: Role.ON_AXIS,
    Told.CHANGE: Role.EARLY_REFLECTIONS,
    Told.AT_LEAST: Role.LISTENING_WINDOW,
    Told.LESS_THAN: Role.SOUND_POWER,
}
LABELS: Final[Mapping[Told, tuple[str, str]]] = {
    Told.DISTORTION: ("distortion first", "dist."),
    Told.CHANGE: ("change first", "change"),
    Told.AT_LEAST: ("at least", "at least"),
    Told.LESS_THAN: ("less than", "less"),
}
#: The words of each kind in the read-out.
WORDS: Final[Mapping[Told, str]] = {
    Told.DISTORTION: "",
    Told.CHANGE: "",
    Told.AT_LEAST: "at least ",
    Told.LESS_THAN: "less than ",
}
#: Every so many bands are read out.
READ_EVERY: Final = 3


def clean_output(curves: CurveSet) -> Exhibit | None:
    """A stroke for each third octave, its form by what is known; None where no band is."""
    level = curves.level
    if level is None or not (level.told != Told.UNKNOWN).any():
        return None
    lines = tuple(line for kind in ROLES if (level.told == kind).any() for line in _strokes(level, kind))
    axis = hanging("clean output at 1 m", [line.y for line in lines], *SPAN_DB)
    return Exhibit(
        id="clean-output",
        letter="",
        title="Clean output",
        caption=say(
            "The level of each third octave at which the first of two limits is passed: plain, distortion; "
            "with ends, the change of level. Tip up: at least so loud, since neither was passed as far as "
            "noise lets it be told. Tip down: less, since one was passed at the lowest drive that tells. ",
            _exposure(level),
        ),
        conditions=say(
            Term("dB re 20 µPa at 1 m"),
            " · distortion up to ",
            percent(CLEAN_DISTORTION, "method:derive.clean_limits/CLEAN_DISTORTION"),
            ", level changed by up to ",
            module_number(
                value_text(CLEAN_CHANGE_DB, "dB", 0), CLEAN_CHANGE_DB, "derive.clean_limits/CLEAN_CHANGE_DB"
            ),
            " · ",
            proportion(),
        ),
        alt=say("Clean output by third octave, ", axis_span(), ": ", _read_out(level), "."),
        panels=(Panel("output", frequency_axis(), axis, lines, db_per_decade=DB_PER_DECADE),),
    )


def _exposure(level: ChangeWithLevel) -> Sentence:
    loudest = int(np.argmax(level.arrived_db))
    return say(
        "The highest drive played ",
        quantity(float(level.arrived_db[loudest]), "dB", f"level:arrived_db/{loudest}", 0),
        " at one metre; taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(level.hours, "level:hours"),
        " there without protection. Leave the room or wear it; local law and qualified advice come first.",
    )


def _strokes(level: ChangeWithLevel, kind: Told) -> list[Line]:
    """The strokes of one kind, and their signs."""
    chosen = np.flatnonzero(level.told == kind)
    middle, output = level.band_hz[chosen], level.output_db[chosen]
    reach = np.array([-HALF_OCTAVES, 0.0, HALF_OCTAVES, 1.05 * HALF_OCTAVES])
    x, y = _polyline(middle, output, reach, np.array([0.0, 0.0, 0.0, np.nan]))
    role = ROLES[kind]
    long, short = LABELS[kind]
    lines = [Line(CURVE, long, role, x, y, short=short)]
    sign = _sign(kind)
    if sign is not None:
        x, y = _polyline(middle, output, *sign)
        lines.append(Line(f"{CURVE}_sign", "", role, x, y, at_end=False))
    return lines


def _sign(kind: Told) -> tuple[Floats, Floats] | None:
    """Octaves and decibels of a sign about its band's middle, in the order of frequency."""
    near, far = STAND_OFF_DB, STAND_OFF_DB + SIGN_DB
    tip = np.array([-SIGN_OCTAVES, 0.0, SIGN_OCTAVES, 1.05 * SIGN_OCTAVES])
    if kind is Told.AT_LEAST:
        return tip, np.array([near, far, near, np.nan])
    if kind is Told.LESS_THAN:
        return tip, np.array([-near, -far, -near, np.nan])
    if kind is Told.CHANGE:
        ends = HALF_OCTAVES * np.array([-1.0, -1.0, 0.0, 1.0, 1.0, 1.05])
        return ends, 0.5 * SIGN_DB * np.array([-1.0, 1.0, np.nan, -1.0, 1.0, np.nan])
    return None


def _polyline(
    middle_hz: Floats, level_db: Floats, octaves: Floats, decibels: Floats
) -> tuple[Floats, Floats]:
    """One shape repeated at each band, as x and y of a line with gaps."""
    x = middle_hz[:, None] * 2.0**octaves
    return x.ravel(), (level_db[:, None] + decibels).ravel()


def _read_out(level: ChangeWithLevel) -> Sentence:
    told = [
        say(
            WORDS[Told(int(level.told[band]))],
            quantity(float(level.output_db[band]), "dB", f"level:output_db/{band}", 0),
            " at ",
            frequency(float(level.band_hz[band]), f"level:band_hz/{band}"),
        )
        for band in np.flatnonzero(level.told != Told.UNKNOWN)[::READ_EVERY]
    ]
    return joined(told, ", ")
