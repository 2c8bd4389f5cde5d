"""Whether levels change over the angle as one loudspeaker's do: takes out of level, swaps, a wrong zero.

A loudspeaker's level changes smoothly from direction to direction, so that a cubic through two neighbours to
each side foretells it. What that misses is weighed re what it usually misses at that frequency, and counts by
ln(1 + x²) (Cauchy's law): real edges and nulls, which are few and large, then decide nothing.
Source: defined here; limits were chosen on the loudspeakers of the virtual workshop and seeds from 20000.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]

#: Neighbours that foretell a take: two to each side, within so many degrees.
BESIDE: Final = 2
WITHIN_DEG: Final = 45.0
#: Fewer takes on an orbit have no order that could be doubted.
LEAST_ORDERED: Final = 7
#: Fewer bands tell nothing.
LEAST_BANDS: Final = 3
#: What is missed counts as no less than this: noise, and turntables.
LEAST_MISSED_DB: Final = 0.05
#: Levels are held against their neighbours where these usually foretell them to so much.
FORETOLD_DB: Final = 0.4
#: A take is out of level by no less than this, and than so many standard errors, bands of a sixth octave
#: being so many times as many as are independent.
OUT_OF_LEVEL_DB: Final = 0.5
ERRORS: Final = 4.0
DEPENDENT: Final = 3.0
#: It is out of level by so much of that in all but a fifth of the bands at each end, of an octave or more.
_MIDDLE_PERCENT: Final = (20.0, 80.0)
_MOST_OF: Final = 0.5
LEAST_CLEAR: Final = 6
#: What a turntable is off by, which explains what grows with how levels change over the angle.
ANGLE_ERROR_DEG: Final = 2.0
#: Takes out of level on one orbit that are told from each other.
MOST_OUT: Final = 4
#: Two takes are out of order where their swap brings so much a band; mirror images, to 20°, more: of a
#: loudspeaker that radiates alike to both sides they differ by the errors of their angles alone.
SWAP_BRINGS: Final = 2.2
MIRROR_BRINGS: Final = 6.0
MIRRORED_DEG: Final = 20.0
#: Pairs that are tried at a time.
PAIRS: Final = 256
#: Axes of symmetry that are tried, in steps, and directions that are held against their mirror images.
AXES_DEG: Final = 30.0
AXIS_STEP_DEG: Final = 2.5
SEEN_DEG: Final = 120.0
_NORMAL: Final = 1.4826


@dataclass(frozen=True)
class Foretold:
    """How N takes on one orbit are foretold by their neighbours.

    `misses` (N, N) times levels (N,) is what is missed of each; its row is zero where there are too few.
    """

    angle_deg: Float64s
    misses: Float64s

    @classmethod
    def on(cls, angle_deg: Float64s) -> Foretold:
        """The takes at angles (N,) in rising order, round the orbit or part of it."""
        count = len(angle_deg)
        misses = np.zeros((count, count))
        for row in range(count):
            away = (angle_deg - angle_deg[row] + 180.0) % 360.0 - 180.0
            after = [k for k in np.argsort(away).tolist() if 0.0 < away[k] <= WITHIN_DEG][:BESIDE]
            before = [k for k in np.argsort(-away).tolist() if -WITHIN_DEG <= away[k] < 0.0][:BESIDE]
            if len(after) + len(before) == 2 * BESIDE:
                near = [*before, *after]
                misses[row, row] = 1.0
                misses[row, near] = -_lagrange(away[near])
        return cls(angle_deg, misses)

    @property
    def tells(self) -> bool:
        """Whether enough takes are foretold."""
        return int(np.count_nonzero(self.misses.any(axis=-1))) >= LEAST_ORDERED

    def usual_db(self, level_db: Float64s) -> Float64s:
        """What is usually missed at each of B bands of levels (B, N): a robust standard deviation, (B,)."""
        told = self.misses.any(axis=-1)
        missed = np.abs(level_db @ self.misses.T)[:, told]
        return np.asarray(np.maximum(_NORMAL * np.median(missed, axis=-1), LEAST_MISSED_DB))

    def cost(self, level_db: Float64s, usual_db: Float64s) -> float:
        """How unlike their neighbours levels (B, N) are, as a mean over bands."""
        missed = level_db @ self.misses.T / usual_db[:, None]
        return float(np.mean(np.sum(np.log1p(missed**2), axis=-1)))


def _lagrange(at: Float64s) -> Float64s:
    """Weights of the values at points (K,) in the polynomial through them, at zero."""
    others = np.where(np.eye(at.size, dtype=bool), 1.0, -at / (at[:, None] - at + np.eye(at.size)))
    return np.asarray(np.prod(others, axis=-1))


@dataclass(frozen=True)
class OutOfLevel:
    """A take (its place on the orbit) that is `louder_db` than its neighbours foretell, by the median."""

    place: int
    louder_db: float


@dataclass(frozen=True)
class Swap:
    """Two takes, by their places on the orbit, and what their swap brings a band."""

    one: int
    other: int
    brings: float


@dataclass(frozen=True)
class Disorder:
    """What is wrong on one orbit: takes out of level, and two that stand in each other's place.

    `best` is the swap that brings most of all, whether it tells or not; None where it makes levels follow
    each other worse. `tells_level`: enough bands are foretold well enough for a gain to show. `louder_db`
    (N,) is by how much each take is louder than those beside it foretell, once these are put right; NaN where
    it isn't so at all frequencies, or can't be told.
    """

    out_of_level: tuple[OutOfLevel, ...]
    swap: Swap | None
    best: Swap | None
    tells_level: bool
    louder_db: Float64s


def disorder(angle_deg: Float64s, level_db: Float64s) -> Disorder | None:
    """What is wrong with levels (N, B), in bands, of takes at angles (N,) in rising order; None untold.

    One take out of level and two that were swapped look alike at first: what explains more is taken, and the
    other is sought in what is left.
    """
    foretold = Foretold.on(angle_deg)
    known = np.isfinite(level_db).all(axis=0)
    levels = np.ascontiguousarray(level_db[:, known].T)
    if not foretold.tells or len(levels) < LEAST_BANDS:
        return None
    usual = foretold.usual_db(levels)
    clear = int(np.count_nonzero(usual <= FORETOLD_DB)) >= LEAST_CLEAR
    corrected, out = _out_of_level(foretold, levels, usual)
    before = foretold.cost(levels, usual)
    gained = before - foretold.cost(corrected, usual)
    best = _best_swap(foretold, levels, usual)
    if best is not None and _tells(best, angle_deg) and best.brings >= gained:
        put_back = levels.copy()
        put_back[:, [best.one, best.other]] = levels[:, [best.other, best.one]]
        usual = foretold.usual_db(put_back)
        corrected, out = _out_of_level(foretold, put_back, usual)
        return Disorder(tuple(out), best, best, clear, _louder_than_right_db(foretold, corrected, usual, out))
    if out:
        best = _best_swap(foretold, corrected, usual)
    told = best if best is not None and _tells(best, angle_deg) else None
    return Disorder(tuple(out), told, best, clear, _louder_than_right_db(foretold, corrected, usual, out))


def _tells(swap: Swap, angle_deg: Float64s) -> bool:
    apart = angle_deg[swap.one] + angle_deg[swap.other]
    mirrored = abs((apart + 180.0) % 360.0 - 180.0) <= MIRRORED_DEG
    return bool(swap.brings > (MIRROR_BRINGS if mirrored else SWAP_BRINGS))


def _out_of_level(
    foretold: Foretold, level_db: Float64s, usual_db: Float64s
) -> tuple[Float64s, list[OutOfLevel]]:
    """Levels (B, N) with takes that are out of level put right, and which these are, the worst first."""
    found: list[OutOfLevel] = []
    levels = level_db.copy()
    clear = usual_db <= FORETOLD_DB
    if clear.sum() < LEAST_CLEAR:
        return levels, found
    for _ in range(MOST_OUT):
        louder, error = _louder_db(foretold, levels[clear], usual_db[clear])
        told = np.abs(louder) >= np.maximum(OUT_OF_LEVEL_DB, ERRORS * error)
        if not told.any():
            break
        place = int(np.argmax(np.where(told, np.abs(louder), 0.0)))
        put_right = levels.copy()
        put_right[:, place] -= louder[place]
        if foretold.cost(put_right, usual_db) >= foretold.cost(levels, usual_db):
            break
        levels = put_right
        found.append(OutOfLevel(place, float(louder[place])))
    return levels, found


def _louder_db(foretold: Foretold, level_db: Float64s, usual_db: Float64s) -> tuple[Float64s, Float64s]:
    """By how much each take is louder than foretold in all B bands alike, and its standard error, (N,) each.

    Beside a gain, which is alike at all frequencies, stands an error of the angle, whose effect goes with how
    levels (B, N) change over the angle there; both are fitted by least squares, the latter with a standard
    deviation of its own. Infinitely unsure where a take stands beside too few, or isn't alike in most bands.
    """
    strength = np.sum(foretold.misses**2, axis=0)
    seen = level_db @ foretold.misses.T @ foretold.misses / np.maximum(strength, 1e-9)
    slope = (np.roll(level_db, -1, axis=-1) - np.roll(level_db, 1, axis=-1)) / _two_steps_deg(
        foretold.angle_deg
    )
    weight = (strength / usual_db[:, None] ** 2) / DEPENDENT
    ones, mixed = weight.sum(axis=0), (weight * slope).sum(axis=0)
    squares = (weight * slope**2).sum(axis=0) + ANGLE_ERROR_DEG**-2
    first, second = (weight * seen).sum(axis=0), (weight * slope * seen).sum(axis=0)
    whole = np.maximum(ones * squares - mixed**2, 1e-12)
    louder = (squares * first - mixed * second) / whole
    off_deg = (ones * second - mixed * first) / whole
    left = (weight * (seen - louder - off_deg * slope) ** 2).sum(axis=0) * DEPENDENT / len(level_db)
    error = np.sqrt(squares / whole * np.maximum(left, 1.0))
    low, high = np.percentile(seen - off_deg * slope, _MIDDLE_PERCENT, axis=0)
    alike = np.where(louder > 0.0, low, -high) >= _MOST_OF * np.abs(louder)
    return louder, np.where((strength > 1.0) & alike, error, np.inf)


def _louder_than_right_db(
    foretold: Foretold, right_db: Float64s, usual_db: Float64s, out: Sequence[OutOfLevel]
) -> Float64s:
    """By how much each take is louder than those beside it foretell, of levels that were put right."""
    clear = usual_db <= FORETOLD_DB
    if clear.sum() < LEAST_CLEAR:
        return np.full(right_db.shape[-1], np.nan)
    louder, error = _louder_db(foretold, right_db[clear], usual_db[clear])
    unsure = (np.abs(louder) >= OUT_OF_LEVEL_DB) & (np.abs(louder) < ERRORS * error)
    for one in out:
        louder[one.place] += one.louder_db
    return np.where(foretold.misses.any(axis=-1) & ~unsure, louder, np.nan)


def _two_steps_deg(angle_deg: Float64s) -> Float64s:
    """From the angle before each to that after it, the orbit closed, (N,)."""
    return np.asarray((np.roll(angle_deg, -1) - np.roll(angle_deg, 1)) % 360.0)


def _best_swap(foretold: Foretold, level_db: Float64s, usual_db: Float64s) -> Swap | None:
    """The swap that makes levels (B, N) follow each other best; None where none makes them do so better."""
    misses = foretold.misses
    missed = level_db @ misses.T
    first, second = np.triu_indices(level_db.shape[-1], 1)
    costs = np.empty(first.size)
    for start in range(0, first.size, PAIRS):
        one, other = first[start : start + PAIRS], second[start : start + PAIRS]
        step = level_db[:, other] - level_db[:, one]
        moved = missed[:, :, None] + step[:, None, :] * (misses[:, one] - misses[:, other])
        costs[start : start + PAIRS] = (
            np.log1p((moved / usual_db[:, None, None]) ** 2).sum(axis=1).mean(axis=0)
        )
    best = int(np.argmin(costs))
    brings = foretold.cost(level_db, usual_db) - float(costs[best])
    return Swap(int(first[best]), int(second[best]), brings) if brings > 0.0 else None


@dataclass(frozen=True)
class Symmetry:
    """Where an orbit's axis of symmetry lies, and how unlike both sides are about it and about 0°.

    `tried_deg` (K,) are axes that were tried, `apart_db` (K,) how unlike both sides are about them.
    """

    axis_deg: float
    about_axis_db: float
    about_zero_db: float
    tried_deg: Float64s
    apart_db: Float64s


def axis_of_symmetry(angle_deg: Float64s, level_db: Float64s) -> Symmetry | None:
    """About which angle levels (N, B) of a whole orbit in even steps are most alike on both sides.

    Levels between directions are those of the trigonometric polynomial through all N; sides are held against
    each other to 120° from the axis, by medians over bands. None where the orbit has gaps or no bands.
    """
    known = np.isfinite(level_db).all(axis=0)
    count = len(angle_deg)
    even = count >= LEAST_ORDERED and np.allclose(np.diff(angle_deg), 360.0 / count, atol=1e-6)
    zero = np.flatnonzero(np.isclose(angle_deg, 0.0))
    if not even or not zero.size or known.sum() < LEAST_BANDS:
        return None
    axes = np.arange(-AXES_DEG, AXES_DEG + 0.5 * AXIS_STEP_DEG, AXIS_STEP_DEG)
    order = np.arange(count // 2 + 1)
    turn = np.exp(1j * np.radians(order * axes[:, None]))
    spectrum = np.fft.rfft(level_db[:, known], axis=0)
    seen = np.fft.irfft(turn[:, :, None] * spectrum, count, axis=1)
    mirror = (2 * int(zero[0]) - np.arange(count)) % count
    apart = np.median(np.abs(seen - seen[:, mirror]), axis=-1)[:, np.abs(angle_deg) <= SEEN_DEG].mean(axis=-1)
    best = int(np.argmin(apart))
    about_zero = float(apart[axes.size // 2])
    return Symmetry(_vertex(axes, apart, best), float(apart[best]), about_zero, axes, apart)


def _vertex(axes: Float64s, apart: Float64s, best: int) -> float:
    """Where the two lines through the values beside the least meet, which is steep on both sides."""
    if not 0 < best < axes.size - 1:
        return float(axes[best])
    left, right = apart[best - 1] - apart[best], apart[best + 1] - apart[best]
    steeper = max(left, right)
    return float(axes[best] + 0.5 * AXIS_STEP_DEG * (left - right) / max(steeper, 1e-9))


@dataclass(frozen=True)
class Meeting:
    """At which angle of an orbit the other's take on axis fits best: mean differences over bands, dB."""

    angle_deg: float
    there_db: float
    at_zero_db: float


def meeting(angle_deg: Float64s, level_db: Float64s, on_axis_db: Float64s) -> Meeting | None:
    """Where levels (N, B) of one orbit are those of the other on axis (B,); None where it can't be told."""
    near = np.flatnonzero(np.abs(angle_deg) <= AXES_DEG)
    known = np.isfinite(level_db[near]).all(axis=0) & np.isfinite(on_axis_db)
    zero = np.flatnonzero(np.isclose(angle_deg[near], 0.0))
    if near.size < 3 or not zero.size or known.sum() < LEAST_BANDS:
        return None
    apart = np.abs(level_db[np.ix_(near, np.flatnonzero(known))] - on_axis_db[known]).mean(axis=-1)
    best = int(np.argmin(apart))
    return Meeting(float(angle_deg[near[best]]), float(apart[best]), float(apart[zero[0]]))
