"""Distortion by level: the total at several drives, and its orders at one."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.by_drive import STRIDE, called, drawn_rows, name, nearest, percent, roles, thinned
from earwitness.exhibits.description import Axis, Exhibit, Line, Panel, Role
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import Bools, Floats
from earwitness.records.sentences import EMPTY, Sentence, Term, say

HEIGHT: Final = 0.42
#: Ticks in per cent; the axis ends at those that hold what is heard, and holds the inner ones in any case.
TICKS: Final = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
ALWAYS: Final = (0.1, 10.0)
READ_OUT_HZ: Final = (50.0, 100.0, 200.0, 1_000.0, 5_000.0)
ORDER_ROLES: Final = (Role.LISTENING_WINDOW, Role.EARLY_REFLECTIONS, Role.SOUND_POWER, Role.QUIET)
ORDER_NAMES: Final = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}
TOTAL: Final = "total_distortion"
NEAR: Final = "near_distortion"


def distortion(curves: CurveSet) -> Exhibit | None:
    """The total by drive above the orders at the stated drive; None where nothing is heard at any drive."""
    level = curves.level
    if level is None or not level.heard.any():
        return None
    axis = _axis(level)
    hertz = thinned(curves.frequency_hz)
    return Exhibit(
        id="distortion",
        letter="",
        title="Distortion by level",
        caption=say(
            "Harmonics against the frequency that is played. Above: all of them together, a line a level; "
            "where noise hides them, the line goes on in dots, and distortion is somewhere below those. "
            "Below: single orders at one level, each as far as it is heard.",
            *_near_caption(level),
            *(say(" ", note) for note in level.notes),
        ),
        conditions=_conditions(level),
        alt=say(
            "Total harmonic distortion over the frequency of excitation, ",
            axis_span(),
            ". ",
            _read_out(curves, level),
        ),
        panels=(
            Panel("total", frequency_axis(), axis, _totals(level, hertz), height_per_width=HEIGHT),
            Panel(
                "orders",
                frequency_axis(),
                _renamed(axis, level),
                _orders(level, hertz),
                height_per_width=HEIGHT,
            ),
            *_near_panel(level, hertz),
        ),
    )


def _near_caption(level: ChangeWithLevel) -> tuple[str, ...]:
    if not level.near:
        return ()
    return (
        " Last: each radiator by itself, heard near by, and carried to one metre where its way there is "
        "known.",
    )


def _near_panel(level: ChangeWithLevel, hertz: Floats) -> tuple[Panel, ...]:
    """Each radiator by itself at its highest drive, near it and at 1 m; none where none is heard."""
    lines: list[Line] = []
    for one, role in zip(level.near, ORDER_ROLES, strict=False):
        name = one.radiator.replace("_", " ")
        for values, label, drawn in (
            (one.at_1m, f"{name}, at 1 m", role),
            (one.ratio, f"{name}, near", Role.TREND),
        ):
            shown = 100.0 * thinned(values)
            if np.isfinite(shown).any():
                lines.append(Line(NEAR, label, drawn, hertz, shown))
    if not lines:
        return ()
    drives = ", ".join(dict.fromkeys(one.drive.label for one in level.near))
    tops = np.concatenate([line.y[np.isfinite(line.y)] for line in lines])
    low = max([tick for tick in TICKS if tick <= min(ALWAYS[0], tops.min())], default=TICKS[0])
    high = min([tick for tick in TICKS if tick >= max(ALWAYS[1], tops.max())], default=TICKS[-1])
    ticks = tuple((tick, f"{tick:g}") for tick in TICKS if low <= tick <= high)
    axis = Axis(f"one radiator at {drives}", "%", low, high, ticks, logarithmic=True, decimals=3)
    return (Panel("near", frequency_axis(), axis, tuple(lines), height_per_width=HEIGHT),)


def _axis(level: ChangeWithLevel) -> Axis:
    heard = 100.0 * level.ratio[level.heard]
    lowest, highest = min(ALWAYS[0], 100.0 * float(np.nanmin(level.ratio))), max(ALWAYS[1], heard.max())
    low = max([tick for tick in TICKS if tick <= lowest], default=TICKS[0])
    high = min([tick for tick in TICKS if tick >= highest], default=TICKS[-1])
    ticks = tuple((tick, f"{tick:g}") for tick in TICKS if low <= tick <= high)
    return Axis("total distortion re the fundamental", "%", low, high, ticks, logarithmic=True, decimals=3)


def _renamed(axis: Axis, level: ChangeWithLevel) -> Axis:
    label = f"orders at {name(level, level.stated)}"
    return Axis(label, axis.unit, axis.minimum, axis.maximum, axis.ticks, logarithmic=True, decimals=3)


def _totals(level: ChangeWithLevel, hertz: Floats) -> tuple[Line, ...]:
    """At each drive what is heard, and what the rest stays below; the loudest first."""
    first = int(np.argmax(level.heard.any(axis=1)))
    rows = drawn_rows(level, first)
    heard_by = level.heard[list(rows), ::STRIDE].sum(axis=0)
    most = np.flatnonzero(heard_by == heard_by.max())
    name_at = float(hertz[most[len(most) // 2]])
    lines: list[Line] = []
    for row, role in reversed(list(zip(rows, roles(len(rows)), strict=True))):
        lines += [
            replace(line, name_at=name_at) for line in _total(level, row, role, hertz, name(level, row))
        ]
    return tuple(lines)


def _total(level: ChangeWithLevel, row: int, role: Role, hertz: Floats, label: str) -> list[Line]:
    """What is heard, and what the rest stays below; that has the name where nothing is heard."""
    heard, ratio = level.heard[row][::STRIDE], 100.0 * thinned(level.ratio[row])
    hidden = np.isfinite(ratio) & _widened(np.isfinite(ratio) & ~heard)
    lines = []
    if heard.any():
        lines.append(Line(TOTAL, label, role, hertz, np.where(heard, ratio, np.nan)))
    if hidden.any():
        shown = np.where(hidden, ratio, np.nan)
        below = Line(TOTAL, f"{label}, below", Role.BELOW, hertz, shown, at_end=not heard.any())
        lines.append(below)
    return lines


def _widened(hidden: Bools) -> Bools:
    """What is hidden, and a point more to either side: there both kinds of line meet."""
    wider = hidden.copy()
    wider[1:] |= hidden[:-1]
    wider[:-1] |= hidden[1:]
    return wider


def _orders(level: ChangeWithLevel, hertz: Floats) -> tuple[Line, ...]:
    row = level.stated
    heard = level.heard[row][::STRIDE]
    spread = 100.0 * thinned(level.uncertainty[row])
    lines = _total(level, row, Role.ON_AXIS, hertz, "total")
    if heard.any():
        lines[0] = replace(lines[0], uncertainty=np.where(heard, spread, np.nan))
        mean = np.where(heard, 100.0 * thinned(level.re_mean[row]), np.nan)
        lines.append(
            Line("distortion_re_mean", "total re mean level", Role.TREND, hertz, mean, short="re mean")
        )
    for order, role, values in zip(level.order, ORDER_ROLES, level.order_ratio, strict=False):
        drawn = 100.0 * thinned(values)
        if np.isfinite(drawn).any():
            lines.append(Line(f"distortion_{order}", ORDER_NAMES[order], role, hertz, drawn))
    return tuple(lines)


def _conditions(level: ChangeWithLevel) -> Sentence:
    return say(
        "on axis · levels: mean at ",
        Term("1 m"),
        " from ",
        Term("300 Hz"),
        " to ",
        Term("3 kHz"),
        ", as found · ",
        Term("1/6 octave"),
        " means · harmonics up to ",
        Term("20 kHz"),
        " · orders at ",
        called(level, level.stated),
        " · pale: one standard uncertainty by noise",
    )


def _read_out(curves: CurveSet, level: ChangeWithLevel) -> Sentence:
    told = []
    for row in sorted({level.stated, len(level.drives) - 1}):
        said = [one for i in range(len(READ_OUT_HZ)) if (one := _at(curves, level, row, i)).parts]
        if said:
            told.append(say("At ", called(level, row), ": ", joined(said, ", "), "."))
    return joined([*told, *_orders_read(curves, level)], " ")


def _at(curves: CurveSet, level: ChangeWithLevel, row: int, index: int) -> Sentence:
    hertz = READ_OUT_HZ[index]
    here = nearest(curves.frequency_hz, hertz)
    ratio = float(level.ratio[row, here])
    if not np.isfinite(ratio):
        return EMPTY
    return say(
        "" if level.heard[row, here] else "below ",
        percent(ratio, f"level:ratio/{row}/at/{hertz:g}"),
        " at ",
        frequency(hertz, f"method:exhibits.distortion/READ_OUT_HZ/{index}"),
    )


def _orders_read(curves: CurveSet, level: ChangeWithLevel) -> list[Sentence]:
    """Each order where it is highest among the frequencies that are read out."""
    places = [nearest(curves.frequency_hz, hertz) for hertz in READ_OUT_HZ]
    told = []
    for k, order in enumerate(level.order):
        values = level.order_ratio[k, places]
        if np.isfinite(values).any():
            most = int(np.nanargmax(values))
            value = percent(float(values[most]), f"level:order_ratio/{k}/at/{READ_OUT_HZ[most]:g}")
            at = frequency(READ_OUT_HZ[most], f"method:exhibits.distortion/READ_OUT_HZ/{most}")
            told.append(say(f"{ORDER_NAMES[order]} order ", value, " at ", at))
    return (
        [say("At ", called(level, level.stated), " of these the most: ", joined(told, ", "), ".")]
        if told
        else []
    )
