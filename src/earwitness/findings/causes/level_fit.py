"""Sets of mechanisms fitted to a change with the level: heat, a limiter, a drive unit's bend, pairs of them.

Least squares over frequency at the highest drive, with as many numbers as were chosen (Schwarz's criterion,
1978; recalled); then how the change grew from drive to drive, and the harmonics beside it. Limits and spreads
were set by hand on tuning seeds (docs/evaluation.md).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from earwitness.findings.causes import nonlinear, thermal
from earwitness.findings.causes.form import WIDE
from earwitness.findings.causes.stretch import ALIKE, Stretch
from earwitness.records.causes import Cause

Float64s = npt.NDArray[np.float64]


class Part(StrEnum):
    """What may make a change."""

    HEAT = "heat"
    LIMITER = "limiter"
    BEND = "bend"
    MISSTATED = "misstated drive"


CAUSES: Final[Mapping[Part, Cause]] = {
    Part.HEAT: thermal.CAUSE,
    Part.LIMITER: nonlinear.CAUSE,
    Part.BEND: nonlinear.CAUSE,
    Part.MISSTATED: Cause.ARTEFACT,
}
#: What a model leaves of a change at least: dB, and part of the largest change.
LEFT_DB, LEFT_PART = 0.04, 0.08
#: The same of how it grows with the drive, a part of what is foretold at each.
COURSE_DB, COURSE_PART = 0.05, 0.15
#: lg of harmonics re a memoryless bend's: mean and spread where a bend acts, density a decade elsewhere.
BEND_HARMONICS, BEND_SPREAD, ELSEWHERE = 0.2, 0.6, 0.25
#: Where nothing bends, more harmonics than the second are as rare as the first, a density a decade.
LOUD, LOUD_RATIO = 0.05, 0.1
#: A bend may have any harmonics in this part of cases: one that shifts a resonance adds few.
ODD_PART: Final = 0.1
#: So many columns of each mechanism are tried in pairs; what is off by more than this counts no more.
KEPT, OFF_DB = 120, 0.4
#: How far a column's height may move.
HEIGHTS: Final = (0.84, 1.2)
#: A mechanism is a cause where it does this part of the largest effect, and this much, dB.
COUNTS, LEAST_DB = 0.5, 0.15
#: What a ΔR errs by beyond the misfit, as a part of it, one standard uncertainty: two ways share terminals.
OHMS_PART: Final = 0.15
#: Half of χ² at 95 % with one degree of freedom.
HALF_CHI: Final = 1.92


@dataclass(frozen=True, slots=True)
class Columns:
    """What a mechanism may do, dB (N, K); numbers chosen (N,); least and greatest height; ΔR in Ω (N,)."""

    values: Float64s
    chosen: Float64s
    heights: tuple[float, float]
    ohms: Float64s

    def kept(self, change_db: Float64s) -> Columns:
        """Those that lie nearest, with what is far off counted no more than `OFF_DB`."""
        height = self.height(change_db)
        off = np.minimum((change_db - height[:, None] * self.values) ** 2, OFF_DB**2).sum(axis=1)
        best = np.argsort(off + 0.01 * OFF_DB**2 * self.chosen, kind="stable")[:KEPT]
        return Columns(self.values[best], self.chosen[best], self.heights, self.ohms[best])

    def height(self, change_db: Float64s) -> Float64s:
        """Of each alone, by least squares within its ends, (N,)."""
        size = np.maximum(np.einsum("nk,nk->n", self.values, self.values), 1e-12)
        return np.asarray(np.clip(self.values @ change_db / size, *self.heights))


@dataclass(frozen=True, slots=True)
class Told:
    """A set of mechanisms at its best: parts, their effects in the band's mean, and evidence.

    Effects are dB to the change's sign. `shape`, `course`, `harmonics` and `prior` are natural logarithms;
    `left` is what remains (K,); `ohms` is the ΔR with its ends, where heat is in the set and the impedance is
    known.
    """

    parts: tuple[Part, ...]
    effects: tuple[float, ...]
    shape: float
    course: float
    harmonics: float
    prior: float
    left: Float64s
    ohms: tuple[float, float, float] | None

    @property
    def weight(self) -> float:
        """Ln of its posterior weight, but for what all sets share."""
        return self.shape + self.course + self.harmonics + self.prior

    @property
    def causes(self) -> dict[Cause, float]:
        """Causes with their effects, dB to the change's sign, those that count."""
        most = max(self.effects)
        found: dict[Cause, float] = {}
        for part, effect in zip(self.parts, self.effects, strict=True):
            if effect > 0.0 and effect >= max(COUNTS * most, min(LEAST_DB, most)):
                found[CAUSES[part]] = found.get(CAUSES[part], 0.0) + effect
        return found


class _Fit(NamedTuple):
    """What the least squares of one set give, as `Told` has it."""

    parts: tuple[Part, ...]
    effects: tuple[float, ...]
    shape: float
    left: Float64s
    ohms: tuple[float, float, float] | None


def sets_of(stretch: Stretch, prior: Mapping[Part, float]) -> list[Told]:
    """Every set, at its best; `prior` is how probable each mechanism is before the change is looked at."""
    parts = columns(stretch)
    found = [_single(stretch, part, each, prior) for part, each in parts.items()]
    if stretch.ohms is None:
        # without a shape of its own heat would go with anything
        return found
    # a bend goes with what the other leaves, and is small beside it or not: all are tried
    pairs = {part: parts[part].kept(stretch.change_db) for part in (Part.HEAT, Part.LIMITER)}
    pairs[Part.BEND] = parts[Part.BEND]
    found += [
        _pair(stretch, (one, other), (pairs[one], pairs[other]), prior)
        for one, other in combinations(pairs, 2)
    ]
    return found


def columns(stretch: Stretch) -> dict[Part, Columns]:
    """By mechanism."""
    warm, ohms, chosen = thermal.losses(stretch)
    held, held_chosen = nonlinear.held(stretch)
    bells, bell_chosen = nonlinear.bells(stretch)
    found = {
        Part.HEAT: Columns(warm, chosen, HEIGHTS, ohms),
        Part.LIMITER: Columns(held, held_chosen, (0.0, np.inf), np.full(held_chosen.size, np.nan)),
        Part.BEND: Columns(bells, bell_chosen, (-np.inf, np.inf), np.full(bell_chosen.size, np.nan)),
    }
    if stretch.whole:
        found[Part.MISSTATED] = Columns(
            np.ones((1, stretch.octaves.size)), np.ones(1), (-np.inf, np.inf), np.full(1, np.nan)
        )
    return found


def _shape(stretch: Stretch, squares: Float64s, chosen: Float64s) -> Float64s:
    """Ln of the likelihood with a spread that isn't known, less ½ ln n for each number that was chosen."""
    points = stretch.octaves.size
    count = max(points / ALIKE, 2.0)
    least = LEFT_DB**2 + (LEFT_PART * float(np.abs(stretch.change_db).max())) ** 2
    misfit = np.log1p(np.maximum(squares, 0.0) / points / least)
    return np.asarray(-0.5 * count * misfit - 0.5 * chosen * np.log(count))


def _single(stretch: Stretch, part: Part, found: Columns, prior: Mapping[Part, float]) -> Told:
    height = found.height(stretch.change_db)
    left = stretch.change_db - height[:, None] * found.values
    shape = _shape(stretch, np.einsum("nk,nk->n", left, left), found.chosen)
    best = int(np.argmax(shape))
    effects = (float(height[best] * found.values[best, stretch.inside].mean()),)
    ohms = _ohms(found.ohms * height, shape, best)
    return _told(stretch, _Fit((part,), effects, float(shape[best]), left[best], ohms), prior)


def _pair(
    stretch: Stretch, parts: tuple[Part, Part], found: tuple[Columns, Columns], prior: Mapping[Part, float]
) -> Told:
    """Both heights by least squares, each then held within its ends."""
    one, other = found
    change = stretch.change_db
    both = one.values @ other.values.T
    sizes = [np.maximum(np.einsum("nk,nk->n", c.values, c.values), 1e-12) for c in found]
    on = one.values @ change, other.values @ change
    # nearly parallel columns would grow against each other
    apart = np.maximum(np.multiply.outer(*sizes) - both**2, 1e-6 * np.multiply.outer(*sizes))
    first = np.clip((on[0][:, None] * sizes[1][None] - on[1][None] * both) / apart, *one.heights)
    second = np.clip((on[1][None] - first * both) / sizes[1][None], *other.heights)
    squares = float(change @ change) - 2.0 * (first * on[0][:, None] + second * on[1][None])
    squares = (
        squares + first**2 * sizes[0][:, None] + second**2 * sizes[1][None] + 2.0 * first * second * both
    )
    shape = _shape(stretch, squares, one.chosen[:, None] + other.chosen[None])
    i, j = (int(k) for k in np.unravel_index(int(np.argmax(shape)), shape.shape))
    heights = float(first[i, j]), float(second[i, j])
    sounds = heights[0] * one.values[i], heights[1] * other.values[j]
    effects = tuple(float(sound[stretch.inside].mean()) for sound in sounds)
    ohms = None
    if Part.HEAT in parts:
        warm = parts.index(Part.HEAT)
        each = (first * one.ohms[:, None])[:, j] if warm == 0 else (second * other.ohms[None])[i]
        ohms = _ohms(each, shape[:, j] if warm == 0 else shape[i], i if warm == 0 else j)
    left = change - sounds[0] - sounds[1]
    return _told(stretch, _Fit(parts, effects, float(shape[i, j]), left, ohms), prior)


def _ohms(ohms: Float64s, shape: Float64s, best: int) -> tuple[float, float, float] | None:
    """ΔR and its ends, of all that is nearly as likely."""
    if not np.isfinite(ohms[best]):
        return None
    value, near = float(ohms[best]), ohms[shape >= shape[best] - HALF_CHI]
    wide = WIDE * OHMS_PART * value
    return value, max(min(float(near.min()), value - wide), 0.0), max(float(near.max()), value + wide)


def _told(stretch: Stretch, fit: _Fit, prior: Mapping[Part, float]) -> Told:
    weight = sum(float(np.log(prior[part] if part in fit.parts else 1.0 - prior[part])) for part in prior)
    course = _course(stretch, fit.parts, fit.effects)
    harmonics = _harmonics(stretch, fit.parts, fit.effects)
    effects = tuple(stretch.change.sign * effect for effect in fit.effects)
    return Told(fit.parts, effects, fit.shape, course, harmonics, weight, fit.left, fit.ohms)


def _course(stretch: Stretch, parts: Sequence[Part], effects: Sequence[float]) -> float:
    """Ln of the likelihood of how the change grew, with the courses that fit best."""
    found = stretch.course_db[1:-1]
    if not found.size:
        return 0.0
    if Part.MISSTATED in parts:
        # what is stated wrongly grows in order once in as many cases as there are orders
        grows = bool(np.all(np.diff(np.abs(stretch.course_db[1:])) >= 0.0))
        return -0.5 * found.size - (float(gammaln(found.size + 2)) if grows else 0.0)
    told = np.zeros((1, found.size))
    for part, effect in zip(parts, effects, strict=True):
        if part is Part.HEAT:
            courses = thermal.courses(stretch)
        elif part is Part.BEND:
            courses = nonlinear.courses_of_bells(stretch)
        else:
            courses = nonlinear.courses_of_held(stretch, max(abs(effect), 1e-6))
        courses = courses[:, 1:-1]
        told = (told[:, None] + effect * courses[None]).reshape(-1, found.size)
    spread = np.hypot(COURSE_DB, COURSE_PART * told)
    return float(-0.5 * np.min(np.sum(((found - told) / spread) ** 2, axis=1)))


def _harmonics(stretch: Stretch, parts: Sequence[Part], effects: Sequence[float]) -> float:
    """Ln of the likelihood of the harmonics beside the change."""
    if stretch.distortion is None:
        return 0.0
    bend = dict(zip(parts, effects, strict=True)).get(Part.BEND)
    if bend is None or abs(bend) < LEAST_DB:
        return float(np.log(LOUD if stretch.distortion > LOUD_RATIO else ELSEWHERE))
    away = np.log10(stretch.distortion / nonlinear.harmonics_of(bend)) - BEND_HARMONICS
    dense = np.exp(-0.5 * (away / BEND_SPREAD) ** 2) / (BEND_SPREAD * np.sqrt(2.0 * np.pi))
    return float(np.log((1.0 - ODD_PART) * dense + ODD_PART * ELSEWHERE))
