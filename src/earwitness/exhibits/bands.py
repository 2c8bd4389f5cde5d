"""Uncertainty bands as plain outlines: both renderers fill these same ones."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.exhibits.description import Line
from earwitness.records.grid import Bools, Floats

#: A band on a fine grid is smooth: every second point of its line will do.
STRIDE: Final = 2
#: A stretch of fewer points is no fine grid, and keeps them all.
FINE: Final = 100


def outlines(line: Line) -> tuple[Floats, ...]:
    """One closed outline for each unbroken stretch of a line: its value ± one standard uncertainty.

    Each has shape (N, 2), frequency in Hz and level: along the upper edge and back along the lower. Empty
    where no uncertainty is known.
    """
    if line.uncertainty is None:
        return ()
    drawn = np.isfinite(line.y) & np.isfinite(line.uncertainty)
    return tuple(_outline(line.x[s], line.y[s], line.uncertainty[s]) for s in stretches(drawn))


def stretches(drawn: Bools) -> tuple[slice, ...]:
    """The unbroken stretches of points that are drawn."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], drawn, [False])).astype(np.int8)))
    return tuple(slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _outline(x: Floats, y: Floats, uncertainty: Floats) -> Floats:
    kept = np.unique(np.r_[: x.size : STRIDE if x.size >= FINE else 1, x.size - 1])
    x, low, high = x[kept], (y - uncertainty)[kept], (y + uncertainty)[kept]
    return np.column_stack((np.r_[x, x[::-1], x[:1]], np.r_[high, low[::-1], high[:1]]))
