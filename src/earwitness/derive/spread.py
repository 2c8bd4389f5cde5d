"""A number's uncertainty: the same function over the draws of the curve that it comes from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.methods.gum import combined, effective_degrees
from earwitness.methods.student import student_factor
from earwitness.records.curves import CurveName
from earwitness.records.grid import Bools, Floats
from earwitness.records.uncertainty import NEGLIGIBLE, ComponentName

#: Fewer draws than these that give a number tell no spread.
LEAST_DRAWS: Final = 16


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

    The total is the root sum of squares of the components, times what `of` makes of them together: its spread
    over draws of all of them at once, against that of the sum of what each of them does alone. Of a linear
    function it is the root sum of squares itself, whatever the draws; so it can't grow when a part shrinks.
    """
    nominal = derived.curves[curve].level_db[inside]
    alone: dict[ComponentName, Floats] = {}
    components: dict[ComponentName, float | None] = {}
    together = nominal
    for name, draws in derived.component_draws_db[curve].items():
        if draws is None:
            components[name] = None
            continue
        alone[name] = _table(of(nominal + draws[:, inside]))
        components[name] = float(_deviations(alone[name]).max())
        together = together + draws[:, inside]
    if not any(components.values()):
        return Spread(None, components)
    squares = {name: _deviations(values) ** 2 for name, values in alone.items()}
    repeat = squares.get(ComponentName.REPEAT, np.zeros(1))
    growth = _growth(_table(of(together)), list(alone.values()), _table(of(nominal)[None]))
    total = np.sqrt(sum(squares.values()))
    degrees = effective_degrees(total, np.sqrt(repeat), derived.repeat_degrees[curve][inside].min())
    return Spread(float((total * growth * student_factor(degrees)).max()), components)


def _growth(together: Floats, alone: Sequence[Floats], nominal: Floats) -> Floats:
    """Spread of (N, n) numbers over that of the sum of what each component does alone, shape (n,)."""
    added = np.sum([values - nominal for values in alone], axis=0)
    finite = np.isfinite(together).all(axis=1) & np.isfinite(added).all(axis=1)
    if finite.sum() < LEAST_DRAWS:
        return np.ones(together.shape[1])
    spread = added[finite].std(axis=0, ddof=1)
    growth = together[finite].std(axis=0, ddof=1) / np.maximum(spread, NEGLIGIBLE)
    return np.where(spread > NEGLIGIBLE, growth, 1.0)


def _table(values: Floats) -> Floats:
    return values.reshape(len(values), -1)


def _deviations(table: Floats) -> Floats:
    """Spread over the draws of each of n numbers, shape (n,); zero where it is but rounding."""
    finite = np.isfinite(table).all(axis=1)
    if finite.sum() < LEAST_DRAWS:
        return np.zeros(table.shape[1])
    deviation = table[finite].std(axis=0, ddof=1)
    return np.where(deviation >= NEGLIGIBLE, deviation, 0.0)
