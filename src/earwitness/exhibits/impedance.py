"""Impedance: magnitude with what it asks of an amplifier, and phase."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Axis, Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import linear_axis
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.impedance import Extreme, Impedance
from earwitness.records.sentences import Sentence, Term, say

HEIGHTS: Final = (0.36, 0.22)
#: The axis of the magnitude ends at 10 Ω or above, and phases are drawn from −90° to 90°.
LEAST_TOP_OHM: Final = 10.0
HEADROOM: Final = 1.08
PHASE_TICKS_DEG: Final = (-90.0, -45.0, 0.0, 45.0, 90.0)
#: So many minima and maxima are read out: the lowest and the highest.
MOST_READ_OUT: Final = 3


def impedance(curves: CurveSet) -> Exhibit | None:
    """Magnitude above phase; None where there is no impedance."""
    found = curves.impedance
    if found is None or not np.isfinite(found.magnitude_ohm).any():
        return None
    hertz = curves.frequency_hz
    has_phase = bool(np.isfinite(found.phase_deg).any())
    spread = found.uncertainty_ohm if np.isfinite(found.uncertainty_ohm).any() else None
    lines = [Line("impedance", "magnitude", Role.ON_AXIS, hertz, found.magnitude_ohm, spread, short="magn.")]
    if has_phase:
        lines.append(
            Line("amplifier_load", "load on an amplifier", Role.TREND, hertz, found.load_ohm, short="load")
        )
    panels = [Panel("impedance", frequency_axis(), _ohms(found), tuple(lines), height_per_width=HEIGHTS[0])]
    if has_phase:
        phase = Line("impedance", "phase", Role.ON_AXIS, hertz, found.phase_deg)
        panels.append(
            Panel("impedance_phase", frequency_axis(), _degrees(), (phase,), height_per_width=HEIGHTS[1])
        )
    return Exhibit(
        id="impedance",
        letter="",
        title="Impedance",
        caption=_caption(has_phase=has_phase),
        conditions=_conditions(found),
        alt=say("Impedance over frequency, ", axis_span(), ". ", _read_out(found)),
        panels=tuple(panels),
    )


def _ohms(found: Impedance) -> Axis:
    top = max(LEAST_TOP_OHM, HEADROOM * float(np.nanmax(found.magnitude_ohm)))
    return linear_axis("impedance", "Ω", 0.0, top, 6)


def _degrees() -> Axis:
    ticks = tuple((value, f"{value:.0f}".replace("-", "−")) for value in PHASE_TICKS_DEG)
    return Axis("phase", "°", PHASE_TICKS_DEG[0], PHASE_TICKS_DEG[-1], ticks, decimals=0)


def _caption(*, has_phase: bool) -> Sentence:
    words = say("What an amplifier sees at the terminals: the lower, the more current flows for a voltage.")
    if not has_phase:
        return words
    return words + say(
        " Where the phase isn't zero, current flows while voltage lies across the amplifier's transistors: "
        "the broken line is the resistor that would heat those of an ideal class-B amplifier as much at the "
        "worst moment."
    )


def _conditions(found: Impedance) -> Sentence:
    parts = [say("small signal, at ", Term(found.drive))] if found.drive else [say("drive not stated")]
    if found.known_resistor:
        parts.append(say("scale by a known resistor"))
    if np.isfinite(found.uncertainty_ohm).any():
        parts.append(say("pale: one standard uncertainty of what is stated"))
    return joined(parts, " · ")


def _read_out(found: Impedance) -> Sentence:
    told = []
    for what, field, key in (("Minima", "minima", 1.0), ("Maxima", "maxima", -1.0)):
        every: tuple[Extreme, ...] = getattr(found, field)
        order = np.argsort([key * one.ohms for one in every], kind="stable")
        ranked = [int(i) for i in order[:MOST_READ_OUT]]
        said = [
            say(
                quantity(every[i].ohms, "Ω", f"impedance:{field}/{i}/ohms"),
                " at ",
                frequency(every[i].frequency_hz, f"impedance:{field}/{i}/frequency_hz"),
            )
            for i in sorted(ranked)
        ]
        if said:
            told.append(say(f"{what}: ", joined(said, ", "), "."))
    return joined(told, " ") if told else say("It neither falls nor rises anywhere.")
