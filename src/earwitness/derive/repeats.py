"""What repeated takes of one direction say about how well a take repeats."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.directivity import TakePowers, level_db
from earwitness.methods.gum import type_a
from earwitness.records.grid import POINTS_PER_OCTAVE, Floats
from earwitness.records.takes import Direction

#: The variance of few repeats is pooled over one over this many octaves.
POOLING_FRACTION: Final = 3


def repeat_standard_db(takes: TakePowers, stated_db: float | None) -> Floats | None:
    """Standard uncertainty of a single take's level by repetition, dB, shape (T, F).

    Of repeated takes it is the scatter of their levels, √n times the type A uncertainty of their mean, pooled
    over a third of an octave; of a take without repeats the scatter of those that have them, pooled over all.
    `stated_db` counts where it is more. None where nothing is stated and nothing was repeated. Worked number:
    three repeats of 77, 80 and 83 dB scatter by 3 dB; their mean is known to 1.73 dB.

    Source: JCGM 100, clauses 4.2.3 and 4.2.4 (recalled).
    """
    groups = _repeated(takes)
    if not groups:
        return None if stated_db is None else np.full(takes.power.shape, stated_db)
    variances = np.stack([_variance(takes, rows) for rows in groups])
    known = np.isfinite(variances)
    pooled = np.where(known, variances, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    variance = np.tile(pooled, (len(takes.takes), 1))
    for rows, own in zip(groups, variances, strict=True):
        variance[rows] = np.where(np.isfinite(own), own, pooled)
    return np.asarray(np.maximum(np.sqrt(variance), 0.0 if stated_db is None else stated_db))


def _repeated(takes: TakePowers) -> list[list[int]]:
    """Rows of the takes of each direction that was measured more than once on its own orbit."""
    rows: dict[Direction, list[int]] = {}
    for row, take in enumerate(takes.takes):
        if take.key.direction:
            rows.setdefault(take.key.direction, []).append(row)
    return [group for group in rows.values() if len(group) > 1]


def _variance(takes: TakePowers, rows: list[int]) -> Floats:
    """Variance of one take of a repeated direction, dB², shape (F,); NaN where not all are valid."""
    valid = np.asarray((takes.valid[rows] & (takes.power[rows] > 0)).all(axis=0))
    level = np.where(valid, level_db(takes.power[rows]), 0.0)
    variance = len(rows) * type_a(level, axis=0) ** 2
    smooth, smooth_valid = smooth_power(variance, valid, POOLING_FRACTION, POINTS_PER_OCTAVE)
    return np.where(smooth_valid, smooth, np.where(valid, variance, np.nan))
