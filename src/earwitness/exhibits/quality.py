"""Pictures of points of quality: noise, arrivals, what was measured twice, the rig's control chart."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Axis, Exhibit, Line, Panel, Role, lettered
from earwitness.exhibits.time_axes import around, linear_axis
from earwitness.records.grid import Floats
from earwitness.records.quality import Point, PointName, Quality, Series
from earwitness.records.sentences import say

HEIGHT: Final = 0.3
#: How the name of a repeat ends that wasn't averaged.
SET_ASIDE: Final = "set aside"
#: Least spans of axes, dB, ms and µs.
LEAST_DB: Final = 2.0
LEAST_MS: Final = 0.5
LEAST_US: Final = 50.0
#: An axis of what runs from −1 to 1 reaches a little further.
ALIKE: Final = 1.2
#: Least span of a chain's level, dB.
LEAST_CHAIN_DB: Final = 0.5
#: An axis of angles reaches so far to each side at least.
LEAST_DEG: Final = 10.0
#: A control chart shows the limits this much within its edges, re their own distance.
CHART_MARGIN: Final = 0.3
#: More than this is enough of a signal to noise.
MOST_SNR_DB: Final = 90.0

_ROLES: Final[Mapping[str, Role]] = {
    "on axis": Role.ON_AXIS,
    "middle of all takes": Role.LISTENING_WINDOW,
    "worst take": Role.SOUND_POWER,
    "behind": Role.EARLY_REFLECTIONS,
    "last less first": Role.ON_AXIS,
    "horizontal": Role.ON_AXIS,
    "vertical": Role.EARLY_REFLECTIONS,
    "mean level": Role.ON_AXIS,
    "centre": Role.QUIET,
    "both sides": Role.ON_AXIS,
    "lower limit": Role.TREND,
    "upper limit": Role.TREND,
    "limit": Role.TREND,
    "floor due": Role.TREND,
    "multiples": Role.ON_AXIS,
    "peaks": Role.ON_AXIS,
    "takes on axis": Role.ON_AXIS,
    "chain": Role.ON_AXIS,
}
_SHORT: Final[Mapping[str, str]] = {
    "middle of all takes": "middle",
    "worst take": "worst",
    "last less first": "last",
    "lower limit": "lower",
    "upper limit": "upper",
    "mean level": "mean",
    "takes on axis": "takes",
    "floor due": "floor",
    "horizontal": "hor.",
    "vertical": "ver.",
}


def describe_quality(quality: Quality, after: int = 0) -> tuple[Exhibit, ...]:
    """A picture of each point that has one, lettered on from the first `after` letters."""
    shown = [
        picture(point)
        for point in quality.points
        if point.name in _FAMILIES and any(any(v is not None for v in line.y) for line in point.series)
    ]
    return lettered(shown, after)


def _over_frequency(point: Point, label: str, title: str, caption: str) -> Exhibit:
    lines = tuple(_line(point, one) for one in point.series)
    values = np.concatenate([_known(line.y) for line in lines])
    return _exhibit(point, title, caption, (frequency_axis(), around(label, "dB", values, LEAST_DB)), lines)


def _signal_to_noise(point: Point) -> Exhibit:
    lines = tuple(_line(point, one) for one in point.series)
    axis = linear_axis("signal to noise", "dB", 0.0, MOST_SNR_DB, 6)
    caption = "How far the sound stands over the noise in each octave, after the gate."
    lines = tuple(replace(line, y=np.minimum(line.y, MOST_SNR_DB)) for line in lines)
    return _exhibit(point, "Signal to noise", caption, (frequency_axis(), axis), lines)


def _over_angle(point: Point, upward: tuple[str, str, float], title: str, caption: str) -> Exhibit:
    """`upward` is the label, the unit and the least span of what is drawn over the angle."""
    lines = tuple(_line(point, one) for one in point.series)
    values = np.concatenate([_known(line.y) for line in lines])
    axis = around(*upward[:2], values, upward[2])
    return _exhibit(point, title, caption, (_angles(lines), axis), lines)


def _angles(lines: Sequence[Line]) -> Axis:
    across = max(LEAST_DEG, *(float(np.abs(line.x).max()) for line in lines))
    return linear_axis("angle", "°", -across, across)


def _over_number(
    point: Point, across: str, upward: tuple[str, str, float], title: str, caption: str
) -> Exhibit:
    """Over the takes by number; `across` is what they are called."""
    lines = tuple(_line(point, one) for one in point.series)
    values = np.concatenate([_known(line.y) for line in lines])
    last = float(max(line.x.max() for line in lines))
    axes = linear_axis(across, "", 1.0, max(last, 2.0)), around(*upward[:2], values, upward[2])
    return _exhibit(point, title, caption, axes, lines)


def _clipping(point: Point) -> Exhibit:
    caption = "The greatest sample of each recording, by name of take. A louder take needs room above."
    return _over_number(point, "recording", ("re full scale", "dB", LEAST_DB), "Peaks", caption)


def _hum(point: Point) -> Exhibit:
    caption = (
        "How far each multiple of the mains frequency stands over the noise beside it, in the mean of all "
        "recordings that go on after the sweep."
    )
    return _over_frequency(point, "over the noise", "Hum", caption)


def _flight(point: Point) -> Exhibit:
    caption = (
        "How much later than by the straight way treble arrives after its loopback. Sooner it can't: then a "
        "distance or a temperature is wrong."
    )
    return _over_number(point, "take", ("later", "µs", LEAST_US), "Time of flight", caption)


def _polarity(point: Point) -> Exhibit:
    caption = "How each take runs with those beside it: one alike, minus one upside down."
    lines = tuple(_line(point, one) for one in point.series)
    axes = _angles(lines), linear_axis("alike", "", -ALIKE, ALIKE)
    return _exhibit(point, "Polarity", caption, axes, lines)


def _missing(point: Point) -> Exhibit:
    caption = "How many takes there are of each direction. At nought a curve lacks one."
    lines = tuple(_line(point, one) for one in point.series)
    most = max(float(_known(line.y).max()) for line in lines)
    axes = _angles(lines), linear_axis("takes", "", 0.0, most + 1.0)
    return _exhibit(point, "Directions measured", caption, axes, lines)


def _repeats(point: Point) -> Exhibit:
    caption = (
        "Repeats of one direction less their mean, in octaves: that which scatters most, or has one that was "
        "set aside, which isn't in the mean."
    )
    return _over_frequency(point, "re their mean", "Repeats", caption)


def _heights(point: Point) -> Exhibit:
    lines = tuple(_line(point, one) for one in point.series)
    low, high = (float(edge([edge(line.x) for line in lines])) for edge in (np.min, np.max))
    lowest = min(float(_known(line.y).min()) for line in lines)
    axes = linear_axis("after the direct sound", "ms", low, high), linear_axis("energy", "dB", lowest, 0.0, 6)
    caption = (
        "The energy-time curve on axis above the bass, in which reflections are sought, and when the floor's "
        "is due by the stated heights."
    )
    return _exhibit(point, "The floor's reflection", caption, axes, lines)


def _splice(point: Point) -> Exhibit:
    caption = (
        "What the upper of two joined responses shows more than the lower one where they overlap. In front "
        "both are measured; further round the model of the cabinet decides."
    )
    return _over_angle(point, ("apart", "dB", LEAST_DB), "Where responses are joined", caption)


def _calibration(point: Point) -> Exhibit:
    caption = "How sensitive the chain was in each calibrator take, re the first."
    return _over_number(
        point, "calibrator take", ("re the first", "dB", LEAST_CHAIN_DB), "Calibration", caption
    )


def _latency(point: Point) -> Exhibit:
    caption = (
        "How much later than geometry has it sound arrives in each take. Behind, it bends round the cabinet; "
        "a single take that stands out began at another moment."
    )
    return _over_angle(point, ("later", "ms", LEAST_MS), "Arrivals", caption)


def _clocks(point: Point) -> Exhibit:
    caption = (
        "How much later treble arrives for each factor e in frequency. A clock that differs lifts all takes "
        "alike."
    )
    return _over_angle(point, ("later", "µs", LEAST_US), "Clocks", caption)


def _order(point: Point) -> Exhibit:
    caption = (
        "The mean level of each take re the greatest. Two takes that were swapped stand apart from their "
        "neighbours, each to the other's side."
    )
    return _over_angle(point, ("level", "dB", LEAST_DB), "Order of directions", caption)


def _levels(point: Point) -> Exhibit:
    caption = (
        "How much louder each take is at all frequencies than those beside it foretell, once these are put "
        "right. Gaps are where levels change too fast from direction to direction."
    )
    return _over_angle(point, ("louder", "dB", LEAST_DB), "Levels of directions", caption)


def _zero(point: Point) -> Exhibit:
    caption = (
        "How unlike both sides of an orbit are about each axis. Where the line is lowest the loudspeaker "
        "faces the microphone."
    )
    return _over_angle(point, ("unlike", "dB", LEAST_DB), "Zero of angles", caption)


def _sides(point: Point) -> Exhibit:
    caption = "How far both sides of an orbit differ, root mean square over angles."
    return _over_frequency(point, "apart", point.name.words.capitalize(), caption)


def _chart(point: Point) -> Exhibit:
    lines = tuple(_line(point, one) for one in point.series)
    values = np.concatenate([_known(line.y) for line in lines])
    low, high = float(values.min()), float(values.max())
    margin = CHART_MARGIN * max(high - low, 1e-3)
    cases = float(max(line.x.max() for line in lines))
    return _exhibit(
        point,
        "The rig's reference loudspeaker",
        "Its mean level in earlier cases, oldest first, and in this one, which is the last.",
        (
            linear_axis("case", "case", 1.0, max(cases, 2.0)),
            linear_axis("mean level", "dB", low - margin, high + margin, 6),
        ),
        lines,
    )


def _exhibit(
    point: Point, title: str, caption: str, axes: tuple[Axis, Axis], lines: tuple[Line, ...]
) -> Exhibit:
    name = str(point.name).replace("_", "-")
    return Exhibit(
        id=f"quality-{name}",
        letter="",
        title=title,
        caption=say(caption),
        conditions=point.limit,
        alt=say(title, ". ") + point.sentence,
        panels=(Panel(name, *axes, lines, height_per_width=HEIGHT),),
    )


def _line(point: Point, one: Series) -> Line:
    return Line(
        curve=f"{point.name}/{one.name}",
        label=one.name,
        role=Role.SOUND_POWER if one.name.endswith(SET_ASIDE) else _ROLES.get(one.name, Role.QUIET),
        x=np.asarray(one.x, dtype=np.float64),
        y=_values(one.y),
        uncertainty=_values(one.uncertainty) if one.uncertainty else None,
        short=_SHORT.get(one.name, ""),
    )


def _values(found: tuple[float | None, ...]) -> Floats:
    return np.array([np.nan if value is None else value for value in found], dtype=np.float64)


def _known(values: Floats) -> Floats:
    return values[np.isfinite(values)]


def picture(point: Point) -> Exhibit:
    """The picture of a point of which there is one.

    Raises
    ------
    LookupError
        There is none of such points.
    """
    return _FAMILIES[point.name](point)


def _first_last(point: Point) -> Exhibit:
    caption = "What the last take on axis has more than the first, in octaves."
    return _over_frequency(point, "last less first", "First against last", caption)


def _orbits(point: Point) -> Exhibit:
    return _over_frequency(
        point,
        "horizontal less vertical",
        "Where the orbits meet",
        "What the horizontal orbit shows more than the vertical one where both were measured: not the "
        "loudspeaker, but the room and the turning.",
    )


_FAMILIES: Final[Mapping[PointName, Callable[[Point], Exhibit]]] = {
    PointName.CLIPPING: _clipping,
    PointName.HUM: _hum,
    PointName.FLIGHT: _flight,
    PointName.POLARITY: _polarity,
    PointName.MISSING: _missing,
    PointName.REPEATS: _repeats,
    PointName.HEIGHTS: _heights,
    PointName.SPLICE: _splice,
    PointName.CALIBRATION: _calibration,
    PointName.SIGNAL_TO_NOISE: _signal_to_noise,
    PointName.LATENCY: _latency,
    PointName.CLOCKS: _clocks,
    PointName.ORDER: _order,
    PointName.LEVELS: _levels,
    PointName.ZERO: _zero,
    PointName.FIRST_LAST: _first_last,
    PointName.ORBITS: _orbits,
    PointName.LEFT_RIGHT: _sides,
    PointName.UP_DOWN: _sides,
    PointName.REFERENCE: _chart,
}
