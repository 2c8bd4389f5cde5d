"""A number's uncertainty: the same function over the draws of the curve that it comes from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.formatting import frequency_text
from earwitness.methods.gum import combined
from earwitness.records.curves import CurveName
from earwitness.records.figures import NotAvailable
from earwitness.records.grid import Bools, Floats
from earwitness.records.uncertainty import ComponentName


@dataclass(frozen=True, slots=True)
class Spread:
    """One standard uncertainty and its components; None is "not stated"."""

    total: float | None
    components: Mapping[ComponentName, float | None]

    def plus(self, name: ComponentName, standard: float) -> Spread:
        """This and one more component, uncorrelated with it."""
        total = standard if self.total is None else float(combined([self.total, standard]))
        return Spread(total, {**self.components, name: standard})


NOTHING_KNOWN = Spread(None, {})


def spread_of(
    derived: DerivedCurves, curve: CurveName, inside: Bools, of: Callable[[Floats], Floats]
) -> Spread:
    """Standard uncertainty of `of`, a function of the curve's levels (..., F) that gives (...) or (..., n).

    Of n numbers the widest spread counts. `inside` (F,) selects the points that `of` is given, which must be
    valid. A draw that gives no finite number is left out.
    """
    nominal = derived.curves[curve].level_db[inside]
    components = {}
    for name, draws in derived.component_draws_db[curve].items():
        components[name] = None if draws is None else _deviation(of(nominal + draws[:, inside]))
    if all(value is None for value in components.values()):
        return Spread(None, components)
    return Spread(_deviation(of(derived.level_draws_db[curve][:, inside].astype(np.float64))), components)


def unavailable(
    derived: DerivedCurves, curve: CurveName, band_hz: tuple[float, float]
) -> NotAvailable | None:
    """Why a curve can't be judged over a band, or None where it is valid throughout."""
    found = derived.curves[curve]
    if found.missing:
        labels = tuple(d.label for d in found.missing)
        return NotAvailable("directions were not measured", missing=labels)
    frequency = derived.field.frequency_hz
    if not found.available:
        return NotAvailable("nothing is valid")
    needed = around(frequency, band_hz)
    if found.valid[needed].all():
        return None
    last = int(np.flatnonzero(found.valid)[-1])
    invalid = np.flatnonzero(~found.valid[:last])
    first = int(invalid[-1]) + 1 if len(invalid) else 0
    if frequency[first] > band_hz[0]:
        lowest = float(frequency[first])
        return NotAvailable(f"not available: valid from {frequency_text(lowest, 3)}", valid_from_hz=lowest)
    return NotAvailable(f"not available: valid up to {frequency_text(float(frequency[last]), 3)}")


def around(frequency_hz: Floats, band_hz: tuple[float, float]) -> Bools:
    """Grid points of a band, with the nearest ones outside where its edges fall between two points."""
    low = np.searchsorted(frequency_hz, band_hz[0] * (1 + 1e-9), side="right") - 1
    high = np.searchsorted(frequency_hz, band_hz[1] * (1 - 1e-9), side="left")
    place = np.arange(len(frequency_hz))
    return np.asarray((place >= low) & (place <= high))


def within(frequency_hz: Floats, band_hz: tuple[float, float]) -> Bools:
    """Grid points inside a band."""
    return np.asarray((frequency_hz >= band_hz[0] * (1 - 1e-9)) & (frequency_hz <= band_hz[1] * (1 + 1e-9)))


def _deviation(values: Floats) -> float:
    table = values.reshape(len(values), -1)
    finite = np.isfinite(table).all(axis=1)
    if finite.sum() < 2:
        return 0.0
    return float(table[finite].std(axis=0, ddof=1).max())
