"""What repeated takes of one direction say about how well a take repeats.

Two repeats alone tell a spread badly: it is known to its own size. So all directions that were repeated tell
one spread together, and each frequency learns from an octave and a half to either side of it. What changes
from one repeat to the next (place, level, temperature) moves a response over about an octave: three octaves
hold 2.8 values that are independent, times one less than the repeats of each direction. That many degrees of
freedom go with the spread; few of them widen what rests on it (`methods.student.student_factor`).

What noise explains of the scatter is taken off: it is a component of its own. Where a near field was spliced
in, repeats from afar say nothing: there its own repeats tell (`measurement.near_repeats`), and without them
the spread of the lowest frequencies above stands there, too.

Both orbits hold the axis: takes of one thing. What they disagree by there, beyond what is known of each take,
is an error that a whole orbit has in common (the loudspeaker was laid on its side, the level was changed), so
it doesn't average out over the orbit's directions.

Source: JCGM 100, clauses 4.2.3 and 4.2.4 (pooled variance) and annex G (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.acoustics import pooling
from earwitness.derive.directivity import TakePowers, level_db
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.takes import Direction, Orbit
from earwitness.records.uncertainty import NEGLIGIBLE


@dataclass(frozen=True)
class Repeatability:
    """How well a single take repeats, or a whole orbit.

    Attributes
    ----------
    standard_db
        Shape (F,): standard uncertainty of one take's level, or of what all takes of one orbit share.
    degrees
        Shape (F,): its degrees of freedom; infinite where it is what the case states.
    """

    standard_db: Floats
    degrees: Floats


def repeatability(
    takes: TakePowers, noise_db: Floats | None, near_field: Bools, stated_db: float | None
) -> Repeatability | None:
    """Standard uncertainty of a single take's level by repetition.

    `noise_db` (T, F) is each take's uncertainty by noise, `near_field` (T, F) where a take rests on a near
    field. `stated_db` counts where it is more than what repeats tell. None where nothing is stated and
    nothing was repeated. Worked number: three repeats of 77, 80 and 83 dB scatter by 3 dB; their mean is
    known to 1.73 dB, with 5.5 degrees of freedom.
    """
    points = len(takes.frequency_hz)
    stated = None
    if stated_db is not None:
        stated = Repeatability(np.full(points, stated_db), np.full(points, np.inf))
    told = _told(takes, np.zeros(takes.power.shape) if noise_db is None else noise_db, ~near_field)
    if told is None or stated is None:
        return told or stated
    more = told.standard_db > stated.standard_db
    return Repeatability(
        np.where(more, told.standard_db, stated.standard_db), np.where(more, told.degrees, np.inf)
    )


def orbit_repeatability(
    takes: TakePowers, known_db: Floats, near_field: Bools, single: Repeatability | None
) -> Repeatability | None:
    """Standard uncertainty that all takes of an orbit share, by what the two orbits show apart on axis.

    `known_db` (T, F) is what else is known of each take by itself: noise and angle. It and how well a
    `single` take repeats are taken off. None where the axis isn't on both orbits, or nothing is
    left. Worked number: 2 dB apart, with nothing else known, are √2 dB of each orbit.
    """
    groups = [takes.counting(Direction(orbit, 0.0)) for orbit in Orbit]
    if not all(groups):
        return None
    own = takes.valid & ~near_field & (takes.power > 0)
    told = np.logical_and.reduce([own[rows].all(axis=0) for rows in groups])
    one, other = (level_db(takes.power[rows].mean(axis=0)) for rows in groups)
    squares = np.square(np.where(told, one - other, 0.0))
    for rows in groups:
        squares -= np.square(known_db[rows]).sum(axis=0) / len(rows) ** 2
        if single is not None:
            squares -= single.standard_db**2 / len(rows)
    pooled = pooling.pooled(np.where(told, 0.5 * squares, 0.0), told.astype(np.float64), POINTS_PER_OCTAVE)
    if pooled is None or not (pooled[0] > NEGLIGIBLE).any():
        return None
    return Repeatability(np.sqrt(pooled[0]), pooled[1])


def _told(takes: TakePowers, noise_db: Floats, usable: Bools) -> Repeatability | None:
    """What the repeats of all directions tell; None where none are valid anywhere."""
    points = len(takes.frequency_hz)
    squares, freedom = np.zeros(points), np.zeros(points)
    for rows in _repeated(takes):
        known = np.asarray((takes.valid[rows] & usable[rows] & (takes.power[rows] > 0)).all(axis=0))
        level = np.where(known, level_db(takes.power[rows]), 0.0)
        beyond = np.var(level, axis=0, ddof=1) - np.mean(noise_db[rows] ** 2, axis=0)
        squares += np.where(known, (len(rows) - 1) * beyond, 0.0)
        freedom += np.where(known, len(rows) - 1, 0)
    pooled = pooling.pooled(squares, freedom, POINTS_PER_OCTAVE)
    return None if pooled is None else Repeatability(np.sqrt(pooled[0]), pooled[1])


def _repeated(takes: TakePowers) -> list[list[int]]:
    """Rows of the takes of each direction that was measured more than once on its own orbit."""
    rows: dict[Direction, list[int]] = {}
    for row, take in enumerate(takes.takes):
        if take.key.direction:
            rows.setdefault(take.key.direction, []).append(row)
    return [group for group in rows.values() if len(group) > 1]
