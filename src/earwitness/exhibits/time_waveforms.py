"""In time: impulse, step, and how the energy of a click dies away, on axis."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.exhibits.description import Axis, Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import linear_axis, milliseconds
from earwitness.exhibits.wording import joined
from earwitness.records.curves import CurveSet
from earwitness.records.grid import Floats
from earwitness.records.sentences import Sentence, say
from earwitness.records.time import Waveforms

#: Height of each panel for a width of one: two waveforms, and the level below them.
WAVE_HEIGHT: Final = 0.2
ENERGY_HEIGHT: Final = 0.26
ENERGY_SPAN_DB: Final = 50.0
#: Where the energy is read out, s after the arrival.
READ_OUT_S: Final = (0.0005, 0.001, 0.002, 0.004)


def waveforms(curves: CurveSet) -> Exhibit | None:
    """Three panels over one axis of time, which ends where the gate begins to close; None without them."""
    if curves.time is None or curves.time.waveforms is None:
        return None
    shown = curves.time.waveforms
    time_ms = 1e3 * shown.time_s
    axis = linear_axis("time", "ms", float(time_ms[0]), 1e3 * curves.time.closes_s)

    def panel(line: Line, y_axis: Axis, height: float) -> Panel:
        return Panel(line.curve, axis, y_axis, (line,), height_per_width=height)

    impulse, step, energy, click = (
        Line(name, label, role, time_ms, values, short=short)
        for name, label, short, role, values in (
            ("impulse", "impulse", "", Role.ON_AXIS, shown.impulse),
            ("step", "step", "", Role.ON_AXIS, shown.step),
            ("energy_time", "energy", "", Role.ON_AXIS, _above_floor(shown.energy_db)),
            ("band_click", "band alone", "band", Role.QUIET, _above_floor(shown.click_db)),
        )
    )
    energy_axis = linear_axis("energy", "dB", -ENERGY_SPAN_DB, 0.0, 5)
    return Exhibit(
        id="waveforms",
        letter="",
        title="In time",
        caption=say(
            "What a click becomes on axis, what a pressure that is switched on becomes (the step), and how ",
            "far the energy of the click has fallen. The thin line is what the band makes of a perfect one. ",
            "Zero is the sound's arrival.",
        ),
        conditions=_conditions(curves, shown),
        alt=say("Impulse, step and energy over time. ", _read_out(shown)),
        panels=(
            panel(impulse, _wave_axis("impulse", shown.impulse), WAVE_HEIGHT),
            panel(step, _wave_axis("step", shown.step), WAVE_HEIGHT),
            Panel("energy_time", axis, energy_axis, (energy, click), height_per_width=ENERGY_HEIGHT),
        ),
    )


def _above_floor(level_db: Floats) -> Floats:
    return np.where(level_db >= -ENERGY_SPAN_DB, level_db, np.nan)


def _wave_axis(label: str, values: Floats) -> Axis:
    low = -1.0 if values.min() < -0.5 else -0.5
    high = 1.0 if values.max() > 0.5 else 0.5
    return linear_axis(label, "re peak", low - 0.1, high + 0.1, 5)


def _conditions(curves: CurveSet, shown: Waveforms) -> Sentence:
    low, high = (frequency(edge, f"time:waveforms/band_hz/{i}") for i, edge in enumerate(shown.band_hz))
    end = milliseconds(curves.time.closes_s if curves.time else 0.0, "time:closes_s")
    return say(
        "gated, without the near field · ends at ",
        end,
        ", where the gate begins to close · impulse and step hold all that was measured, energy ",
        low,
        " to ",
        high,
    )


def _read_out(shown: Waveforms) -> Sentence:
    told = []
    for i, moment in enumerate(READ_OUT_S):
        if moment > shown.time_s[-1]:
            break
        nearest = int(np.argmin(np.abs(shown.time_s - moment)))
        level = float(shown.energy_db[nearest])
        told.append(
            say(
                quantity(level, "dB", f"time:waveforms/energy_db/at/{moment:g}"),
                " after ",
                milliseconds(moment, f"method:exhibits.time_waveforms/READ_OUT_S/{i}"),
            )
        )
    return say("Energy re its peak: ", joined(told, ", "), ".")
