"""JCGM 100:2008, guide to the expression of uncertainty in measurement (GUM). Recalled.

Worked numbers: 86.1, 86.3, 85.9, 86.2, 86.0 dB have mean 86.1 and a type A standard uncertainty of 0.070711;
with type B parts of 0.3 and 0.2 the combined one is 0.367423, expanded with k = 2 to 0.734847. It has
4·(0.367423/0.070711)⁴ = 2916 degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: Coverage factor of an expanded uncertainty, about 95 % (clause 6; recalled).
COVERAGE_FACTOR: Final = 2.0

SOURCE: Final = Source("JCGM 100", "2008", "4, 5", Standing.RECALLED)


def type_a(values: Floats, axis: int = -1) -> Floats:
    """Standard uncertainty s/√n of the mean of n ≥ 2 observations (clause 4.2.3)."""
    return np.asarray(np.std(values, axis=axis, ddof=1) / np.sqrt(values.shape[axis]))


def combined(components: Sequence[float | Floats]) -> Floats:
    """Combined standard uncertainty √Σu² of uncorrelated components (clause 5.1.2)."""
    squares = [np.square(np.asarray(u, dtype=np.float64)) for u in components]
    return np.asarray(np.sqrt(np.sum(np.broadcast_arrays(*squares), axis=0)))


def expanded(standard: float | Floats, factor: float = COVERAGE_FACTOR) -> Floats:
    """Expanded uncertainty U = k·u (clause 6.2.1)."""
    return factor * np.asarray(standard, dtype=np.float64)


def effective_degrees(total: float | Floats, component: float | Floats, degrees: float | Floats) -> Floats:
    """Welch-Satterthwaite degrees of freedom of a total with one component that has few (annex G.4.1).

    ν·(u_c/u)⁴; all other components count as known exactly. Infinite where `component` is zero.
    """
    whole, part = np.asarray(total, dtype=np.float64), np.asarray(component, dtype=np.float64)
    ratio = np.divide(whole, part, out=np.full(np.broadcast(whole, part).shape, np.inf), where=part > 0.0)
    return np.asarray(ratio**4 * degrees)
