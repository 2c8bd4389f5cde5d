"""A number's uncertainty: the same function over the draws of the curve that it comes from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.methods.gum import combined
from earwitness.records.curves import CurveName
from earwitness.records.grid import Bools, Floats
from earwitness.records.uncertainty import NEGLIGIBLE, ComponentName


@dataclass(frozen=True, slots=True)
class Spread:
    """One standard uncertainty and its components; None is "not stated".

    `total` is None, too, where nothing of what is stated acts on the value.
    """

    total: float | None
    components: Mapping[ComponentName, float | None]

    def plus(self, name: ComponentName, standard: float) -> Spread:
        """This and one more component, uncorrelated with it."""
        components = {**self.components, name: standard}
        if standard < NEGLIGIBLE:
            return Spread(self.total, components)
        total = standard if self.total is None else float(combined([self.total, standard]))
        return Spread(total, components)


NOTHING_KNOWN = Spread(None, {})


def spread_of(
    derived: DerivedCurves, curve: CurveName, inside: Bools, of: Callable[[Floats], Floats]
) -> Spread:
    """Standard uncertainty of `of`, a function of the curve's levels (..., F) that gives (...) or (..., n).

    Of n numbers the widest spread counts. `inside` (F,) selects the points that `of` is given, which must be
    valid. A draw that gives no finite number is left out.
    """
    nominal = derived.curves[curve].level_db[inside]
    components: dict[ComponentName, float | None] = {}
    for name, draws in derived.component_draws_db[curve].items():
        components[name] = None if draws is None else _deviation(of(nominal + draws[:, inside]))
    if not any(value for value in components.values()):
        return Spread(None, components)
    return Spread(_deviation(of(derived.level_draws_db[curve][:, inside].astype(np.float64))), components)


def _deviation(values: Floats) -> float:
    table = values.reshape(len(values), -1)
    finite = np.isfinite(table).all(axis=1)
    if finite.sum() < 2:
        return 0.0
    deviation = float(table[finite].std(axis=0, ddof=1).max())
    return deviation if deviation >= NEGLIGIBLE else 0.0
