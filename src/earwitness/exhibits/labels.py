"""Names at line ends that never collide: the least movement that keeps them apart.

Positions run along one axis in any unit (pixels, millimetres). The interactive renderer's script carries
the same algorithm, and a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from earwitness.records.grid import Floats


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> Floats:
    """Where labels stand so that neighbours are at least `gap` apart, with the least sum of squared movement.

    Parameters
    ----------
    wanted
        Shape (N,): where each label would stand alone, in any order.
    gap
        The least distance between neighbours (≥ 0).
    low, high
        The labels' range. Where N labels don't fit, they keep their gap and reach over `high`.

    Returns
    -------
    ndarray
        Shape (N,), in the order of `wanted`; labels keep their order, and equal ones theirs in the sequence.

    Notes
    -----
    With the k-th gap subtracted from the k-th sorted position, "at least a gap apart" becomes "not
    descending", and the least-squares answer is isotonic regression (pool adjacent violators), clipped to the
    range.
    """
    positions = np.asarray(wanted, dtype=np.float64)
    order = np.argsort(positions, kind="stable")
    offsets = gap * np.arange(positions.size)
    free = np.clip(_isotonic(positions[order] - offsets), low, max(low, high - gap * (positions.size - 1)))
    placed = np.empty_like(positions)
    placed[order] = free + offsets
    return placed


def room_for(gap: float, low: float, high: float) -> int:
    """How many labels fit between `low` and `high` at `gap` from each other."""
    return int(np.floor((high - low) / gap + 1e-9)) + 1 if high >= low else 0


def _isotonic(values: Floats) -> Floats:
    """The nearest not descending sequence in least squares, by pooling adjacent violators."""
    means: list[float] = []
    counts: list[int] = []
    for value in values:
        mean, count = float(value), 1
        while means and means[-1] > mean:
            mean = (means[-1] * counts[-1] + mean * count) / (counts[-1] + count)
            count += counts.pop()
            means.pop()
        means.append(mean)
        counts.append(count)
    return np.repeat(means, counts) if means else np.empty(0)
