"""Sensitivity, and tolerance about it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.acoustics.decibels import power_of
from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.curves import DerivedCurves
from earwitness.derive.reference_drive import at_terminals
from earwitness.derive.spread import NOTHING_KNOWN, Spread, spread_of
from earwitness.derive.validity import around, unavailable, within
from earwitness.derive.wording import band_words, module_number
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ, SOURCE, mean_level_db
from earwitness.records.curves import CurveName
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Quantity, Tolerance, Value
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.sentences import Term, say
from earwitness.records.sources import Source, Standing

#: Band of the tolerance.
TOLERANCE_BAND_HZ: Final = (100.0, 10_000.0)
#: Upper limit of the other reading.
WIDE_TOLERANCE_BAND_HZ: Final = (100.0, 16_000.0)
#: The curve is smoothed by one over this many octaves.
TOLERANCE_FRACTION: Final = 24
#: Smoothing of the other reading.
COARSE_FRACTION: Final = 3

TOLERANCE_SOURCE: Final = Source("Earwitness", "", "tolerance", Standing.OWN)


def sensitivity(derived: DerivedCurves) -> Figure:
    """Sensitivity: mean level on axis from 300 Hz to 3 kHz for 2.83 V at 1 m."""
    curve = CurveName.ON_AXIS
    value, spread = mean_on_axis(derived)
    if not at_terminals(derived.takes.drive):
        value, spread = NotAvailable("not applicable to an active loudspeaker"), NOTHING_KNOWN
    also = {}
    if isinstance(value, Quantity):
        frequency = derived.field.frequency_hz
        inside = around(frequency, SENSITIVITY_BAND_HZ)
        level = derived.curves[curve].level_db[inside]
        also["dB mean"] = float(mean_level_db(frequency[inside], level, on="level"))
    return Figure(
        name=FigureName.SENSITIVITY,
        value=value,
        unit="dB",
        uncertainty=spread.total,
        components=spread.components,
        conditions=say(
            "on axis, mean power over log frequency, ",
            band_words("iec_60268_5", "SENSITIVITY_BAND_HZ", SENSITIVITY_BAND_HZ),
            ", ",
            module_number("2.83 V", 2.83, "iec_60268_5/REFERENCE_VOLTAGE_V"),
            " at ",
            module_number("1 m", 1.0, "iec_60268_5/REFERENCE_DISTANCE_M"),
        ),
        reading="power mean",
        valid_band_hz=None if isinstance(value, NotAvailable) else SENSITIVITY_BAND_HZ,
        method="methods.iec_60268_5.mean_level_db",
        source=SOURCE,
        evidence=Evidence((curve,), derived.curves[curve].takes),
        also=also,
    )


def mean_on_axis(derived: DerivedCurves) -> tuple[Quantity | NotAvailable, Spread]:
    """Mean power on axis over the sensitivity band as a level, dB, at 1 m and the drive of the takes."""
    curve = CurveName.ON_AXIS
    reason = unavailable(derived, curve, SENSITIVITY_BAND_HZ)
    if reason is not None:
        return reason, NOTHING_KNOWN
    inside = around(derived.field.frequency_hz, SENSITIVITY_BAND_HZ)
    frequency = derived.field.frequency_hz[inside]
    level = float(mean_level_db(frequency, derived.curves[curve].level_db[inside]))
    return Quantity(level), spread_of(derived, curve, inside, lambda y: mean_level_db(frequency, y))


def tolerance(derived: DerivedCurves, curve: CurveName) -> Figure:
    """Greatest rise and fall of a curve about its own mean over the sensitivity band."""
    on_axis = curve is CurveName.ON_AXIS
    name = FigureName.TOLERANCE_ON_AXIS if on_axis else FigureName.TOLERANCE_LISTENING_WINDOW
    value, spread, also = _tolerance_value(derived, curve)
    return Figure(
        name=name,
        value=value,
        unit="dB",
        uncertainty=spread.total,
        components=spread.components,
        conditions=say(
            f"{curve.words}, ",
            band_words("derive.level_figures", "TOLERANCE_BAND_HZ", TOLERANCE_BAND_HZ),
            ", smoothed by ",
            Term("1/24 octave"),
            ", about its mean from ",
            band_words("iec_60268_5", "SENSITIVITY_BAND_HZ", SENSITIVITY_BAND_HZ),
        ),
        reading="about the mean",
        valid_band_hz=None if isinstance(value, NotAvailable) else TOLERANCE_BAND_HZ,
        method="derive.level_figures.tolerance",
        source=TOLERANCE_SOURCE,
        evidence=Evidence((curve,), derived.curves[curve].takes),
        also=also,
    )


def extremes_db(
    frequency_hz: Floats, level_db: Floats, fraction: int, band_hz: tuple[float, float]
) -> Floats:
    """Rise and fall of a smoothed curve about its own sensitivity-band mean, both positive, shape (..., 2).

    `level_db` (..., F) must reach half a smoothing window beyond the band; NaN where it doesn't.
    """
    reference = mean_level_db(frequency_hz, level_db)
    power = power_of(level_db)
    everywhere = np.ones(len(frequency_hz), dtype=np.bool_)
    smooth, _ = smooth_power(power, everywhere, fraction, POINTS_PER_OCTAVE)
    deviation = 10.0 * np.log10(smooth[..., within(frequency_hz, band_hz)]) - np.expand_dims(reference, -1)
    return np.stack((deviation.max(axis=-1), -deviation.min(axis=-1)), axis=-1)


def _tolerance_value(derived: DerivedCurves, curve: CurveName) -> tuple[Value, Spread, Mapping[str, float]]:
    frequency = derived.field.frequency_hz
    inside = _padded(frequency, TOLERANCE_BAND_HZ, TOLERANCE_FRACTION)
    reason = unavailable(derived, curve, TOLERANCE_BAND_HZ)
    if reason is None and unavailable(derived, curve, _limits(frequency, inside)) is not None:
        reason = NotAvailable("not available: the smoothing reaches beyond what is valid")
    if reason is not None:
        return reason, NOTHING_KNOWN, {}
    level = derived.curves[curve].level_db

    def extremes(y: Floats) -> Floats:
        return extremes_db(frequency[inside], y, TOLERANCE_FRACTION, TOLERANCE_BAND_HZ)

    above, below = (float(v) for v in extremes(level[inside]))
    reference = float(mean_level_db(frequency[inside], level[inside]))
    also = {"half-width about the midpoint": 0.5 * (above + below)}
    others = {
        "up to the wider limit": (WIDE_TOLERANCE_BAND_HZ, TOLERANCE_FRACTION),
        "smoothed by a third of an octave": (TOLERANCE_BAND_HZ, COARSE_FRACTION),
    }
    for words, (band, fraction) in others.items():
        wider = _padded(frequency, band, fraction)
        if unavailable(derived, curve, _limits(frequency, wider)) is None:
            rise, fall = extremes_db(frequency[wider], level[wider], fraction, band)
            also[f"above, {words}"], also[f"below, {words}"] = float(rise), float(fall)
    value = Tolerance(max(above, 0.0), max(below, 0.0), reference)
    return value, spread_of(derived, curve, inside, extremes), also


def _padded(frequency_hz: Floats, band_hz: tuple[float, float], fraction: int) -> Bools:
    """Grid points of a band and of half a smoothing window to either side."""
    half = 2.0 ** (0.5 / fraction + 2.0 / POINTS_PER_OCTAVE)
    return within(frequency_hz, (band_hz[0] / half, band_hz[1] * half))


def _limits(frequency_hz: Floats, inside: Bools) -> tuple[float, float]:
    chosen = frequency_hz[inside]
    return float(chosen[0]), float(chosen[-1])
