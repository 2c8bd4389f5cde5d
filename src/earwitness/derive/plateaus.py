"""Summing up a coverage: at most four steady stretches, with straight transitions between them.

The half-angles of both sides, sampled at 1/12 octave, are fitted by plateaus joined by lines over log
frequency, in the logarithm of the angle (a beam narrows by factors, and an error of the level moves a wide
edge by more degrees than a narrow one). Where the pieces begin and end is found by dynamic programming over
all choices on a grid of 1/6 octave. Each plateau must pay for itself, so that a ripple adds none; what leaves
it by more than 5° costs extra, so that "steady" can be taken at its word. A level that never falls by 6 dB
counts as 180°.

Source: defined here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.grid import Bools, Floats

Indices = npt.NDArray[np.intp]

#: At most so many plateaus.
MAX_CLAUSES: Final = 4
#: Deviation from a plateau that is taken for scatter, as a fraction of the angle.
SCATTER: Final = 0.1
#: What a plateau must bring in squared deviation over squared scatter, summed over samples and sides.
PENALTY: Final = 25.0
#: A plateau is steady where no sample is further from its mean than this.
STEADY_DEG: Final = 5.0
#: What is further away costs so much for each squared degree of it, up to a limit for each sample, lest one
#: side that now and then never falls takes all clauses.
_BEYOND_WEIGHT: Final = 4.0
_BEYOND_LIMIT_DEG: Final = 3.0
#: Samples (of 1/12 octave) between possible ends of plateaus.
KNOT_STEP: Final = 2
#: Angles below this count as this.
_LEAST_DEG: Final = 5.0
#: What "never falls by 6 dB" counts as.
_ALL_ROUND_DEG: Final = 180.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """One plateau: samples `first` to `last`, both included."""

    first: int
    last: int


def stretches(half_angle_deg: Floats) -> tuple[Stretch, ...]:
    """The plateaus of half-angles of shape (sides, N); the first begins at 0, the last ends at N−1.

    A plateau of one sample is an end or a bend of a transition.
    """
    angle = np.clip(half_angle_deg, _LEAST_DEG, _ALL_ROUND_DEG)
    y = np.log(angle) / SCATTER
    samples = y.shape[-1]
    knots = np.unique(np.append(np.arange(0, samples, KNOT_STEP), samples - 1))
    start, end = np.triu_indices(len(knots))
    first, last = knots[start], knots[end]
    cost, mean = _plateau_cost(y, first, last)
    cost += _unsteady_cost(angle, first, last)
    transition = _transition_cost(y, first, last, mean)
    begins, ends = first == 0, last == samples - 1
    best = np.where(begins, cost + PENALTY, np.inf)
    trail: list[Indices] = []
    final, chosen = _cheapest(best, ends)
    length = 1
    for clauses in range(2, MAX_CLAUSES + 1):
        reached = best[:, None] + transition
        trail.append(np.argmin(reached, axis=0))
        best = reached[trail[-1], np.arange(len(first))] + cost + PENALTY
        total, candidate = _cheapest(best, ends)
        if total < final:
            final, chosen, length = total, candidate, clauses
    path = [chosen]
    for back in reversed(trail[: length - 1]):
        path.append(int(back[path[-1]]))
    return tuple(Stretch(int(first[i]), int(last[i])) for i in reversed(path))


def _cheapest(cost: Floats, allowed: Bools) -> tuple[float, int]:
    index = int(np.argmin(np.where(allowed, cost, np.inf)))
    return float(cost[index]), index


def _running(values: Floats) -> Floats:
    """Running sums with a zero in front, so that a stretch's sum is one difference."""
    return np.concatenate((np.zeros((*values.shape[:-1], 1)), np.cumsum(values, axis=-1)), axis=-1)


def _plateau_cost(
    y: Floats,
    first: Indices,
    last: Indices,
) -> tuple[Floats, Floats]:
    """Squared deviation from each plateau's mean over all sides (P,), and the means (sides, P)."""
    count = last - first + 1
    sums, squares = _running(y), _running(y**2)
    total = sums[:, last + 1] - sums[:, first]
    mean = total / count
    deviation = squares[:, last + 1] - squares[:, first] - total * mean
    return np.maximum(deviation, 0.0).sum(axis=0), mean


def _unsteady_cost(angle_deg: Floats, first: Indices, last: Indices) -> Floats:
    """What each plateau's samples cost that lie further than `STEADY_DEG` from its mean, shape (P,)."""
    place = np.arange(angle_deg.shape[-1])
    inside = (place >= first[:, None]) & (place <= last[:, None])
    mean = angle_deg @ inside.T / inside.sum(axis=1)
    beyond = np.abs(angle_deg[:, None, :] - mean[:, :, None]) - STEADY_DEG
    beyond = np.clip(beyond, 0.0, _BEYOND_LIMIT_DEG) * inside
    return np.asarray(_BEYOND_WEIGHT * np.square(beyond).sum(axis=(0, 2)))


def _transition_cost(
    y: Floats,
    first: Indices,
    last: Indices,
    mean: Floats,
) -> Floats:
    """Squared deviation from the line between two plateaus, shape (P, P); inf where they don't follow.

    From the end of the one, at sample b, to the beginning of the next, at a, the line passes over the samples
    between them.
    """
    position = np.arange(y.shape[-1], dtype=np.float64)
    sums, squares, moments = _running(y), _running(y**2), _running(position * y)
    one, other = np.nonzero(first[None, :] > last[:, None])
    b, a = last[one], first[other]
    gap = (a - b).astype(np.float64)
    n = gap - 1
    linear, quadratic = 0.5 * n * gap, n * gap * (2 * gap - 1) / 6.0
    deviation = np.zeros(len(one))
    for side in range(len(y)):
        level = mean[side][one]
        slope = (mean[side][other] - level) / gap
        inside = sums[side][a] - sums[side][b + 1]
        moment = moments[side][a] - moments[side][b + 1] - b * inside
        deviation += squares[side][a] - squares[side][b + 1] - 2 * level * inside - 2 * slope * moment
        deviation += n * level**2 + 2 * level * slope * linear + slope**2 * quadratic
    cost = np.full((len(first), len(first)), np.inf)
    cost[one, other] = np.maximum(deviation, 0.0)
    return cost
