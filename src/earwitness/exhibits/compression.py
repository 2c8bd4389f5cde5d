"""Compression: how much less, or more, the fundamental rises than the drive."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.formatting import number_text
from earwitness.derive.numerals import frequency
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.by_drive import called, drawn_rows, name, nearest, roles, thinned
from earwitness.exhibits.description import Exhibit, Line, Panel
from earwitness.exhibits.time_axes import linear_axis
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say

HEIGHT: Final = 0.42
#: Lines are named at the height that they have where, in this band, the highest drive changes most.
CHANGE_BAND_HZ: Final = (50.0, 8_000.0)
CURVE: Final = "change"
#: The axis holds at least these, and reaches no farther than those, dB.
LEAST_DB: Final = (-1.5, 0.5)
MOST_DB: Final = (-12.0, 6.0)
READ_OUT_HZ: Final = (50.0, 100.0, 200.0, 500.0, 1_000.0, 5_000.0)


def compression(curves: CurveSet) -> Exhibit | None:
    """The change of the fundamental at each drive against the lowest; None where it isn't valid anywhere."""
    level = curves.level
    if level is None or not np.isfinite(level.change_db[1:]).any():
        return None
    rows = drawn_rows(level, 1)
    hertz = thinned(curves.frequency_hz)
    inside = (hertz >= CHANGE_BAND_HZ[0]) & (hertz <= CHANGE_BAND_HZ[1])
    most = np.where(inside, np.abs(np.nan_to_num(thinned(level.change_db[rows[-1]]))), -1.0)
    name_at = float(hertz[np.argmax(most)])
    lines = tuple(
        Line(CURVE, name(level, row), role, hertz, thinned(level.change_db[row]), name_at=name_at)
        for row, role in reversed(list(zip(rows, roles(len(rows)), strict=True)))
        if np.isfinite(level.change_db[row]).any()
    )
    low, high = _ends(np.stack([line.y for line in lines]))
    axis = linear_axis("change of level", "dB", low, high, 8)
    return Exhibit(
        id="compression",
        letter="",
        title="Change of level with the drive",
        caption=say(
            "How much more (above zero) or less (below zero) it plays than its drive would have it, against "
            "the lowest drive. Sweeps are short: what heats up over minutes isn't in it."
        ),
        conditions=say(
            "on axis, the fundamental · lowest drive ",
            called(level, 0),
            " · levels: mean at ",
            Term("1 m"),
            " from ",
            Term("300 Hz"),
            " to ",
            Term("3 kHz"),
            " · ",
            Term("1/6 octave"),
            " means",
        ),
        alt=say("Change of level over frequency, ", axis_span(), ". ", _read_out(curves, level, rows)),
        panels=(Panel("change", frequency_axis(), axis, lines, height_per_width=HEIGHT),),
    )


def _ends(values: Floats) -> tuple[float, float]:
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    return max(MOST_DB[0], min(LEAST_DB[0], 1.05 * low)), min(MOST_DB[1], max(LEAST_DB[1], 1.05 * high))


def _read_out(curves: CurveSet, level: ChangeWithLevel, rows: tuple[int, ...]) -> Sentence:
    told = []
    for row in (rows[-1], *rows[-2:-1]):
        said = [one for i in range(len(READ_OUT_HZ)) if (one := _at(curves, level, row, i)).parts]
        if said:
            told.append(say("At ", called(level, row), ": ", joined(said, ", "), "."))
    return joined(told, " ")


def _at(curves: CurveSet, level: ChangeWithLevel, row: int, index: int) -> Sentence:
    hertz = READ_OUT_HZ[index]
    value = float(level.change_db[row, nearest(curves.frequency_hz, hertz)])
    if not np.isfinite(value):
        return EMPTY
    return say(
        Number(f"{number_text(value, 1, signed=True)} dB", value, f"level:change_db/{row}/at/{hertz:g}"),
        " at ",
        frequency(hertz, f"method:exhibits.compression/READ_OUT_HZ/{index}"),
    )
