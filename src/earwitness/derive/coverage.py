"""Coverage: how far to each side the level stays within 6 dB of the on-axis response.

The reference is the on-axis response smoothed by a third of an octave. Going outward from the maximum of the
main lobe, the first fall to 6 dB below the reference ends the coverage, on each side apart. Directions are
smoothed by the same third octave before their crossing is looked for, so that ripple which all directions
share cancels; the map itself shows them as measured. Levels run straight in dB between directions. Nothing is
interpolated across a gap between directions, nor past one that isn't valid: what lies beyond is not known.

Source: common practice, chosen here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.curves import EVERY, DerivedCurves
from earwitness.derive.directivity import MAX_STEP_DEG, level_db, orbit_rows
from earwitness.records.curves import CoverageMap
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.responses import Directivity
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import ON_AXIS, Orbit

#: Where the covered angle ends, dB re the smoothed on-axis response.
EDGE_DB: Final = -6.0
#: The reference is smoothed by one over this many octaves.
SMOOTHING_FRACTION: Final = 3
#: The main lobe's maximum is looked for within this angle of the axis (the widest of the listening window).
MAIN_LOBE_DEG: Final = 30.0

SOURCE: Final = Source("Earwitness", "", "coverage", Standing.OWN)


@dataclass(frozen=True)
class OrbitCoverage:
    """The crossings on one orbit.

    `positive_deg` and `negative_deg` have shape (F,): the half-angle, inf where the level never falls so far,
    NaN where that isn't known. The raw ones are about the on-axis response as measured, with every direction
    as measured. The draws have shape (N, F'), at every `EVERY`-th frequency. `about_a_null` (F,) is where the
    axis lies in a null, so that an angle about it isn't known.
    """

    chart: CoverageMap
    positive_deg: Floats
    negative_deg: Floats
    raw_positive_deg: Floats
    raw_negative_deg: Floats
    positive_draws_deg: Floats
    negative_draws_deg: Floats
    about_a_null: Bools


def crossings_deg(angle_deg: Floats, relative_db: Floats, valid: Bools) -> tuple[Floats, Floats]:
    """First fall to `EDGE_DB` going outward on the positive and on the negative side, degrees.

    Parameters
    ----------
    angle_deg
        Shape (A,), ascending in (−180, 180], with 0 among them.
    relative_db
        Shape (..., A, F), dB re the reference.
    valid
        Shape (A, F).

    Returns
    -------
    tuple of arrays
        Shape (..., F): inf where it never falls, NaN where a gap or an invalid direction comes first.
    """
    axis = int(np.argmin(np.abs(angle_deg)))
    behind = angle_deg[-1] >= 180.0 - MAX_STEP_DEG
    outward = np.arange(axis, len(angle_deg))
    back = np.arange(axis, -1, -1)
    if behind and angle_deg[0] + 360.0 - angle_deg[-1] <= MAX_STEP_DEG:
        back = np.append(back, len(angle_deg) - 1)
    negative = -angle_deg[back]
    negative[negative < 0] += 360.0
    return (
        _outward_deg(angle_deg[outward], relative_db[..., outward, :], valid[outward]),
        _outward_deg(negative, relative_db[..., back, :], valid[back]),
    )


def orbit_coverage(derived: DerivedCurves, orbit: Orbit) -> OrbitCoverage | None:
    """Coverage on one orbit with its uncertainty; None where the orbit has no axis or no second direction."""
    field = derived.field
    rows, angle = orbit_rows(field, orbit)
    axis = next((i for i, row in enumerate(rows) if field.directions[row] == ON_AXIS), None)
    if axis is None or len(rows) < 2:
        return None
    smooth, smooth_valid = smooth_power(
        field.power[rows], field.valid[rows], SMOOTHING_FRACTION, POINTS_PER_OCTAVE
    )
    level = level_db(smooth)
    known = smooth_valid & np.isfinite(level)
    relative = np.where(known & known[axis], level - level[axis], np.nan)
    null = _about_a_null(angle, relative, known & known[axis])
    positive, negative = (
        np.where(null, np.nan, side) for side in crossings_deg(angle, relative, known & known[axis])
    )
    drawn = relative[:, ::EVERY] + _error_draws(derived, rows, axis)
    draws = crossings_deg(angle, drawn, (known & known[axis])[:, ::EVERY])
    spread = [_spread_deg(field.frequency_hz, side) for side in draws]
    raw_valid = field.valid[rows] & known[axis]
    raw = np.where(raw_valid, level_db(field.power[rows]) - level[axis], np.nan)
    stated = bool(derived.errors.stated)
    chart = CoverageMap(
        orbit=str(orbit),
        angle_deg=angle,
        relative_db=raw,
        valid=raw_valid,
        positive_deg=_finite(positive),
        negative_deg=_finite(negative),
        positive_uncertainty_deg=np.where(np.isfinite(positive) & stated, spread[0], np.nan),
        negative_uncertainty_deg=np.where(np.isfinite(negative) & stated, spread[1], np.nan),
        takes=tuple(sorted({t for row in rows for t in field.takes[row]})),
        mirrored_deg=tuple(angle[derived.takes.mirrored[rows]].tolist()),
    )
    axis_db = level_db(field.power[rows[axis]])
    about_raw = np.where(field.valid[rows], level_db(field.power[rows]), np.nan) - axis_db
    unsmoothed = crossings_deg(angle, about_raw, np.isfinite(about_raw))
    return OrbitCoverage(chart, positive, negative, *unsmoothed, *draws, null)


def _about_a_null(angle_deg: Floats, relative_db: Floats, known: Bools) -> Bools:
    """Where the main lobe stands as far above the axis as its edge is to lie below it, shape (F,).

    A fall to the edge is then one by twice as much or more: it says nothing of how far the sound reaches.
    """
    lobe = np.where(known, relative_db, -np.inf)[np.abs(angle_deg) <= MAIN_LOBE_DEG]
    return np.asarray(lobe.max(axis=0) > -EDGE_DB)


def missing_directions(field: Directivity, orbit: Orbit, wanted_deg: Floats) -> tuple[str, ...]:
    """Labels of the directions at `wanted_deg` on an orbit that were not measured."""
    have = {d.angle_deg for d in field.directions if d.orbit is orbit or d.angle_deg in (0.0, 180.0)}
    return tuple(f"{orbit} {a:+g}°".replace("-", "−") for a in wanted_deg.tolist() if a not in have)


def _outward_deg(angle_deg: Floats, relative_db: Floats, valid: Bools) -> Floats:
    """First crossing on one side: `angle_deg` (A,) ascends from the axis, `relative_db` is (..., A, F)."""
    steps_known = np.concatenate(([True], np.diff(angle_deg) <= MAX_STEP_DEG))
    known = np.logical_and.accumulate(valid & steps_known[:, None], axis=0)
    inside = angle_deg <= MAIN_LOBE_DEG
    lobe = np.where(known[inside], relative_db[..., inside, :], -np.inf)
    start = np.argmax(lobe, axis=-2)
    place = np.arange(len(angle_deg))[:, None]
    fallen = known & (relative_db < EDGE_DB) & (place > start[..., None, :])
    first = np.argmax(fallen, axis=-2)
    found = fallen.any(axis=-2)
    index = first[..., None, :]
    outer = np.take_along_axis(relative_db, index, axis=-2)[..., 0, :]
    inner = np.take_along_axis(relative_db, np.maximum(index - 1, 0), axis=-2)[..., 0, :]
    inner_deg, outer_deg = angle_deg[np.maximum(first - 1, 0)], angle_deg[first]
    part = (EDGE_DB - inner) / np.where(found, outer - inner, -1.0)
    crossing = inner_deg + part * (outer_deg - inner_deg)
    reaches_back = angle_deg[-1] >= 180.0 - MAX_STEP_DEG
    never = np.where(known[-1] & reaches_back, np.inf, np.nan)
    return np.where(found, crossing, never)


def _error_draws(derived: DerivedCurves, rows: list[int], axis: int) -> Floats:
    """Errors of the orbit's directions re that of the axis, dB, shape (N, A, F').

    Errors of the takes as drawn, unsmoothed: what varies within a third octave is an upper bound.
    """
    takes = derived.takes
    power = takes.power[:, ::EVERY]
    part = takes.mixing[rows][:, :, None] * power
    total = part.sum(axis=1, keepdims=True)
    share = (part / np.where(total > 0, total, np.inf)).astype(np.float32)
    error = np.zeros((len(derived.drawn.error_db), len(rows), power.shape[-1]), dtype=np.float32)
    for take in np.flatnonzero(takes.mixing[rows].any(axis=0)):
        lines = np.flatnonzero(takes.mixing[rows, take])
        error[:, lines] += share[lines, take] * derived.drawn.error_db[:, take, None, :]
    return np.asarray(error - error[:, axis : axis + 1])


def _spread_deg(frequency_hz: Floats, draws_deg: Floats) -> Floats:
    """Standard deviation of the draws, spread out over the whole grid; NaN where few of them cross."""
    finite = np.isfinite(draws_deg)
    count = finite.sum(axis=0)
    enough = count > len(draws_deg) // 2
    known = np.where(finite, draws_deg, 0.0)
    mean = known.sum(axis=0) / np.maximum(count, 1)
    square = np.where(finite, (known - mean) ** 2, 0.0).sum(axis=0)
    deviation = np.sqrt(square / np.maximum(count - 1, 1))
    log_f = np.log(frequency_hz)
    spread = np.interp(log_f, log_f[::EVERY][enough], deviation[enough]) if enough.any() else np.nan
    return np.asarray(np.broadcast_to(spread, frequency_hz.shape))


def _finite(angle_deg: Floats) -> Floats:
    return np.where(np.isfinite(angle_deg), angle_deg, np.nan)
