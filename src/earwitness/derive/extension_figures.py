"""F3, F6 and F10 as figures of merit."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.fitted_high_pass import fit_high_pass
from earwitness.derive.formatting import frequency_text
from earwitness.derive.low_frequency import (
    FALL_DB,
    SEARCH_FROM_HZ,
    SOURCE,
    Crossing,
    crossing_hz,
    find_crossing,
)
from earwitness.derive.spread import NOTHING_KNOWN, Spread, spread_of
from earwitness.derive.validity import around, hole, unavailable
from earwitness.derive.wording import band_words, module_number
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ, mean_level_db
from earwitness.records.curves import CurveName
from earwitness.records.figures import Bound, Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Bools, Floats
from earwitness.records.sentences import say

#: The figures in the order of `FALL_DB`.
NAMES: Final = (FigureName.F3, FigureName.F6, FigureName.F10)


def extension(derived: DerivedCurves, name: FigureName) -> Figure:
    """One of F3, F6 and F10, on axis; the same of the listening window beside it."""
    curve = CurveName.ON_AXIS
    index = NAMES.index(name)
    threshold = FALL_DB[index]
    value = _value(derived, curve, threshold)
    spread = _spread(derived, curve, threshold) if isinstance(value, Quantity) else NOTHING_KNOWN
    window = _value(derived, CurveName.LISTENING_WINDOW, threshold)
    also = {"listening window": window.value} if isinstance(window, Quantity) else {}
    fitted = _fitted_hz(derived, curve, threshold) if isinstance(value, Quantity) else None
    if fitted is not None:
        also["fitted high-pass"] = fitted
    return Figure(
        name=name,
        value=value,
        unit="Hz",
        uncertainty=spread.total,
        components=spread.components,
        conditions=say(
            "on axis, ",
            module_number(f"{threshold:g} dB", threshold, f"derive.low_frequency/FALL_DB/{index}"),
            " below the mean from ",
            band_words("iec_60268_5", "SENSITIVITY_BAND_HZ", SENSITIVITY_BAND_HZ),
            ", searched downward from ",
            module_number(
                frequency_text(SEARCH_FROM_HZ), SEARCH_FROM_HZ, "derive.low_frequency/SEARCH_FROM_HZ"
            ),
        ),
        reading="first lasting crossing",
        valid_band_hz=None if isinstance(value, NotAvailable) else _valid_band(derived, curve),
        method="derive.low_frequency.find_crossing",
        source=SOURCE,
        evidence=Evidence((curve,), derived.curves[curve].takes),
        also=also,
    )


def _value(derived: DerivedCurves, curve: CurveName, threshold_db: float) -> Value:
    reason = unavailable(derived, curve, SENSITIVITY_BAND_HZ)
    if reason is not None:
        return reason
    inside = _reach(derived, curve)
    frequency = derived.field.frequency_hz[inside]
    below, fall = _fall(frequency, derived.curves[curve].level_db[inside])
    crossing = find_crossing(below, fall, threshold_db)
    if crossing.kind == "found":
        return Quantity(crossing.frequency_hz)
    lowest = float(frequency[0])
    if lowest == derived.field.frequency_hz[0] and fall[-1] < threshold_db:
        return Bound(lowest, "at most")
    if crossing.kind == "lower":
        return _ends_at(derived, curve, int(np.flatnonzero(inside)[0]))
    return _refusal(crossing, threshold_db)


def _ends_at(derived: DerivedCurves, curve: CurveName, lowest: int) -> NotAvailable:
    """No crossing down to the point `lowest`: there the data end, or a hole begins."""
    frequency, valid = derived.field.frequency_hz, derived.curves[curve].valid
    if valid[:lowest].any():
        return hole(frequency, valid, lowest - 1)
    limit = float(frequency[lowest])
    return NotAvailable(f"not available: valid from {frequency_text(limit, 3)}", valid_from_hz=limit)


def _refusal(crossing: Crossing, threshold_db: float) -> NotAvailable:
    down = f"no F{threshold_db:g}: the level is {threshold_db:g} dB down at"
    if crossing.kind == "above":
        return NotAvailable(f"{down} {frequency_text(SEARCH_FROM_HZ)} already")
    return NotAvailable(f"{down} {frequency_text(crossing.frequency_hz)}, but doesn't roll off there")


def _spread(derived: DerivedCurves, curve: CurveName, threshold_db: float) -> Spread:
    inside = _reach(derived, curve)
    frequency = derived.field.frequency_hz[inside]

    def crossing(level_db: Floats) -> Floats:
        return crossing_hz(*_fall(frequency, level_db), threshold_db)

    return spread_of(derived, curve, inside, crossing)


def _fitted_hz(derived: DerivedCurves, curve: CurveName, threshold_db: float) -> float | None:
    """The crossing of the fitted high-pass; None where it doesn't fit, or crosses below what is valid."""
    inside = _reach(derived, curve)
    frequency = derived.field.frequency_hz[inside]
    fitted = fit_high_pass(frequency, derived.curves[curve].level_db[inside])
    if fitted is None:
        return None
    crossing = fitted.fall_hz(threshold_db)
    return crossing if crossing >= frequency[0] else None


def _fall(frequency_hz: Floats, level_db: Floats) -> tuple[Floats, Floats]:
    """Frequencies falling from 300 Hz, and how far the level lies below its mean there."""
    reference = np.expand_dims(mean_level_db(frequency_hz, level_db), -1)
    downward = np.flatnonzero(frequency_hz <= SEARCH_FROM_HZ)[::-1]
    return frequency_hz[downward], reference - level_db[..., downward]


def _reach(derived: DerivedCurves, curve: CurveName) -> Bools:
    """Points from the lowest one that validity reaches without a gap to the top of the sensitivity band."""
    valid = derived.curves[curve].valid
    needed = around(derived.field.frequency_hz, SENSITIVITY_BAND_HZ)
    top = int(np.flatnonzero(needed)[-1])
    gaps = np.flatnonzero(~valid[:top])
    lowest = int(gaps[-1]) + 1 if len(gaps) else 0
    place = np.arange(len(valid))
    return np.asarray((place >= lowest) & (place <= top))


def _valid_band(derived: DerivedCurves, curve: CurveName) -> tuple[float, float]:
    chosen = derived.field.frequency_hz[_reach(derived, curve)]
    return float(chosen[0]), float(chosen[-1])
