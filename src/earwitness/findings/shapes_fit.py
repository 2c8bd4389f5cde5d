"""Which broad shape a level has: a shelf, a tilt, a hump or none, each weighed against all others.

Each shape is a curve s(f) of one decibel of height, and the level is c + g·s(f) + misfit. The misfit errs
alike over a third of an octave (a Gaussian process of a squared exponential kernel: Rasmussen and Williams,
Gaussian Processes for Machine Learning, 2006, ch. 4; recalled), and may bend and tilt a little as no fault
does. For each shape the height follows by generalised least squares with a prior, and so does its evidence:
½·b²/(a + 1/σ²) − ½·ln(1 + aσ²), a = sᵀC⁻¹s, b = sᵀC⁻¹y (the closed form of a linear Gaussian model, same
source, ch. 2). Shapes are weighed by their evidence, and heights, corners and widths are means over them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.sections import gated_sections, gated_shelves
from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]
Kind = Literal["shelf", "tilt", "hump", "step"]
KINDS: Final[tuple[Kind, ...]] = ("shelf", "tilt", "hump", "step")

#: Points that are averaged, in the level and in every shape alike.
AVERAGED: Final = 8
#: Corners so many octaves apart, so far from the ends of the band; Qs of shelves and of humps.
STEP_OCTAVES, FROM_ENDS_OCTAVES = 1.0 / 6.0, 0.75
SHELF_QS, HUMP_QS = (0.2, 0.35, 0.55, 0.7, 1.0), (0.51, 0.7, 1.0, 1.4)
#: Shapes are made with this height and told per decibel: how wide they are hardly rests on it.
MADE_DB: Final = 3.0
#: Standard deviations: of a height before anything is looked at; of misfit that errs alike, over so many
#: octaves; of misfit that doesn't.
HEIGHT_DB, ALIKE_DB, ALIKE_OCTAVES, APART_DB = 3.0, 0.3, 0.35, 0.15
#: Of a bend over the whole band that is no shape: decibels at its ends.
BEND_DB: Final = 0.3
#: That there is no shape at all, before anything is looked at.
NONE: Final = 0.5
#: A shelf is borne out by a level that differs by this part of its height, over so many octaves on each side.
BORNE_OUT, SIDES_OCTAVES = 0.5, 2.0
#: A hump so near to what rings may be what is left of it.
RINGS_OCTAVES: Final = 1.0
#: Parts of a shelf's height between which its width is told.
WIDTH_PARTS: Final = (0.1, 0.9)


@dataclass(frozen=True, slots=True)
class Candidates:
    """K shapes of one decibel on F frequencies (K, F): their kinds, corners, widths (log₂ f, octaves)."""

    level_db: Float64s
    kind: npt.NDArray[np.int_]
    octave: Float64s
    width_octaves: Float64s


@dataclass(frozen=True, slots=True)
class Weighed:
    """K shapes with the probability of each and its height, and that there is none."""

    candidates: Candidates
    probability: Float64s
    height_db: Float64s
    height_u_db: Float64s
    none: float

    def of(self, kind: Kind) -> float:
        """Probability of a kind."""
        return float(self.probability[self.candidates.kind == KINDS.index(kind)].sum())

    def borne_out(self, level_db: Float64s, octaves: Float64s) -> Weighed:
        """Without shelves, steps and tilts of which another level (F,) has less than `BORNE_OUT`: none then.

        Counted is its mean over `SIDES_OCTAVES` above a shape's rise (a tilt's middle) less that below.
        """
        shapes = self.candidates
        tilt, hump = (shapes.kind == KINDS.index(kind) for kind in ("tilt", "hump"))
        half = np.where(tilt, 0.0, 0.5 * shapes.width_octaves)
        low, high = (
            _means(level_db, octaves, shapes.octave + side * half, side * SIDES_OCTAVES)
            for side in (-1.0, 1.0)
        )
        wanted = self.height_db * np.where(tilt, SIDES_OCTAVES / shapes.width_octaves, 1.0)
        contradicted = ~hump & ((high - low) * np.sign(wanted) < BORNE_OUT * np.abs(wanted))
        return self._without(contradicted)

    def beside(self, octaves: Float64s) -> Weighed:
        """Without humps within an octave of what rings at `octaves` (R,), of which they may be a rest."""
        hump = self.candidates.kind == KINDS.index("hump")
        apart = np.abs(self.candidates.octave[:, None] - octaves).min(axis=1, initial=np.inf)
        return self._without(hump & (apart < RINGS_OCTAVES))

    def _without(self, refused: npt.NDArray[np.bool_]) -> Weighed:
        """What is refused counts as none."""
        left = np.where(refused, 0.0, self.probability)
        return replace(self, probability=left, none=1.0 - float(left.sum()))

    @property
    def level_db(self) -> Float64s:
        """Mean of the shape over everything that was weighed, (F,)."""
        return np.asarray((self.probability * self.height_db) @ self.candidates.level_db)


def candidates(frequency_hz: Float64s, gate_s: float) -> Candidates:
    """Shelves and humps as a gate leaves them, and one tilt; on a stretch of the derived grid."""
    return _candidates(float(frequency_hz[0]), frequency_hz.size, float(gate_s))


@lru_cache(maxsize=4)
def _candidates(first_hz: float, count: int, gate_s: float) -> Candidates:
    octaves = np.log2(first_hz) + np.arange(count) / POINTS_PER_OCTAVE
    frequency = 2.0**octaves
    corners = np.arange(octaves[0] + FROM_ENDS_OCTAVES, octaves[-1] - FROM_ENDS_OCTAVES, STEP_OCTAVES)
    shelves, shelf_at = _made(gated_shelves, frequency, corners, SHELF_QS, gate_s)
    humps, hump_at = _made(gated_sections, frequency, corners, HUMP_QS, gate_s)
    tilt = (octaves - octaves.mean())[None, :] / (octaves[-1] - octaves[0])
    kinds = np.repeat([0, 1, 2], [len(shelves), 1, len(humps)])
    widths = np.concatenate([_rise(shelves), [octaves[-1] - octaves[0]], _bell(humps)])
    middles = np.concatenate([shelf_at, [octaves.mean()], hump_at])
    return Candidates(np.concatenate([shelves, tilt, humps]), kinds, middles, widths)


def _made(
    make: Callable[..., npt.NDArray[np.complex128]],
    frequency_hz: Float64s,
    corners: Float64s,
    qs: tuple[float, ...],
    gate_s: float,
) -> tuple[Float64s, Float64s]:
    """Levels of one decibel, (K, F), for every Q at every corner, and the corners (K,)."""
    at, q = (each.ravel() for each in np.meshgrid(corners, np.array(qs), indexing="ij"))
    response = make(frequency_hz, 2.0**at, np.full(at.size, MADE_DB), q, gate_s)
    return np.asarray(20.0 * np.log10(np.abs(response)) / MADE_DB), at


def _rise(levels_db: Float64s) -> Float64s:
    """Octaves from a tenth to nine tenths of a shelf's height; an end of the band bounds it."""
    low, high = (np.sum(levels_db < part, axis=1) for part in WIDTH_PARTS)
    return np.asarray((high - low) / POINTS_PER_OCTAVE)


def _bell(levels_db: Float64s) -> Float64s:
    """Octaves over which humps keep half of their height."""
    return np.asarray(np.sum(levels_db > 0.5, axis=1) / POINTS_PER_OCTAVE)


def weigh(level_db: Float64s, shapes: Candidates, may_have_db: Float64s | None = None) -> Weighed:
    """Every shape against a level (F,), in which `may_have_db` (F,) is by ±1 times (standard deviation)."""
    y, s = _averaged(level_db[None, :])[0], _averaged(shapes.level_db)
    covariance = _covariance(y.size)
    if may_have_db is not None:
        other = _averaged(may_have_db[None, :])[0]
        covariance = covariance + np.outer(other, other)
    root = np.linalg.cholesky(covariance)
    told = np.linalg.solve(root, np.vstack([y, s]).T).T
    y, s = told[0], told[1:]
    a, b = np.sum(s**2, axis=1), s @ y
    # misfit beyond what is foreseen makes everything less sure
    left = float(y @ y) - float(np.max(b**2 / a))
    scale = max(left / max(y.size - 3, 1), 1.0)
    a, b = a / scale, b / scale
    evidence = 0.5 * b**2 / (a + HEIGHT_DB**-2) - 0.5 * np.log1p(a * HEIGHT_DB**2)
    counts = np.bincount(shapes.kind, minlength=len(KINDS))
    alike = (1.0 - NONE) / np.count_nonzero(counts)
    odds = np.log(alike / counts[shapes.kind]) + evidence
    top = max(float(odds.max()), float(np.log(NONE)))
    weights, none = np.exp(odds - top), float(np.exp(np.log(NONE) - top))
    whole = float(weights.sum()) + none
    spread = 1.0 / np.sqrt(a + HEIGHT_DB**-2)
    return Weighed(shapes, weights / whole, b / (a + HEIGHT_DB**-2), spread, none / whole)


def _means(level_db: Float64s, octaves: Float64s, at: Float64s, over: float) -> Float64s:
    """Mean level (K,) from `at` (K,) over so many octaves up (negative: down), as far as the band goes."""
    step = 1.0 / POINTS_PER_OCTAVE
    sums = np.concatenate([[0.0], np.cumsum(level_db)])
    edges = np.sort(np.stack([at, at + over]), axis=0)
    first, last = np.clip(np.round((edges - octaves[0]) / step).astype(int), 0, level_db.size)
    first = np.minimum(first, level_db.size - 1)
    return np.asarray((sums[np.maximum(last, first + 1)] - sums[first]) / np.maximum(last - first, 1))


def _averaged(rows: Float64s) -> Float64s:
    """Means of `AVERAGED` points, (K, n)."""
    count = rows.shape[1] // AVERAGED
    return np.asarray(rows[:, : count * AVERAGED].reshape(len(rows), count, AVERAGED).mean(axis=2))


@lru_cache(maxsize=8)
def _covariance(count: int) -> Float64s:
    """Of misfit, (n, n) dB²: what errs alike, what doesn't, a bend, and a level that isn't known at all."""
    octaves = np.arange(count) * AVERAGED / POINTS_PER_OCTAVE
    apart = np.subtract.outer(octaves, octaves)
    x = np.linspace(-1.0, 1.0, count)
    bend = BEND_DB * np.stack([x, x**2])
    unknown = 30.0
    whole = ALIKE_DB**2 * np.exp(-0.5 * (apart / ALIKE_OCTAVES) ** 2) + APART_DB**2 * np.eye(count)
    return np.asarray(whole + bend.T @ bend + unknown**2)
