"""Many arriving waves as a few: β as a function of u is smooth, so that an even grid of u holds it.

What waves send on is Σ aᵢ/(cosh ν(uᵢ + v) − cos w) for every v. Along the faces w takes two values alone: a
wave leaves along the face that it came along, or along the other. Towards listeners it is as wide as they are
far from the limit of what is seen. A function of that kind is known from its values on a grid of x = νu whose
step is a part of the least w (its poles lie iw off the real axis), so each wave is shared out over the grid
once, and only the grid's few values are sent on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from earwitness.virtual.arrays import Floats

#: Largest x on the grid, and its step re the smaller width.
REACH, STEP = 6.0, 0.6
#: Spacing of the table of shares, and of the v for which the shares are fitted.
FINE, FITTED = 0.01, 0.05
#: Widths for which they are fitted: so many, up to so little below half a turn.
WIDTHS, WIDEST = 5, 0.3
#: Singular values below so much of the largest are noise.
NOISE = 1e-7


@dataclass(frozen=True, slots=True)
class Grid:
    """Places (G,) in x = νu, and the shares of each in a wave at x = −REACH + FINE·row: (rows, G)."""

    order: float
    places: Floats
    table: Floats

    def shares(self, lean: Floats) -> Floats:
        """Of each place in waves of any `lean` (...); shape (..., G), single precision."""
        row = (np.clip(self.order * lean, -REACH, REACH) + REACH) / FINE
        low = np.minimum(row.astype(np.intp), len(self.table) - 2)
        rest = (row - low).astype(np.float32)[..., None]
        below = self.table[low]
        return np.asarray(below + rest * (self.table[low + 1] - below))


@lru_cache(maxsize=8)
def grid(order: float, least: float) -> Grid:
    """The grid for wedges of ν = `order` and all w from `least` up, by least squares over all v."""
    widths = np.linspace(least, np.pi - WIDEST, WIDTHS)
    places = np.linspace(-REACH, REACH, int(np.ceil(2.0 * REACH / (STEP * widths.min()))) + 1)
    fine = np.linspace(-REACH, REACH, round(2.0 * REACH / FINE) + 1)
    there = np.arange(-REACH - 1.0, REACH + 1.0, FITTED)

    def kernel(x: Floats) -> Floats:
        rise = np.cosh(x[:, None] + there)
        return np.concatenate([np.sin(w) / (rise - np.cos(w)) for w in widths], axis=1)

    table = kernel(fine) @ np.linalg.pinv(kernel(places), rcond=NOISE)
    return Grid(order, places, table.astype(np.float32))
