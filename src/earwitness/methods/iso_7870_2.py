"""ISO 7870-2 (control charts, after Shewhart): the chart of individual values. Recalled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: Three standard deviations by the mean moving range of two: 3/d₂, with d₂ = 1.128 (recalled).
MOVING_RANGE_FACTOR: Final = 2.66
#: So many values make limits that mean something: two moving ranges.
LEAST_VALUES: Final = 3

SOURCE: Final = Source("ISO 7870-2", "", "individuals and moving range", Standing.RECALLED)


@dataclass(frozen=True, slots=True)
class Limits:
    """The centre line and the limits about it, in the values' unit."""

    centre: float
    lower: float
    upper: float


def individuals(values: Floats) -> Limits:
    """Limits of n values (n,) in the order of time: their mean ± 2.66 times their mean moving range.

    Worked numbers: 10, 12 and 11 have a mean of 11 and moving ranges of 2 and 1, so limits of 11 ± 3.99.

    Raises
    ------
    ValueError
        There are fewer than three values.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.size < LEAST_VALUES:
        raise ValueError(f"{x.size} values have no limits; there must be {LEAST_VALUES}")
    centre, reach = float(x.mean()), MOVING_RANGE_FACTOR * float(np.abs(np.diff(x)).mean())
    return Limits(centre, centre - reach, centre + reach)
