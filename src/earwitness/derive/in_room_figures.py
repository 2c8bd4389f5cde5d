"""Tilt and smoothness of the estimated in-room response."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.in_room import (
    NARROW_TREND_BAND_HZ,
    SOURCE,
    TREND_BAND_HZ,
    Trend,
    tilt_standard_error,
    trend,
)
from earwitness.derive.spread import NOTHING_KNOWN, Spread, spread_of
from earwitness.derive.validity import unavailable, within
from earwitness.derive.wording import band_words
from earwitness.methods.cta_2034 import Readings, estimated_in_room
from earwitness.records.curves import CurveName
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Floats
from earwitness.records.sentences import say
from earwitness.records.uncertainty import ComponentName


def in_room_trend(derived: DerivedCurves) -> tuple[Floats | None, Floats | None]:
    """The trend line and what is left about it, dB, (F,), NaN outside the band; None if not available."""
    line = _trend(derived, TREND_BAND_HZ)
    if line is None:
        return None, None
    frequency = derived.field.frequency_hz
    inside = within(frequency, TREND_BAND_HZ)
    whole, residual = np.full(len(frequency), np.nan), np.full(len(frequency), np.nan)
    whole[inside], residual[inside] = line.line_db, line.residual_db
    return whole, residual


def in_room_tilt(derived: DerivedCurves) -> Figure:
    """Slope of the least-squares line, dB per octave, with its own standard error as a component."""
    figure = _figure(
        derived,
        _Reading(
            FigureName.IN_ROOM_TILT,
            "dB/octave",
            "least squares over log frequency",
            "least squares",
            lambda line: line.tilt_db_per_octave,
        ),
    )
    line = _trend(derived, TREND_BAND_HZ)
    if line is None:
        return figure
    frequency = derived.field.frequency_hz[within(derived.field.frequency_hz, TREND_BAND_HZ)]
    spread = Spread(figure.uncertainty, figure.components)
    spread = spread.plus(ComponentName.FIT, tilt_standard_error(frequency, line.residual_db))
    return replace(figure, uncertainty=spread.total, components=spread.components)


def in_room_smoothness(derived: DerivedCurves) -> Figure:
    """Root mean square of what is left about the line, dB."""
    return _figure(
        derived,
        _Reading(
            FigureName.IN_ROOM_SMOOTHNESS,
            "dB",
            "root mean square about its trend",
            "residual about the line",
            lambda line: line.residual_rms_db,
        ),
    )


@dataclass(frozen=True, slots=True)
class _Reading:
    """What is read off a trend, and how it is called."""

    name: FigureName
    unit: str
    words: str
    reading: str
    read: Callable[[Trend], Floats]


def _figure(derived: DerivedCurves, what: _Reading) -> Figure:
    curve = CurveName.ESTIMATED_IN_ROOM
    line, narrow = _trend(derived, TREND_BAND_HZ), _trend(derived, NARROW_TREND_BAND_HZ)
    value, spread, also = _refusal(derived), NOTHING_KNOWN, {}
    if narrow is not None:
        also["narrower band"] = float(what.read(narrow))
    if line is not None:
        frequency = derived.field.frequency_hz
        inside = within(frequency, TREND_BAND_HZ)
        value = Quantity(float(what.read(line)))
        spread = spread_of(derived, curve, inside, lambda y: what.read(trend(frequency[inside], y)))
        on_level = trend(frequency[inside], _weighted_on_level_db(derived)[inside])
        also["in-room weights on level"] = float(what.read(on_level))
    return Figure(
        name=what.name,
        value=value,
        unit=what.unit,
        uncertainty=spread.total,
        components=spread.components,
        conditions=say(
            f"estimated in-room, {what.words}, ",
            band_words("derive.in_room", "TREND_BAND_HZ", TREND_BAND_HZ),
        ),
        reading=what.reading,
        valid_band_hz=None if line is None else TREND_BAND_HZ,
        method="derive.in_room.trend",
        source=SOURCE,
        evidence=Evidence((curve,), derived.curves[curve].takes),
        also=also,
    )


def _trend(derived: DerivedCurves, band_hz: tuple[float, float]) -> Trend | None:
    curve = CurveName.ESTIMATED_IN_ROOM
    if unavailable(derived, curve, band_hz) is not None:
        return None
    inside = within(derived.field.frequency_hz, band_hz)
    return trend(derived.field.frequency_hz[inside], derived.curves[curve].level_db[inside])


def _weighted_on_level_db(derived: DerivedCurves) -> Floats:
    """The estimated in-room curve with its weights on decibels, dB re 20 µPa, shape (F,)."""
    window, early, sound_power = (
        10.0 ** (0.1 * derived.curves[part].level_db)
        for part in (CurveName.LISTENING_WINDOW, CurveName.EARLY_REFLECTIONS, CurveName.SOUND_POWER)
    )
    weighted = estimated_in_room(window, early, sound_power, Readings(in_room="level"))
    return np.asarray(10.0 * np.log10(weighted))


def _refusal(derived: DerivedCurves) -> Value:
    reason = unavailable(derived, CurveName.ESTIMATED_IN_ROOM, TREND_BAND_HZ)
    return reason or NotAvailable("nothing is valid")
