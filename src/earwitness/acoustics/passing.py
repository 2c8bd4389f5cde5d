"""Where something that grows with the level passes a limit, and where over frequency it stays below one.

Defined here: between two levels that were measured the value runs straight in decibels; nothing is carried
past the highest or the lowest level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Passing:
    """The level at which a limit is passed, one a column.

    Attributes
    ----------
    level_db
        Shape (B,): where `found`, by interpolation; else the highest level that stays within the limit
        ("at least" that much), or the lowest one where that passes it already ("less than" that). NaN where
        nothing is known.
    found, at_least, less_than
        Shape (B,): at most one of them is true.
    """

    level_db: Float64s
    found: Bools
    at_least: Bools
    less_than: Bools


def first_passing(
    level_db: npt.ArrayLike, value: npt.ArrayLike, limit: float, *, hidden_below: bool = False
) -> Passing:
    """The level at which `value` first passes `limit`, going up.

    Parameters
    ----------
    level_db, value
        Shape (D, B), in the order of rising drive; NaN where not known. What lies above an unknown value
        isn't looked at.
    hidden_below
        Whether the search begins at the lowest known value instead, since noise alone hides those below it;
        where that one is over the limit already, the limit is passed at "less than" its level.
    """
    level, y = np.broadcast_arrays(np.asarray(level_db, dtype=float), np.asarray(value, dtype=float))
    told = np.isfinite(level) & np.isfinite(y)
    begun = np.cumsum(told, axis=0) > 0 if hidden_below else np.ones(told.shape, dtype=np.bool_)
    known = begun & np.cumprod(told | ~begun, axis=0).astype(bool)
    over = known & (np.where(known, y, 0.0) > limit)
    any_known, any_over = known.any(axis=0), over.any(axis=0)
    first, lowest = np.argmax(over, axis=0), np.argmax(known, axis=0)
    last = np.maximum(lowest + known.sum(axis=0) - 1, 0)
    column = np.arange(level.shape[1])
    found = any_over & (first > lowest)
    before = np.maximum(first - 1, 0)
    y0, y1 = y[before, column], y[first, column]
    x0, x1 = level[before, column], level[first, column]
    with np.errstate(invalid="ignore", divide="ignore"):
        between = x0 + (limit - y0) / (y1 - y0) * (x1 - x0)
    at_least, less_than = any_known & ~any_over, any_over & (first == lowest)
    ends = np.where(less_than, level[lowest, column], level[last, column])
    result = np.where(found, between, np.where(any_known, ends, np.nan))
    return Passing(result, np.asarray(found), np.asarray(at_least), np.asarray(less_than))


@dataclass(frozen=True)
class Crossing:
    """How a value passes a limit: by how much it grows with the level there, and what isn't known of where.

    `slope` is per dB of level; `bend_db` is how far away from the straight line's passing that of a monotone
    cubic through the same points lies, dB.
    """

    slope: float
    bend_db: float


def crossing(level_db: npt.ArrayLike, value: npt.ArrayLike, limit: float) -> Crossing | None:
    """The first passing between two neighbours of known values; None where there is none.

    The cubic has at each point the harmonic mean of the slopes beside it, or none where they differ in sign:
    it stays monotone (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300; recalled).

    Parameters
    ----------
    level_db, value
        Shape (D,), in the order of rising drive; unknown values are left out.
    """
    told = np.isfinite(np.asarray(level_db, dtype=float)) & np.isfinite(np.asarray(value, dtype=float))
    x, y = np.asarray(level_db, dtype=float)[told], np.asarray(value, dtype=float)[told]
    over = np.flatnonzero(y > limit)
    if x.size < 2 or not over.size or over[0] == 0:
        return None
    first = int(over[0])
    slopes = np.diff(y) / np.diff(x)
    slope = float(slopes[first - 1])
    ends = [_harmonic(slopes, first - 1), _harmonic(slopes, first)]
    step = x[first] - x[first - 1]
    t = np.linspace(0.0, 1.0, 257)
    bent = (
        y[first - 1] * (1.0 + 2.0 * t) * (1.0 - t) ** 2
        + y[first] * t**2 * (3.0 - 2.0 * t)
        + step * (ends[0] * t * (1.0 - t) ** 2 - ends[1] * t**2 * (1.0 - t))
    )
    straight = (limit - y[first - 1]) / (y[first] - y[first - 1])
    return Crossing(slope, float(step * abs(np.interp(limit, bent, t) - straight)))


def _harmonic(slopes: Float64s, point: int) -> float:
    """The slope at a point between two stretches; at the ends that of the one stretch."""
    beside = slopes[max(point - 1, 0) : point + 1]
    if np.any(beside * beside[0] <= 0.0):
        return 0.0
    return float(beside.size / np.sum(1.0 / beside))


def earliest(several: list[Passing]) -> Passing:
    """Of several limits the one that is passed first, a column; "at least" only where none is passed.

    A column in which any of them is unknown is unknown, unless another is passed already at the lowest level.
    """
    level = np.stack([one.level_db for one in several])
    less = np.stack([one.less_than for one in several])
    passed = np.stack([one.found for one in several])
    known = np.isfinite(level).all(axis=0)
    less_than = less.any(axis=0)
    lowest = np.min(np.where(np.isfinite(level), level, np.inf), axis=0)
    at_lowest = np.min(np.where(less, level, np.inf), axis=0)
    # a limit that is never passed says "at least": one that is passed above that level says no more
    by = np.argmin(np.where(np.isfinite(level), level, np.inf), axis=0)
    found = known & ~less_than & np.take_along_axis(passed, by[None], axis=0)[0]
    result = np.where(less_than, at_lowest, np.where(known, lowest, np.nan))
    at_least: Bools = np.asarray(known & ~less_than & ~found)
    return Passing(result, np.asarray(found), at_least, np.asarray(less_than))


def runs(flags: npt.ArrayLike) -> list[tuple[int, int]]:
    """First and last index of each stretch of True in flags (n,)."""
    steps = np.flatnonzero(np.diff(np.concatenate([[False], np.asarray(flags), [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(steps[::2], steps[1::2], strict=True)]


def lasting_from(within: npt.ArrayLike, known: npt.ArrayLike) -> int | None:
    """The lowest index of flags (n,) from which to the last known one all are known and within, or None."""
    last = np.flatnonzero(np.asarray(known))
    if not last.size:
        return None
    holds = (np.asarray(within) & np.asarray(known))[: last[-1] + 1]
    if not holds[-1]:
        return None
    breaks = np.flatnonzero(~holds)
    return int(breaks[-1]) + 1 if breaks.size else 0
