"""Decay on axis: tone bursts over cycles, and what is left of the response over time."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.bursts import BURST_FALL_CYCLES
from earwitness.derive.numerals import frequency, quantity
from earwitness.derive.time_terms import FALL_DB, RISE_S
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Exhibit, LevelMap, Panel
from earwitness.exhibits.time_axes import linear_axis, milliseconds
from earwitness.exhibits.time_delays import source_bands
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.sentences import Sentence, say
from earwitness.records.time import BurstDecay, CumulativeDecay, TimeBehaviour

LEVELS_DB: Final = (-30.0, -25.0, -20.0, -15.0, -10.0, -5.0)
HEIGHTS: Final = (0.38, 0.3)
#: A picture of bursts needs no more than every second step.
CYCLES_STRIDE: Final = 2
READ_OUT_HZ: Final = (100.0, 1_000.0, 2_000.0, 5_000.0, 10_000.0)


def decay(curves: CurveSet) -> Exhibit | None:
    """Two maps over frequency; None where neither has anything to show."""
    time = curves.time
    if time is None:
        return None
    panels = []
    if time.bursts is not None and np.isfinite(time.bursts.envelope_db).any():
        panels.append(_bursts(time.bursts))
    if time.cumulative is not None and np.isfinite(time.cumulative.level_db).any():
        panels.append(_cumulative(time.cumulative))
    if not panels:
        return None
    return Exhibit(
        id="decay",
        letter="",
        title="Decay",
        caption=_caption(),
        conditions=_conditions(time),
        alt=say("Maps of level over time and frequency, ", axis_span(), ". ", _read_out(time.bursts)),
        panels=tuple(panels),
    )


def _bursts(bursts: BurstDecay) -> Panel:
    kept = slice(None, None, CYCLES_STRIDE)
    shown = LevelMap(
        curve="burst_decay",
        x=bursts.frequency_hz,
        y=bursts.cycles[kept],
        z=bursts.envelope_db.T[kept],
        levels=LEVELS_DB,
        heavy=FALL_DB,
    )
    axis = linear_axis("short tones after their peak", "cycles", 0.0, float(bursts.cycles[-1]), 5)
    return Panel("bursts", frequency_axis(), axis, level_map=shown, height_per_width=HEIGHTS[0])


def _cumulative(cumulative: CumulativeDecay) -> Panel:
    shown = LevelMap(
        curve="cumulative_decay",
        x=cumulative.frequency_hz,
        y=1e3 * cumulative.time_s,
        z=cumulative.level_db,
        levels=LEVELS_DB,
        heavy=FALL_DB,
    )
    axis = linear_axis("what is left of a click", "ms", 0.0, 1e3 * float(cumulative.time_s[-1]), 5)
    return Panel("cumulative", frequency_axis(), axis, level_map=shown, height_per_width=HEIGHTS[1])


def _caption() -> Sentence:
    fall = quantity(FALL_DB, "dB", "method:derive.time_terms/FALL_DB", 0)
    return say(
        "How sound dies away on axis. Above, a short tone over cycles of its own frequency: one that nothing "
        "prolongs is down to ",
        fall,
        ", the heavy line, after ",
        quantity(BURST_FALL_CYCLES, "cycles", "method:acoustics.bursts/BURST_FALL_CYCLES", 1),
        ". Below, what is left of a click after a moment. It is blank where the measurement can't tell.",
    )


def _conditions(time: TimeBehaviour) -> Sentence:
    return say(
        "dB re the peak of each tone, re the whole click",
        source_bands(time),
        " · the gate begins to close at ",
        milliseconds(time.closes_s, "time:closes_s"),
        " · window rises over ",
        milliseconds(RISE_S, "method:derive.time_terms/RISE_S"),
    )


def _read_out(bursts: BurstDecay | None) -> Sentence:
    if bursts is None:
        return say()
    told = []
    for i, hertz in enumerate(READ_OUT_HZ):
        cycles = float(bursts.fall_cycles[int(np.argmin(np.abs(bursts.frequency_hz - hertz)))])
        if np.isfinite(cycles) and bursts.frequency_hz[0] <= hertz <= bursts.frequency_hz[-1]:
            said = quantity(cycles, "cycles", f"time:bursts/fall_cycles/at/{hertz:g}")
            told.append(say(said, " at ", frequency(hertz, f"method:exhibits.time_decay/READ_OUT_HZ/{i}")))
    if not told:
        return say("No tone can be followed down to the heavy line.")
    return say("A short tone is down to the heavy line after ", joined(told, ", "), ".")
