"""Directions that a measured sphere lacks, interpolated from those that it has.

Pressures with a phase are fitted as they are, about the cabinet's centre where the case describes one, and
hold up to kr = N: the order N that the sphere supports, the radius r of the sphere round the cabinet. Squares
of pressures without phase hold up to half of that, since the square of a field reaches twice its order. What
the fit misses of each direction when that is left out is the interpolation's uncertainty; where it misses too
much, nothing is valid. See docs/decisions/0009.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.smoothing import OCTAVE_RATIO
from earwitness.acoustics.spherical import Cover, HarmonicFit, cover, supported_hz, unit_vectors
from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse, Placed
from earwitness.methods.cta_2034 import DIRECTIONS
from earwitness.records.facts import Box, Sphere
from earwitness.records.grid import REFERENCE_DISTANCE_M
from earwitness.records.takes import Direction

Float64s = npt.NDArray[np.float64]
Integers = npt.NDArray[np.intp]
Complexes = npt.NDArray[np.complexfloating]

#: A sphere that supports less is none: two orbits in steps of 10° support 1.
LEAST_ORDER: Final = 4
#: From where a fit misses more than this part of the mean pressure, nothing is valid.
LARGEST_MISS: Final = 0.1
#: A level that may be wrong by more than this isn't valid.
LARGEST_DB: Final = 3.0
#: Frequencies fitted at a time, and those at which directions are left out.
BLOCK: Final = 512
TESTED: Final = 384
_DB_PER_PART: Final = 20.0 / np.log(10.0)


@dataclass(frozen=True)
class MeasuredSphere:
    """Responses in Q directions, at 1 m.

    Attributes
    ----------
    directions
        Shape (Q, 3), unit vectors.
    pressure
        Shape (Q, F), complex; its phase means nothing where `has_phase` is False.
    """

    directions: Float64s
    frequency_hz: Float64s
    pressure: Complexes
    has_phase: bool
    unit: LevelUnit


@dataclass(frozen=True)
class Interpolation:
    """W directions between those of a sphere.

    Attributes
    ----------
    responses
        W responses at 1 m, level and uncertainty NaN where not valid.
    missed
        Shape (F,): what it misses of a direction that is left out, as a part of the mean pressure.
    limit_hz
        Up to where the order reaches round the cabinet; infinite where no cabinet is described.
    """

    responses: tuple[MeasuredResponse, ...]
    missed: Float64s
    order: int
    with_phase: bool
    limit_hz: float


@dataclass(frozen=True)
class _Fitted:
    """Predicted pressure (W, F), its uncertainty in dB (W, F), and the part that is missed (F,)."""

    pressure: Complexes
    uncertainty_db: Float64s
    missed: Float64s
    limit_hz: float

    def band(self, frequency_hz: Float64s) -> npt.NDArray[np.bool_]:
        """Where the fit holds, shape (F,): the first band without a gap, up to the limit.

        Above it a fit that misses little does so by chance.
        """
        holds = (frequency_hz <= self.limit_hz) & (self.missed <= LARGEST_MISS)
        begun = np.logical_or.accumulate(holds)
        return np.asarray(holds & ~np.logical_or.accumulate(begun & ~holds))


def lacking(positions_deg: Sequence[tuple[float, float]]) -> tuple[Direction, ...]:
    """The standard's directions that azimuths and elevations lack; none where they are no sphere."""
    have = {direction.shared for p in positions_deg if (direction := Direction.at(*p)) is not None}
    absent = tuple(direction for direction in DIRECTIONS if direction not in have)
    if not absent or len(positions_deg) < LEAST_ORDER**2:
        return ()
    sphere = covered(unit_vectors(*np.array(positions_deg).T))
    return absent if sphere is not None and sphere.order >= LEAST_ORDER else ()


def covered(directions: Float64s) -> Cover | None:
    """How unit vectors (Q, 3) cover the sphere; None where they lie in one plane, or nearly so."""
    distinct = np.unique(np.round(directions, 9), axis=0)
    spread = np.linalg.svd(distinct, compute_uv=False)
    return cover(distinct) if len(distinct) > 3 and spread[2] > 0.1 * spread[0] else None


def interpolated(
    sphere: MeasuredSphere, wanted: Float64s, cabinet: Sphere | Box | None, speed_m_s: float
) -> Interpolation:
    """Responses in the directions `wanted` (W, 3).

    The better of the fits to the pressure and to its square is taken: pressure needs one clock for all
    directions, which a file with phase doesn't always have.
    """
    found = cover(sphere.directions)
    fit = HarmonicFit.over(sphere.directions, found.area_sr, found.order)
    candidates = [(False, _of_squares(sphere, fit, wanted, cabinet, speed_m_s))]
    if sphere.has_phase:
        candidates.insert(0, (True, _of_pressures(sphere, fit, wanted, cabinet, speed_m_s)))
    with_phase, best = max(candidates, key=lambda c: int(c[1].band(sphere.frequency_hz).sum()))
    valid = best.band(sphere.frequency_hz) & (best.uncertainty_db <= LARGEST_DB)
    return Interpolation(
        responses=tuple(
            _response(sphere, pressure, np.where(holds, spread, np.nan), with_phase)
            for pressure, holds, spread in zip(best.pressure, valid, best.uncertainty_db, strict=True)
        ),
        missed=best.missed,
        order=found.order,
        with_phase=with_phase,
        limit_hz=best.limit_hz,
    )


def _of_pressures(
    sphere: MeasuredSphere, fit: HarmonicFit, wanted: Float64s, cabinet: Sphere | Box | None, speed_m_s: float
) -> _Fitted:
    """The fit to complex pressures, moved to the cabinet's centre, where their order is least."""
    radius, behind = _round_cabinet(cabinet)
    turn = 2j * np.pi * behind / speed_m_s * sphere.frequency_hz
    weights = fit.weights(wanted)
    predicted = np.empty((len(wanted), sphere.frequency_hz.size), dtype=np.complex128)

    def centred(these: slice | Integers) -> Complexes:
        moved = np.exp(np.outer(sphere.directions[:, 0], turn[these])) if behind else 1.0
        return np.asarray(sphere.pressure[:, these] * moved)

    for block in _blocks(sphere.frequency_hz.size):
        predicted[:, block] = weights @ centred(block)
    predicted *= np.exp(-np.outer(wanted[:, 0], turn))
    tested = _tested(sphere.frequency_hz)
    samples = centred(tested)
    mean = np.sqrt(fit.area_sr @ np.abs(samples) ** 2 / fit.area_sr.sum())
    missed, part = _over_all(sphere.frequency_hz, tested, fit.left_out(samples), mean)
    # of an error in a random phase, half its square moves the level
    standard = _DB_PER_PART * _over(missed / np.sqrt(2.0), np.abs(predicted))
    limit = supported_hz(fit.order, radius, speed_m_s) if radius else np.inf
    return _Fitted(predicted, standard, part, limit)


def _of_squares(
    sphere: MeasuredSphere, fit: HarmonicFit, wanted: Float64s, cabinet: Sphere | Box | None, speed_m_s: float
) -> _Fitted:
    """The fit to squared pressures."""
    radius, _ = _round_cabinet(cabinet)
    weights = fit.weights(wanted)
    predicted = np.empty((len(wanted), sphere.frequency_hz.size))
    for block in _blocks(sphere.frequency_hz.size):
        predicted[:, block] = weights @ _squared(sphere.pressure[:, block])
    tested = _tested(sphere.frequency_hz)
    samples = _squared(sphere.pressure[:, tested])
    mean = fit.area_sr @ samples / fit.area_sr.sum()
    missed, part = _over_all(sphere.frequency_hz, tested, fit.left_out(samples), mean)
    square = np.maximum(predicted, 0.0)
    standard = 0.5 * _DB_PER_PART * _over(missed, square)
    limit = 0.5 * supported_hz(fit.order, radius, speed_m_s) if radius else np.inf
    return _Fitted(np.sqrt(square).astype(np.complex128), standard, 0.5 * part, limit)


def _squared(pressure: Complexes) -> Float64s:
    return np.asarray(np.abs(pressure).astype(np.float64) ** 2)


def _tested(frequency_hz: Float64s) -> Integers:
    """Which frequencies directions are left out at: some of them, evenly over log frequency."""
    at = np.geomspace(frequency_hz[0], frequency_hz[-1], TESTED)
    return np.unique(np.searchsorted(frequency_hz, at).clip(0, frequency_hz.size - 1))


def _over_all(
    frequency_hz: Float64s, tested: Integers, missed: Float64s, mean: Float64s
) -> tuple[Float64s, Float64s]:
    """What is missed, and its part of the mean, at all frequencies from those that were tested, (F,) each."""
    smooth = _third_octave(missed, frequency_hz[tested])
    place, known = np.log(frequency_hz), np.log(frequency_hz[tested])
    return np.interp(place, known, smooth), np.interp(place, known, smooth / mean)


def _response(
    sphere: MeasuredSphere, pressure: Complexes, spread_db: Float64s, with_phase: bool
) -> MeasuredResponse:
    size = np.where(np.isfinite(spread_db), np.abs(pressure), np.nan)
    return MeasuredResponse(
        sphere.frequency_hz,
        20.0 * np.log10(size),
        np.rad2deg(np.angle(pressure)) if with_phase else None,
        sphere.unit,
        Placed(REFERENCE_DISTANCE_M),
        spread_db,
    )


def _round_cabinet(cabinet: Sphere | Box | None) -> tuple[float, float]:
    """Radius of the sphere round the cabinet, and how far behind the front its centre lies, in metres."""
    if cabinet is None:
        return 0.0, 0.0
    if isinstance(cabinet, Sphere):
        return 0.5 * cabinet.diameter_m, 0.5 * cabinet.diameter_m
    diagonal = float(np.linalg.norm([cabinet.width_m, cabinet.height_m, cabinet.depth_m]))
    return 0.5 * diagonal, 0.5 * cabinet.depth_m


def _third_octave(missed: Float64s, frequency_hz: Float64s) -> Float64s:
    """Root mean square over the third of an octave about each frequency."""
    half = OCTAVE_RATIO ** (1.0 / 6.0)
    first = np.searchsorted(frequency_hz, frequency_hz / half)
    last = np.searchsorted(frequency_hz, frequency_hz * half, side="right")
    total = np.concatenate([[0.0], np.cumsum(missed**2)])
    return np.asarray(np.sqrt((total[last] - total[first]) / (last - first)))


def _over(missed: Float64s, whole: Float64s) -> Float64s:
    """`missed` (F,) over `whole` (W, F); infinite where that is next to nothing."""
    little = np.finfo(np.float32).tiny
    everywhere = np.full(whole.shape, np.inf)
    return np.asarray(np.divide(missed, whole, out=everywhere, where=whole > little))


def _blocks(size: int) -> list[slice]:
    return [slice(first, min(first + BLOCK, size)) for first in range(0, size, BLOCK)]
