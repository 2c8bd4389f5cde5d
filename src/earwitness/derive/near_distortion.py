"""Distortion of each radiator by itself: near it, and as it comes to one metre."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics import noise
from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.distortion import FRACTION, HIGHEST_HZ
from earwitness.derive.formatting import frequency_text
from earwitness.derive.level_form import drive_key, figure_of
from earwitness.derive.numerals import frequency
from earwitness.derive.wording import module_number
from earwitness.records.distortion import LevelSeries, NearDistortion
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.sentences import Quoted, say

#: Told at these frequencies of excitation, the middles of octaves (ISO 266, recalled).
READ_OUT_HZ: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1_000.0, 2_000.0)
#: The figure is of frequencies at which the radiator itself plays, its level no more than so much below.
PLAYS_DB: Final = 10.0
FREQUENCY: Final = "frequency"
#: The same as the value, in front of the radiator, and what its way to 1 m makes of it.
NEAR_BY: Final = "in front of the radiator, %"
TRANSFER: Final = "at one metre re in front of it"
_PERCENT: Final = 100.0


def near_distortion(series: LevelSeries) -> NearDistortion:
    """Total harmonic distortion of a radiator's highest drive, means over a sixth of an octave."""
    assert series.radiator is not None
    near = _ratio(series, np.ones((len(series.order), len(series.frequency_hz))))
    carried = series.carried
    away = np.full(near.shape, np.nan) if carried is None else _ratio(series, carried)
    return NearDistortion(series.radiator, series.drives[-1], near, away)


def _ratio(series: LevelSeries, carried: Floats) -> Floats:
    """Harmonics re the fundamental (F,), each order carried by its own factor (N, F); NaN where not heard."""
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    orders = np.array(series.order)
    known = np.isfinite(carried)
    square = np.where(known, carried, 0.0) ** 2
    power = np.abs(series.pressure[-1]).astype(np.float64) ** 2 * square
    used = series.valid[-1] & known & (np.multiply.outer(orders, f) <= HIGHEST_HZ) & (orders > 1)[:, None]
    valid = series.valid[-1, 0] & known[0] & used[orders == 2].any(axis=0) & used[orders == 3].any(axis=0)
    added = np.where(used, series.noise_power[-1] * square, 0.0).sum(axis=0)
    valid &= np.isfinite(added)
    total, fundamental, hidden = (
        smooth_power(one, valid, FRACTION, POINTS_PER_OCTAVE)[0]
        for one in (np.where(used, power, 0.0).sum(axis=0), power[0], np.where(valid, added, 0.0))
    )
    heard = np.isfinite(total) & ~noise.hides(np.nan_to_num(total), np.nan_to_num(hidden, nan=np.inf))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(heard, np.sqrt((total - hidden) / fundamental), np.nan)


def _plays(series: LevelSeries) -> Bools:
    """Where a radiator's fundamental at 1 m is within `PLAYS_DB` of its greatest, (F,)."""
    if series.carried is None:
        return np.zeros(len(series.frequency_hz), dtype=np.bool_)
    valid = series.valid[-1, 0] & np.isfinite(series.carried[0])
    power = np.abs(series.pressure[-1, 0]).astype(np.float64) ** 2
    power = np.where(valid, power * np.nan_to_num(series.carried[0]) ** 2, 0.0)
    return np.asarray(valid & (power >= power.max() * 10.0 ** (-PLAYS_DB / 10.0)))


def near_figures(series: Sequence[LevelSeries]) -> tuple[Figure, ...]:
    """The most that any radiator distorts at 1 m among `READ_OUT_HZ`, %; all others beside it."""
    near = [one for one in series if one.radiator is not None and len(one.drives) > 1]
    return (_figure(near),) if near else ()


def _figure(near: Sequence[LevelSeries]) -> Figure:
    name, also = FigureName.NEAR_DISTORTION, dict[str, float]()
    found: list[tuple[float, float, float, int]] = []
    for number, one in enumerate(near):
        told, plays = near_distortion(one), _plays(one)
        f = np.asarray(one.frequency_hz, dtype=np.float64)
        for hertz in READ_OUT_HZ:
            place = int(np.argmin(np.abs(np.log(f / hertz))))
            here, away = float(told.ratio[place]), float(told.at_1m[place])
            called = f"{told.radiator} at {frequency_text(hertz, 3)}"
            if np.isfinite(here):
                also[f"{called}, %"] = _PERCENT * here
            if np.isfinite(away):
                also[f"{called}, at one metre, %"] = _PERCENT * away
            if np.isfinite(away) and plays[place]:
                found.append((_PERCENT * away, _PERCENT * here, hertz, number))
    conditions = say(
        "harmonics of one radiator re its own fundamental, carried to one metre on axis, where that is "
        "within ",
        module_number("10 dB", PLAYS_DB, "derive.near_distortion/PLAYS_DB"),
        " of its greatest",
    )
    method = "derive.near_distortion.near_figures"
    if not found:
        absent = NotAvailable("no harmonics of a radiator are heard whose way to one metre is known")
        return figure_of(name, absent, "%", conditions, near[0], also=also, reading="near by", method=method)
    value, here, hertz, number = max(found)
    worst = near[number]
    also |= {FREQUENCY: hertz, NEAR_BY: here, TRANSFER: value / here}
    also[drive_key(worst.drives[-1].unit)] = worst.drives[-1].value
    radiator = Quoted(str(worst.radiator).replace("_", " "), "case:unit.radiators")
    conditions += say(": ", radiator, ", at ", frequency(hertz, f"figure:{name}/also/{FREQUENCY}"))
    valid = [each[2] for each in found if each[3] == number]
    return figure_of(
        name,
        Quantity(value),
        "%",
        conditions,
        worst,
        also=also,
        band=(min(valid), max(valid)),
        reading=str(worst.radiator),
        method=method,
    )
