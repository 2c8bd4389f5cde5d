"""Group delay on axis, what the level alone demands of it, and what comes on top."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency
from earwitness.derive.time_terms import ARRIVAL_BAND_HZ
from earwitness.derive.wording import band_words
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import around, milliseconds
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.sentences import EMPTY, Sentence, say
from earwitness.records.time import Delays, TimeBehaviour

HEIGHTS: Final = (0.34, 0.26)
#: Least span of the two axes, ms.
LEAST_MS: Final = (2.0, 0.5)
READ_OUT_HZ: Final = (50.0, 100.0, 1_000.0, 10_000.0)


def delays(curves: CurveSet) -> Exhibit | None:
    """Group delay above what exceeds minimum phase; None where neither can be told."""
    time = curves.time
    if time is None or time.delays is None or not np.isfinite(time.delays.excess_s).any():
        return None
    found = time.delays
    group, minimum, excess = (1e3 * v for v in (found.group_s, found.minimum_s, found.excess_s))
    hertz = curves.frequency_hz
    lines = (
        Line("group_delay", "measured", Role.ON_AXIS, hertz, group, short="total"),
        Line("group_delay", "minimum phase", Role.TREND, hertz, minimum, short="min."),
    )
    spread = 1e3 * found.excess_uncertainty_s
    on_top = Line("excess_delay", "excess", Role.ON_AXIS, hertz, excess, spread)
    return Exhibit(
        id="group-delay",
        letter="",
        title="Group delay",
        caption=say(
            "How much later each frequency comes than the treble. The broken line is the delay that the "
            "level alone demands; below stands what comes on top of it, which no equaliser of minimum phase "
            "takes away."
        ),
        conditions=_conditions(time),
        alt=say("Group delay over frequency, ", axis_span(), ". ", _read_out(curves, found)),
        panels=(
            Panel(
                "group_delay",
                frequency_axis(),
                around("group delay", "ms", group, LEAST_MS[0]),
                lines,
                height_per_width=HEIGHTS[0],
            ),
            Panel(
                "excess_delay",
                frequency_axis(),
                around("excess group delay", "ms", excess, LEAST_MS[1]),
                (on_top,),
                height_per_width=HEIGHTS[1],
            ),
        ),
    )


def _conditions(time: TimeBehaviour) -> Sentence:
    arrival = band_words("derive.time_terms", "ARRIVAL_BAND_HZ", ARRIVAL_BAND_HZ)
    return say(
        "zero: the mean excess from ",
        arrival,
        source_bands(time),
        " · pale: what the level may do past the ends",
    )


def source_bands(time: TimeBehaviour) -> Sentence:
    """`` · near field up to 295 Hz, gated from 652 Hz``; nothing where there is neither."""
    parts = []
    if time.near_field_to_hz:
        parts.append(say("near field up to ", frequency(time.near_field_to_hz, "time:near_field_to_hz")))
    if time.gated_from_hz:
        parts.append(say("gated from ", frequency(time.gated_from_hz, "time:gated_from_hz")))
    return say(" · ", joined(parts, ", ")) if parts else EMPTY


def _read_out(curves: CurveSet, found: Delays) -> Sentence:
    told = []
    for i, hertz in enumerate(READ_OUT_HZ):
        nearest = int(np.argmin(np.abs(curves.frequency_hz - hertz)))
        value, excess = float(found.group_s[nearest]), float(found.excess_s[nearest])
        if not np.isfinite(value):
            continue
        said = say(milliseconds(value, f"time:delays/group_s/at/{hertz:g}", 2))
        if np.isfinite(excess):
            said += say(" (excess ", milliseconds(excess, f"time:delays/excess_s/at/{hertz:g}", 2), ")")
        told.append(said + say(" at ", frequency(hertz, f"method:exhibits.time_delays/READ_OUT_HZ/{i}")))
    return say(joined(told, ", "), ".")
