"""How alike the two sides of an orbit are, where both were measured. Source: defined here."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.directivity import TakePowers, directivity, level_db
from earwitness.records.grid import POINTS_PER_OCTAVE, Floats
from earwitness.records.responses import Directivity
from earwitness.records.takes import Orbit

#: Sides that differ by more than this, as a root mean square in dB, contradict a stated symmetry.
SIDES_WARNING_DB: Final = 1.0
#: Each response is smoothed by one over this many octaves.
SIDES_FRACTION: Final = 3


def sides_difference_db(takes: TakePowers, orbit: Orbit, field: Directivity | None = None) -> float | None:
    """Root mean square over angle and frequency of the level on one side less that on the other, dB.

    Of directions that were measured on both sides, each smoothed by 1/3 octave, where both are valid; None
    where there are none. Worked number: 3 dB apart on one pair of two and alike on the other give 2.12 dB.
    `field` holds the directions of the takes, where somebody worked them out already.
    """
    apart = _apart_db(takes, orbit, field)
    known = np.isfinite(apart)
    return float(np.sqrt(np.mean(apart[known] ** 2))) if known.any() else None


def sides_over_frequency_db(takes: TakePowers, orbit: Orbit, field: Directivity | None = None) -> Floats:
    """The same over angle alone, shape (F,); NaN where nothing was measured on both sides."""
    apart = _apart_db(takes, orbit, field)
    count = np.isfinite(apart).sum(axis=0)
    return np.where(count > 0, np.sqrt(np.nansum(apart**2, axis=0) / np.maximum(count, 1)), np.nan)


def _apart_db(takes: TakePowers, orbit: Orbit, field: Directivity | None) -> Floats:
    """One side less the other, shape (pairs, F); NaN where either isn't valid."""
    field = directivity(takes) if field is None else field
    rows = {d: i for i, d in enumerate(field.directions) if d.orbit is orbit and not takes.mirrored[i]}
    pairs = [(row, rows[d.mirrored]) for d, row in rows.items() if d.angle_deg > 0.0 and d.mirrored in rows]
    pairs = [(one, other) for one, other in pairs if one != other]
    if not pairs:
        return np.empty((0, len(field.frequency_hz)))
    power, valid = np.nan_to_num(field.power[pairs]), field.valid[pairs]
    smooth, known = smooth_power(power, valid, SIDES_FRACTION, POINTS_PER_OCTAVE)
    level = level_db(smooth)
    return np.where(known.all(axis=1), level[:, 0] - level[:, 1], np.nan)
