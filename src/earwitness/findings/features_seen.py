"""Where a level stands out, at all widths at once: bells, not slopes that bend.

A bell stands out of the chord between the levels one arm below and one arm above it. Arms reach from 1/24
to 1.4 octaves, in steps of a quarter of an octave of width. At each arm the largest values count where the
level has the shape of a bell there: over half the arm it stands out too, over twice the arm little more (a
parabola would four times as much), its flanks bend the other way, and it falls to both sides of what lies
below it, which is the level smoothed over an arm. Of the same bell seen over several arms the one that
stands out most is kept. Nothing is taken away before others are sought: ripple is peaks and dips, and each
of them stands out. Common practice of scale spaces; the limits were set on tuning seeds (docs/evaluation.md).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]

#: Arms of chords, octaves; at an end of the band an arm keeps this part of its length at least.
ARMS_OCTAVES: Final = tuple(float(arm) for arm in 2.0 ** np.arange(-4.5, 0.51, 0.25))
SHORTER_ARM: Final = 0.5
#: Levels are smoothed by a Gaussian of this part of an arm, the ground by one of a whole arm or this.
SMOOTHED: Final = 0.1
GROUND_OCTAVES: Final = 1.0 / 6.0
#: What is kept in one direction, dB out of the chord; and so many times the noise of a chord.
SEEN_DB, OVER_NOISE = 0.7, 2.8
#: Parts of what stands out over the arm: over half of it at least, over twice of it at most, in both flanks
#: together and in each at most, and above the ground to the side to which it falls less.
NARROWER, WIDER, FLANKS, FLANK, LESSER_SIDE = 0.2, 1.8, -0.1, -0.03, 0.3
#: Long arms gather what isn't one feature: what they find counts by its arm to this power less.
ARM_POWER: Final = 0.3
#: Bells of one sign are one where their arms differ by no more than this and they lie half an arm apart.
ALIKE_ARMS: Final = 2.0


class Bell(NamedTuple):
    """A bell on a grid: index of its middle, arm in octaves, how far it stands out, signed."""

    at: int
    arm_octaves: float
    seen_db: float


def chords_db(level_db: Float64s, arm: int) -> Float64s:
    """How far each point lies out of the chord over an arm of points to each side, (F,).

    Arms end with the band; NaN where one of them is too short for that.
    """
    low, high, usable = _ends(level_db.size, arm)
    here = np.arange(level_db.size)
    share = (here - low) / np.maximum(high - low, 1)
    chord = (1.0 - share) * level_db[low] + share * level_db[high]
    return np.asarray(np.where(usable, level_db - chord, np.nan))


def _ends(count: int, arm: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    here = np.arange(count)
    low, high = np.maximum(here - arm, 0), np.minimum(here + arm, count - 1)
    return low, high, np.minimum(here - low, high - here) >= SHORTER_ARM * arm


def bells(level_db: Float64s, noise_db: Float64s) -> list[Bell]:
    """Bells of a level (F,) on a stretch of the derived grid, what stands out most first.

    Parameters
    ----------
    noise_db
        Standard uncertainty of single points, (F,).
    """
    least = np.maximum(SEEN_DB, OVER_NOISE * np.sqrt(1.5) * noise_db)
    seen = [bell for octaves in ARMS_OCTAVES for bell in _of_arm(level_db, least, octaves)]
    seen.sort(key=lambda bell: -abs(bell.seen_db) * bell.arm_octaves**-ARM_POWER)
    kept: list[Bell] = []
    for bell in seen:
        if not any(_same(bell, other) for other in kept):
            kept.append(bell)
    return kept


def _same(one: Bell, other: Bell) -> bool:
    if one.seen_db * other.seen_db < 0.0:
        return False
    long, short = max(one.arm_octaves, other.arm_octaves), min(one.arm_octaves, other.arm_octaves)
    apart = abs(one.at - other.at) / POINTS_PER_OCTAVE
    return apart < 0.5 * (long if long <= 1.001 * ALIKE_ARMS * short else short)


def _of_arm(level_db: Float64s, least_db: Float64s, octaves: float) -> list[Bell]:
    """Bells of one arm, of both signs."""
    arm = round(octaves * POINTS_PER_OCTAVE)
    smooth = gaussian_filter1d(level_db, SMOOTHED * arm, mode="nearest")
    here, narrow, wide = (chords_db(smooth, n) for n in (arm, max(arm // 2, 1), 2 * arm))
    low, high, _ = _ends(level_db.size, arm)
    ground = gaussian_filter1d(level_db, max(arm, GROUND_OCTAVES * POINTS_PER_OCTAVE), mode="nearest")
    above = smooth - ground
    sides = np.stack([smooth - ground - smooth[low] + ground[low], above - smooth[high] + ground[high]])
    flanks = np.full((2, level_db.size), np.nan)
    if arm < level_db.size:
        flanks[0, arm:], flanks[1, :-arm] = narrow[:-arm], narrow[arm:]
    found = []
    for sign in (1.0, -1.0):
        size = np.nan_to_num(sign * here, nan=-1.0)
        bend = sign * flanks
        bell = (size >= least_db) & (np.nan_to_num(sign * narrow) >= NARROWER * size)
        bell &= ~(sign * wide > WIDER * size) & ((sign * sides).min(axis=0) >= LESSER_SIDE * size)
        bell &= ~(bend > FLANK * size).any(axis=0) & (np.nansum(bend, axis=0) <= FLANKS * size)
        top = size >= maximum_filter1d(size, max(2 * int(0.3 * arm) + 1, 3)) - 1e-12
        found += [Bell(int(k), octaves, float(sign * size[k])) for k in np.flatnonzero(bell & top)]
    return [bell for bell in found if 0 < bell.at < level_db.size - 1]
