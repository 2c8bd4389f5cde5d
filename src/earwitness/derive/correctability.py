"""How much of the deviations of a response is common to all directions, so that an equaliser takes it away.

In each direction the deviation d is the level less that direction's own smooth course: a straight line fitted
about each frequency in log frequency, weighted by a bell of half an octave (standard deviation). Over the
directions of one orbit d has the mean d̄ and the variance s², weighted by the sphere's area that each stands
for; an equaliser removes d̄ and leaves s. C = d̄²/(d̄² + s²), d̄² and s² each in the mean over a third of an
octave, since d̄ alone passes through zero. Each orbit counts apart: a misaligned crossover is common to all
directions of the horizontal orbit and to none of the vertical. Source: defined here.

Draws of the takes' errors add to both squares what noise has added to the data itself: so much is taken off
once. Their spread is the uncertainty.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.curves import EVERY, DerivedCurves
from earwitness.derive.directivity import level_db
from earwitness.methods import cta_2034
from earwitness.records.correctability import Correctability, Deviation
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.takes import Direction, Orbit

#: Standard deviation of the bell in which the smooth course is fitted, octaves.
COURSE_OCTAVES: Final = 0.5
#: d̄² and s² are means over so much.
BAND_OCTAVES: Final = 1.0 / 3.0
#: Levels are smoothed by one part in so many of an octave first; points are as far apart.
FRACTION: Final = POINTS_PER_OCTAVE / EVERY
#: A shorter stretch has no course to deviate from, octaves.
LEAST_OCTAVES: Final = 2.0


def correctability(derived: DerivedCurves) -> Correctability | None:
    """Both planes and the listening window; None where directions are missing or too little is valid.

    At every eighth point of the grid. Valid from where all 70 directions are to where they end.
    """
    field = derived.field
    if field.missing(cta_2034.DIRECTIONS):
        return None
    rows = field.rows(cta_2034.DIRECTIONS)
    smooth, valid = smooth_power(field.power[rows], field.valid[rows], FRACTION, POINTS_PER_OCTAVE)
    told = _longest(np.asarray(valid.all(axis=0))[::EVERY])
    if np.count_nonzero(told) < LEAST_OCTAVES * FRACTION:
        return None
    level = level_db(smooth[:, ::EVERY][:, told])
    drawn = level + _direction_errors(derived, rows)[..., told]
    weights = (*(_orbit_weights(orbit) for orbit in Orbit), _window_weights())
    horizontal, vertical, window = (_placed(deviation(level, drawn, weight), told) for weight in weights)
    return Correctability(
        np.asarray(field.frequency_hz[::EVERY], dtype=np.float64), told, horizontal, vertical, window
    )


def deviation(level: Floats, drawn: Floats, weights: Floats) -> Deviation:
    """What D directions have in common and how they differ, at F points a twelfth of an octave apart.

    Parameters
    ----------
    level
        Shape (D, F): levels, dB.
    drawn
        Shape (N, D, F): the same with drawn errors added.
    weights
        Shape (D,), of sum 1.
    """
    counted = weights > 0.0
    level, drawn, weights = level[counted], drawn[:, counted], weights[counted]
    points = level.shape[-1]
    away = np.eye(points) - _course(points)
    band = _band(points)
    common, apart = _squares(level @ away.T, weights, band)
    drawn_common, drawn_apart = _squares(drawn @ away.T, weights, band)
    unbiased = [
        np.maximum(2.0 * one - many.mean(axis=0), 0.0)
        for one, many in ((common, drawn_common), (apart, drawn_apart))
    ]
    whole = np.maximum(drawn_common + drawn_apart, 1e-12)
    return Deviation(unbiased[0], unbiased[1], np.asarray((drawn_common / whole).std(axis=0, ddof=1)))


def _squares(away_db: Floats, weights: Floats, band: Floats) -> tuple[Floats, Floats]:
    """d̄² and s² in bands, shape (..., F), of deviations (..., D, F)."""
    mean = np.einsum("d,...df->...f", weights, away_db)
    variance = np.einsum("d,...df->...f", weights, away_db**2) - mean**2
    return np.asarray(mean**2 @ band.T), np.asarray(variance @ band.T)


def _course(points: int) -> Floats:
    """Weights (F, F) that give at each point the straight line fitted about it."""
    octave = np.arange(points) / FRACTION
    from_here = octave - octave[:, None]
    bell = np.exp(-0.5 * (from_here / COURSE_OCTAVES) ** 2)
    zeroth, first, second = (np.sum(bell * from_here**n, axis=1, keepdims=True) for n in range(3))
    return np.asarray(bell * (second - first * from_here) / (zeroth * second - first**2))


def _band(points: int) -> Floats:
    """Weights (F, F) of the mean over a third of an octave, cut at the ends."""
    reach = 0.5 * BAND_OCTAVES * FRACTION
    step = np.abs(np.arange(points) - np.arange(points)[:, None])
    inside = np.clip(reach + 0.5 - step, 0.0, 1.0)
    return np.asarray(inside / inside.sum(axis=1, keepdims=True))


def _orbit_weights(orbit: Orbit) -> Floats:
    """The share of the sphere that each of the 70 directions has of one orbit's part, shape (D,)."""
    angles = np.array([d.angle_deg for d in cta_2034.DIRECTIONS])
    pole = np.isin(angles, (0.0, 180.0))
    on_orbit = pole | np.array([d.orbit is orbit for d in cta_2034.DIRECTIONS])
    # A pole's patch has a tip at the end of each of the orbit's two halves.
    weights = cta_2034.power_weight(angles) * np.where(pole, 2.0, 1.0) * on_orbit
    return np.asarray(weights / weights.sum())


def _window_weights() -> Floats:
    window: frozenset[Direction] = frozenset(cta_2034.LISTENING_WINDOW)
    inside = np.array([d in window for d in cta_2034.DIRECTIONS], dtype=np.float64)
    return np.asarray(inside / inside.sum())


def _direction_errors(derived: DerivedCurves, rows: list[int]) -> Floats:
    """The drawn errors of the directions' levels, shape (N, D, F'), dB: means of their takes', by power."""
    mixing = derived.takes.mixing[rows]
    share = mixing[:, :, None] * derived.takes.power[None, :, ::EVERY]
    share = share / np.maximum(share.sum(axis=1, keepdims=True), 1e-30)
    made = np.einsum("dtf,ntf->ndf", share.astype(np.float32), derived.drawn.error_db, optimize=False)
    return np.asarray(made, dtype=np.float64)


def _longest(valid: Bools) -> Bools:
    """The longest run of true, alone."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], valid, [False])).astype(np.int8))).reshape(-1, 2)
    alone = np.zeros(valid.shape, dtype=np.bool_)
    if len(edges):
        start, stop = edges[int(np.argmax(edges[:, 1] - edges[:, 0]))]
        alone[start:stop] = True
    return alone


def _placed(found: Deviation, told: Bools) -> Deviation:
    """The same over the whole grid, NaN where not valid."""
    whole = np.full((3, told.size), np.nan)
    whole[:, told] = found.common_db2, found.apart_db2, found.uncertainty
    return Deviation(*whole)
