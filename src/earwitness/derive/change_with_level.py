"""How a loudspeaker changes with the level, on axis, as it is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics import noise
from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.distortion import (
    FRACTION,
    HIGHEST_HZ,
    CleanOutput,
    change,
    clean_output,
    total_distortion,
)
from earwitness.derive.distortion_figures import STATED_AT_DB
from earwitness.derive.near_distortion import near_distortion
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.records.distortion import ChangeWithLevel, LevelSeries, Told
from earwitness.records.grid import POINTS_PER_OCTAVE, Bytes, Floats

#: Orders that are drawn on their own.
ORDERS: Final = (2, 3, 4, 5)


def change_with_level(series: Sequence[LevelSeries]) -> ChangeWithLevel | None:
    """What the series on axis tells; None where it has fewer than two drives, or its level can't be told."""
    on_axis = [one for one in series if one.radiator is None and len(one.drives) > 1]
    found = total_distortion(on_axis[0]) if on_axis else None
    if found is None:
        return None
    one = on_axis[0]
    stated = int(np.argmin(np.abs(found.arrived_db - STATED_AT_DB)))
    orders = tuple(n for n in ORDERS if n in one.order)
    clean = clean_output(one, found)
    return ChangeWithLevel(
        takes=one.takes,
        drives=one.drives,
        stated=stated,
        arrived_db=found.arrived_db,
        hours=float(niosh_hours_a_day(found.arrived_db.max())),
        ratio=found.ratio,
        re_mean=found.re_mean,
        heard=found.heard,
        uncertainty=found.uncertainty,
        order=orders,
        order_ratio=np.stack([_order_ratio(one, stated, n) for n in orders]),
        change_db=change(one).narrow_db,
        band_hz=clean.mid_hz,
        output_db=clean.output.level_db,
        told=_told(clean),
        notes=one.notes,
        near=tuple(near_distortion(each) for each in series if each.radiator and len(each.drives) > 1),
    )


def _order_ratio(series: LevelSeries, row: int, order: int) -> Floats:
    """One order re the fundamental, noise taken off, shape (F,); NaN where it isn't heard."""
    column = series.order.index(order)
    power = np.abs(series.pressure[row]).astype(np.float64) ** 2
    counts = order * np.asarray(series.frequency_hz) <= HIGHEST_HZ
    valid = series.valid[row, 0] & series.valid[row, column] & counts
    found, added, whole = (
        smooth_power(values, valid, FRACTION, POINTS_PER_OCTAVE)[0]
        for values in (power[column], np.where(valid, series.noise_power[row, column], 0.0), power[0])
    )
    heard = np.isfinite(found) & ~noise.hides(np.nan_to_num(found), np.nan_to_num(added, nan=np.inf))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(heard, np.sqrt((found - added) / whole), np.nan)


def _told(clean: CleanOutput) -> Bytes:
    """What is known of each band: which limit is passed first, or that none is, or that one always is."""
    output = clean.output
    by_distortion = output.level_db == clean.by_distortion.level_db
    passed = np.where(by_distortion, Told.DISTORTION, Told.CHANGE)
    cases = [output.less_than, output.at_least, output.found]
    told = np.select(
        cases, [np.full_like(passed, Told.LESS_THAN), np.full_like(passed, Told.AT_LEAST), passed]
    )
    return np.asarray(told, dtype=np.uint8)
