"""What holds a level down over a series of drives: a limiter, a clipping amplifier, or the heat of coils.

Sweeps at rising drives alone, no load that lasts. Three things lower the fundamental above the bass, where a
driver's motion no longer does:

- a limiter takes the same from all frequencies of its path, whatever the impedance: nothing below its
  threshold, and decibel for decibel over its knee above it;
- an amplifier that clips does so too, but what it cuts off are odd harmonics: how many follows from the loss
  alone (`clipped_third`, closed form);
- a coil's heat takes from each frequency by its impedance (Button, JAES 40 (1/2), 1992; recalled) and grows
  as the power does: a loss of so many dB is half as many 3 dB below.

A limiter's curve with its knee is that of Giannoulis, Massberg and Reiss, JAES 60 (6), 2012 (recalled). Each
hypothesis is a least-squares fit with Gaussian errors; what is likely follows by Schwarz' criterion (Ann.
Stat. 6 (2), 1978; recalled) with even odds beforehand. Limits are the project's own.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import nnls

Floats = npt.NDArray[np.float64]

#: Standard deviation of what the models themselves miss, dB.
MODEL_DB: Final = 0.05
#: And of a limiter's curve, as a part of what it takes.
MODEL_PART: Final = 0.03
#: Heat grows as the power (1), a little slower where a coil cools between takes, or faster where it doesn't.
HEAT_POWERS: Final = (0.8, 1.0, 1.2)
#: A coil that has come to so many times its resistance loses less for each further watt.
HEAT_RISES: Final = (1e-3, 0.15, 0.4)
#: Losses that heat explains so well, dB, root mean square, aren't told from it, alike as they may be.
AS_HEAT_DB: Final = 0.1
#: A path has so many third octaves at least; beside a crossover so many hold some of it, not all.
LEAST_BANDS: Final = 4
BESIDE: Final = 2
#: A cause acts where it is so likely that it takes so many dB somewhere.
SURE: Final = 0.95
LEAST_DB: Final = 0.3
#: Of the third harmonic that clipping makes at that loss, a limiter leaves less than the first, clipping more
#: than the second.
LIMITED_PART: Final = 0.2
CLIPPED_PART: Final = 0.4
#: No limiter lowers its output as the drive rises: where it falls by so much of the step, and `LEAST_DB`, the
#: recording's own level changed.
BEYOND: Final = 1.1
#: Knees that are tried, dB, and slopes (1 − 1/ratio).
KNEES_DB: Final = tuple(range(0, 13))
SLOPES: Final = (0.5, 0.67, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0)
STEP_DB: Final = 0.05
#: A threshold's interval of 95 % (χ² with one degree of freedom).
WITHIN: Final = 3.84


class HeldBy(StrEnum):
    """What holds the level down."""

    LIMITER = "limiter"
    CLIPPING = "clipping"
    HEAT = "heat"
    NOTHING = "nothing"
    CANNOT_TELL = "can't tell"


@dataclass(frozen=True)
class Threshold:
    """Where a limiter sets in, dB over the lowest drive: its knee's middle, with an interval of 95 %."""

    over_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True)
class HeldLevel:
    """What holds a level down.

    Attributes
    ----------
    held_by
        The verdict.
    probability
        Of a flat reduction, of heat, and of neither (`HeldBy.LIMITER` stands for limiter and clipping).
    loss_db
        Shape (D,): what is taken off the path at each drive, 0 or more.
    heat_db
        What heat takes at the highest drive where it takes most.
    first, last
        The path: numbers of its bands.
    whole
        Whether it is all bands that were looked at, but for those that may hold some of it.
    threshold
        Of a limiter; None of all else.
    third_part
        The third harmonic on the path re that of clipping at this loss; NaN where it isn't known.
    third_is_bound
        Whether noise hides it, so that it is at most this.
    """

    held_by: HeldBy
    probability: dict[HeldBy, float]
    loss_db: Floats
    heat_db: float
    first: int
    last: int
    whole: bool
    threshold: Threshold | None
    third_part: float
    third_is_bound: bool


@dataclass(frozen=True)
class Losses:
    """Levels in bands against the lowest drive.

    Attributes
    ----------
    gain_db
        Shape (D,): drives over the lowest one, which is left out.
    change_db
        Shape (D, B): how much more than its drive a band rises.
    spread_db, lowest_db
        Shapes (D, B) and (B,): standard uncertainties by noise, of each and of the lowest drive's level.
    third
        Shape (B,): third harmonic re the fundamental, as it went into the loudspeaker, at the highest drive;
        NaN where not known.
    third_bound
        Shape (B,): where noise hides it, and `third` is what it stays below.
    """

    gain_db: Floats
    change_db: Floats
    spread_db: Floats
    lowest_db: Floats
    third: Floats
    third_bound: npt.NDArray[np.bool_]


def held_level(losses: Losses) -> HeldLevel | None:
    """Weigh the hypotheses; None with fewer than two drives over the lowest, or too few bands."""
    drives, bands = losses.change_db.shape
    if drives < 2 or bands < LEAST_BANDS or not np.isfinite(losses.change_db).all():
        return None
    fits = _fits(_whitened(losses), losses.gain_db)
    least = min(fit.criterion for fit in fits)
    weights = [math.exp(-0.5 * (fit.criterion - least)) for fit in fits]
    whole = sum(weights)
    probability = {
        cause: sum(w for w, fit in zip(weights, fits, strict=True) if fit.most(cause) >= LEAST_DB) / whole
        for cause in (HeldBy.LIMITER, HeldBy.HEAT)
    }
    probability[HeldBy.NOTHING] = (
        sum(w for w, fit in zip(weights, fits, strict=True) if max(fit.flat.max(), fit.heat) < LEAST_DB)
        / whole
    )
    best = fits[int(np.argmax(weights))]
    first, last = best.path
    third, is_bound = _third_part(losses, best)
    held_by = _verdict(losses, best, probability, third, is_bound)
    threshold = None
    if held_by is HeldBy.LIMITER:
        noise_db = losses.spread_db[:, first : last + 1].mean(axis=1)
        spread = np.sqrt(noise_db**2 + MODEL_DB**2 + (MODEL_PART * best.flat) ** 2)
        threshold = threshold_of(losses.gain_db, best.flat, spread)
    return HeldLevel(
        held_by=held_by,
        probability=probability,
        loss_db=best.flat,
        heat_db=best.heat,
        first=first,
        last=last,
        whole=first <= BESIDE and last >= bands - 1 - BESIDE,
        threshold=threshold,
        third_part=third,
        third_is_bound=is_bound,
    )


def clipped_third(loss_db: npt.ArrayLike) -> Floats:
    """The third harmonic re the fundamental of a sine that is clipped until its fundamental lost so much, dB.

    Of a sine of x times the clipping voltage, θ = asin(1/x): b1 = (2/π)(xθ + cos θ), and
    b3 = (4/π)|x(sin 2θ/4 − sin 4θ/8) + cos 3θ/3|, re that voltage (Fourier series, closed form). A loss of
    1 dB leaves 0.087; one without end, a square wave, 1/3.
    """
    x = np.geomspace(1.0, 1e4, 4000)
    angle = np.arcsin(1.0 / x)
    first = 2.0 / np.pi * (x * angle + np.cos(angle))
    third = 4.0 / np.pi * np.abs(x * (np.sin(2 * angle) / 4 - np.sin(4 * angle) / 8) + np.cos(3 * angle) / 3)
    return np.asarray(np.interp(np.asarray(loss_db), 20.0 * np.log10(x / first), third / first))


def knee_loss_db(over_db: npt.ArrayLike, knee_db: float, slope: float) -> Floats:
    """What a limiter takes from a level so far over its threshold, dB (Giannoulis, Massberg and Reiss)."""
    over = np.asarray(over_db, dtype=np.float64)
    if not knee_db:
        return np.asarray(slope * np.maximum(over, 0.0))
    inside = np.clip(over + knee_db / 2.0, 0.0, knee_db)
    return np.asarray(slope * (inside**2 / (2.0 * knee_db) + np.maximum(over - knee_db / 2.0, 0.0)))


def heat_courses(gain_db: Floats) -> list[Floats]:
    """How a loss by heat grows over drives (D,), re that at the highest: 20 lg(1 + r·P), P as the power."""
    powers = [10.0 ** (power * (gain_db - gain_db[-1]) / 10.0) for power in HEAT_POWERS]
    return [np.log1p(r * power) / math.log1p(r) for power in powers for r in HEAT_RISES]


def _as_heat(gain_db: Floats, loss_db: Floats) -> bool:
    """Whether losses (D,) grow as heat's do."""
    courses = np.stack(heat_courses(gain_db))
    amounts = courses @ loss_db / np.sum(courses**2, axis=1)
    off = loss_db - amounts[:, None] * courses
    return bool(np.sqrt(np.mean(off**2, axis=1)).min() < AS_HEAT_DB)


def threshold_of(gain_db: Floats, loss_db: Floats, spread_db: Floats) -> Threshold | None:
    """The threshold of a limiter that takes losses (D,) at drives (D,), over all knees and slopes.

    None where no limiter takes losses like these within 3 standard deviations, root mean square.
    """
    tried = np.arange(gain_db[0] - KNEES_DB[-1], gain_db[-1] + KNEES_DB[-1], STEP_DB)
    over = gain_db[None] - tried[:, None]
    squares = [
        np.sum(((knee_loss_db(over, knee, slope) - loss_db) / spread_db) ** 2, axis=1)
        for knee, slope in itertools.product(KNEES_DB, SLOPES)
    ]
    chi = np.min(squares, axis=0)
    if chi.min() > 9.0 * gain_db.size:
        return None
    within = np.flatnonzero(chi <= chi.min() + WITHIN)
    return Threshold(float(tried[np.argmin(chi)]), float(tried[within[0]]), float(tried[within[-1]]))


@dataclass(frozen=True)
class _White:
    """Losses (D, B) and the roots of the inverse of their covariance, (B, D, D)."""

    loss_db: Floats
    root: Floats

    def of(self, course: Floats) -> Floats:
        """Courses (D,) or (D, B) in units of their uncertainty, (B, D)."""
        columns = np.broadcast_to(course.T if course.ndim == 2 else course, self.loss_db.T.shape)
        return np.asarray(np.einsum("bij,bj->bi", self.root, columns))


@dataclass(frozen=True)
class _Fit:
    criterion: float
    flat: Floats
    heat: float
    path: tuple[int, int]

    def most(self, cause: HeldBy) -> float:
        """The most that a cause takes anywhere, dB."""
        return self.heat if cause is HeldBy.HEAT else float(self.flat.max())


def _whitened(losses: Losses) -> _White:
    """The lowest drive's noise is in all drives of a band."""
    drives, bands = losses.change_db.shape
    own = losses.spread_db.T**2 + MODEL_DB**2
    covariance = np.zeros((bands, drives, drives)) + (losses.lowest_db**2)[:, None, None]
    covariance[:, np.arange(drives), np.arange(drives)] += own
    return _White(-losses.change_db, np.linalg.inv(np.linalg.cholesky(covariance)))


@dataclass(frozen=True)
class _Paths:
    """Paths of neighbouring bands, shapes (P, B): bands of each, and those that count for it.

    Those beside it that may hold some of it are left out: there each is free.
    """

    ends: list[tuple[int, int]]
    inside: npt.NDArray[np.bool_]
    counted: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, bands: int) -> _Paths:
        ends = [(a, b) for a in range(bands) for b in range(a + LEAST_BANDS - 1, bands)]
        first, last = np.array(ends).T[:, :, None]
        number = np.arange(bands)
        inside = (number >= first) & (number <= last)
        near = (number >= first - BESIDE) & (number <= last + BESIDE)
        return cls(ends, inside, inside | ~near)


def _fits(white: _White, gain_db: Floats) -> list[_Fit]:
    """All hypotheses: nothing, heat by band, heat alike on a path, a flat reduction, and that with heat."""
    drives, bands = white.loss_db.shape
    told, paths = white.of(white.loss_db), _Paths.of(bands)
    fits = [_Fit(float(np.sum(told**2)), np.zeros(drives), 0.0, (0, bands - 1))]
    courses = [white.of(rise) for rise in heat_courses(gain_db)]
    for course in courses:
        fits += [_heat_by_band(told, course), *_heat_alike(told, course, paths)]
    for each in (None, *courses):
        fits += _flat(white, told, paths, each)
    return fits


def _heat_by_band(told: Floats, course: Floats) -> _Fit:
    bands, drives = told.shape
    amounts = np.maximum(np.sum(course * told, axis=1) / np.sum(course**2, axis=1), 0.0)
    chi = float(np.sum((told - amounts[:, None] * course) ** 2))
    criterion = chi + (bands + 1) * math.log(told.size)
    return _Fit(criterion, np.zeros(drives), float(amounts.max()), (0, bands - 1))


def _heat_alike(told: Floats, course: Floats, paths: _Paths) -> list[_Fit]:
    """A flat impedance: heat takes the same all along a path, and of each band beside it what that has."""
    bands, drives = told.shape
    each, sizes = np.sum(course * told, axis=1), np.sum(course**2, axis=1)
    along, size = paths.inside @ each, paths.inside @ sizes
    amounts, beside = np.maximum(along / size, 0.0), np.maximum(each / sizes, 0.0)
    chi = np.sum(told**2) - 2.0 * amounts * along + amounts**2 * size
    chi -= ~paths.counted @ (2.0 * beside * each - beside**2 * sizes)
    criteria = chi + (4 + bands - paths.counted.sum(axis=1)) * math.log(told.size)
    most = np.maximum(amounts, np.where(paths.counted, 0.0, beside).max(axis=1))
    none = np.zeros(drives)
    every = zip(criteria.tolist(), most.tolist(), paths.ends, strict=True)
    return [_Fit(criterion, none, amount, ends) for criterion, amount, ends in every]


def _flat(white: _White, told: Floats, paths: _Paths, course: Floats | None) -> list[_Fit]:
    """Reductions that are alike on a path at each drive, and with a `course` of heat by band too.

    What heat may take of a band is taken off beforehand, so that the squares of all bands add up: each path
    is a fit of one number a drive, none of them negative, to the sums of its bands' normal equations.
    """
    bands, drives = told.shape
    left, roots = told, white.root
    parameters = min(drives, 3) + 2 + drives * (bands - paths.counted.sum(axis=1))
    if course is not None:
        norm = np.sum(course**2, axis=1)
        left = told - (np.sum(course * told, axis=1) / norm)[:, None] * course
        along = np.einsum("bi,bij->bj", course, roots)
        roots = roots - course[:, :, None] * (along / norm[:, None])[:, None, :]
        parameters = parameters + paths.counted.sum(axis=1) + 1
    squares = np.einsum("pb,bjk->pjk", paths.inside, np.einsum("bij,bik->bjk", roots, roots))
    sums = paths.inside @ np.einsum("bij,bi->bj", roots, left)
    values, vectors = np.linalg.eigh(squares)
    size = np.sqrt(np.maximum(values, 0.0))
    known = size > 1e-7 * size[:, -1:]
    turned = np.einsum("pji,pj->pi", vectors, sums)
    target = np.where(known, turned / np.where(known, size, 1.0), 0.0)
    factor = np.where(known, size, 0.0)[:, :, None] * np.swapaxes(vectors, -1, -2)
    found = [nnls(one, at) for one, at in zip(factor, target, strict=True)]
    amounts, miss = np.stack([x for x, _ in found]), np.array([m for _, m in found])
    chi = np.maximum(paths.counted @ np.sum(left**2, axis=1) - np.sum(target**2, axis=1), 0.0) + miss**2
    criteria = chi + parameters * math.log(told.size)
    heat = np.zeros(len(paths.ends))
    if course is not None:
        parts = np.sum(course * told, axis=1) / norm - np.where(
            paths.inside, amounts @ (along / norm[:, None]).T, 0.0
        )
        criteria = np.where(np.where(paths.counted, parts, np.inf).min(axis=1) >= -LEAST_DB, criteria, np.inf)
        heat = np.maximum(np.where(paths.counted, parts, 0.0).max(axis=1), 0.0)
    every = zip(criteria.tolist(), amounts, heat.tolist(), paths.ends, strict=True)
    return [_Fit(*one) for one in every]


def _third_part(losses: Losses, fit: _Fit) -> tuple[float, bool]:
    """The third harmonic re that of clipping, the median on the path; whether most of it is hidden."""
    path = slice(fit.path[0], fit.path[1] + 1)
    known = np.isfinite(losses.third[path])
    loss = float(fit.flat[-1])
    if not known.any() or loss < LEAST_DB:
        return math.nan, False
    part = losses.third[path][known] / float(clipped_third(loss))
    return float(np.median(part)), bool(np.mean(losses.third_bound[path][known]) > 0.5)


def _verdict(
    losses: Losses, fit: _Fit, probability: dict[HeldBy, float], third: float, is_bound: bool
) -> HeldBy:
    flat, heat = probability[HeldBy.LIMITER], probability[HeldBy.HEAT]
    if flat <= 1.0 - SURE:
        if heat <= 1.0 - SURE:
            return HeldBy.NOTHING
        return HeldBy.HEAT if heat >= SURE else HeldBy.CANNOT_TELL
    steps = np.diff(np.concatenate([[0.0], losses.gain_db]))
    if flat < SURE or np.any(np.diff(np.concatenate([[0.0], fit.flat])) > BEYOND * steps + LEAST_DB):
        return HeldBy.CANNOT_TELL
    if third > CLIPPED_PART and not is_bound:
        return HeldBy.CLIPPING
    limits = third < LIMITED_PART and not _as_heat(losses.gain_db, fit.flat)
    return HeldBy.LIMITER if limits else HeldBy.CANNOT_TELL
