"""What makes a loudspeaker's level fall under a load: a limiter, the heat of coils, or a driver's motion.

Three hypotheses, each alone, together, or none, are held against the octaves of a run (`endurance`):

- heat grows and fades with fitted time constants (`heating`), in the load and in the probes alike, by another
  part in each octave, as the impedance has it;
- a limiter acts on the load within a second, by one amount in all octaves of its path, and fades from the
  probes after it, by one amount again, with a release of two seconds at most;
- a driver's motion acts on the load alone, at low frequencies, by any amount and either way.

Each is a least-squares fit with Gaussian errors of the noise and of the models themselves; the probability of
each is that of Schwarz' criterion (Ann. Stat. 6 (2), 1978; recalled) with even odds beforehand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import nnls

from earwitness.acoustics.endurance import LOAD, PERIOD_S, PROBE, Frames
from earwitness.acoustics.heating import Warming, fit_warming

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Standard deviation of what the models themselves miss, dB.
MODEL_DB: Final = 0.05
#: Releases of a limiter that are tried, s; 0 is gone before the probe counts.
RELEASES_S: Final = (0.0, 0.3, 0.5, 0.8, 1.2, 2.0)
#: A driver's motion changes the level up to this.
MOTION_HZ: Final = 300.0
#: A cause acts where it is so likely that it changes some octave by that, dB.
SURE: Final = 0.95
LEAST_DB: Final = 0.3
#: Octaves go together in one coil where they differ from one time course by so many standard deviations.
TOGETHER: Final = 1.5
#: A limiter's: its amount in the load and after it, its release, and both ends of its path.
LIMITER_PARAMETERS: Final = 5
#: Heat with a time constant under this isn't told from a limiter's release.
SHORTEST_S: Final = 2.0


class LoadCause(StrEnum):
    """What may act."""

    HEAT = "heat"
    LIMITER = "limiter"
    MOTION = "motion"


class Verdict(StrEnum):
    """Whether it does."""

    ACTS = "acts"
    NOT_SEEN = "not seen"
    CANNOT_TELL = "can't tell"


@dataclass(frozen=True)
class Coil:
    """Octaves (numbers of `Frames.octave_hz`) that warm together, and how."""

    octaves: tuple[int, ...]
    warming: Warming


@dataclass(frozen=True)
class Judged:
    """One cause: how likely it makes `LEAST_DB` in some octave, what it makes at most (dB), the verdict."""

    probability: float
    effect_db: float
    verdict: Verdict


@dataclass(frozen=True)
class LoadCauses:
    """What acts, by cause, and the coils that warm."""

    judged: dict[LoadCause, Judged]
    coils: tuple[Coil, ...]


def load_causes(frames: Frames) -> LoadCauses:
    """Weigh the hypotheses against a run."""
    rows = rows_told(frames)
    told_coils = {release_s: tuple(coils_of(frames, release_s)) for release_s in RELEASES_S}
    fits = {
        subset: fit
        for count in range(len(LoadCause) + 1)
        for subset in itertools.combinations(LoadCause, count)
        if (fit := _best(frames, rows, told_coils, subset)) is not None
    }
    least = min(fit.criterion for fit in fits.values())
    weights = {subset: math.exp(-0.5 * (fit.criterion - least)) for subset, fit in fits.items()}
    whole = sum(weights.values())
    likeliest = max(weights, key=lambda subset: weights[subset])
    coils = fits[likeliest].coils
    judged = {}
    for cause in LoadCause:
        matters = [
            weights[subset] for subset, fit in fits.items() if abs(fit.effects.get(cause, 0.0)) >= LEAST_DB
        ]
        probability = sum(matters) / whole
        told = fits[likeliest]
        if cause not in likeliest:
            having = {subset: weights[subset] for subset in weights if cause in subset}
            told = fits[max(having, key=lambda subset: having[subset])] if having else told
        effect = told.effects.get(cause, 0.0)
        judged[cause] = Judged(probability, effect, _verdict(cause, probability, coils))
    return LoadCauses(judged, coils)


def _verdict(cause: LoadCause, probability: float, coils: tuple[Coil, ...]) -> Verdict:
    if probability <= 1.0 - SURE:
        return Verdict.NOT_SEEN
    fast = any(coil.warming.short.value_s < SHORTEST_S for coil in coils)
    if probability < SURE or (fast and cause is not LoadCause.MOTION):
        return Verdict.CANNOT_TELL
    return Verdict.ACTS


def coils_of(frames: Frames, release_s: float) -> Iterator[Coil]:
    """Coils that warm, the strongest first: octaves of one time course, each with its fit.

    The time course is that of the probes: what lasts beyond the load; behind a limiter, without the
    rest of its release.
    """
    probes = frames.kind == PROBE
    change, spread = frames.change_db[probes], np.hypot(frames.uncertainty_db[probes], 0.2 * MODEL_DB)
    tail = -np.where(frames.kind == LOAD, 0.0, _limiter_course(frames, release_s)) if release_s else None
    left = list(range(frames.octave_hz.size))
    while left:
        strongest = max(left, key=lambda b: float(np.sum((change[:, b] / spread[:, b]) ** 2)))
        own = change[:, strongest]
        size = float(np.sum(own**2))
        if size <= 0.0:
            return
        together, parts = [], {}
        for b in left:
            part = float(np.sum(own * change[:, b]) / size)
            miss = (change[:, b] - part * own) / np.hypot(spread[:, b], part * spread[:, strongest])
            if b == strongest or float(np.sqrt(np.mean(miss**2))) < TOGETHER:
                together.append(b)
                parts[b] = part
        weight = np.array([[parts[b] / spread[0, b] ** 2 for b in together]])
        norm = sum(parts[b] ** 2 / spread[0, b] ** 2 for b in together)
        pooled = (frames.change_db[:, together] * weight).sum(axis=1) / norm
        unsure = np.full(frames.time_s.size, 1.0 / math.sqrt(norm))
        warming = fit_warming(
            frames.gain, frames.first_s, frames.time_s, pooled, unsure, fitted=probes, tail=tail
        )
        if warming is None:
            return
        yield Coil(tuple(together), warming)
        left = [b for b in left if b not in together]


@dataclass(frozen=True)
class _Fit:
    criterion: float
    effects: dict[LoadCause, float]
    coils: tuple[Coil, ...]


def rows_told(frames: Frames) -> Bools:
    """Which seconds (K,) are told: probes, and of each load the first that counts and the last."""
    load = frames.kind == LOAD
    before = np.concatenate([[False], load[:-1]])
    after = np.concatenate([load[1:], [False]])
    return np.asarray(~load | (load & ~(before & after)))


def _heat_columns(coils: tuple[Coil, ...]) -> dict[int, Floats]:
    """For each octave that warms its coil's course over all seconds, dB re its end."""
    return {
        octave: -20.0 * np.log10(1.0 + coil.warming.growth) / max(coil.warming.loss_db, 1e-9)
        for coil in coils
        for octave in coil.octaves
    }


def _limiter_course(frames: Frames, release_s: float) -> Floats:
    """A limiter's change of level over the seconds, re that under the load; shape (J,)."""
    course = np.where(frames.kind == LOAD, -1.0, 0.0)
    if not release_s:
        return course
    ends = frames.time_s[frames.kind == LOAD]
    # the mean over a second of what fades exponentially
    within = math.sinh(0.5 / release_s) * 2.0 * release_s
    for row in np.flatnonzero((frames.kind == PROBE) & (frames.time_s > 0.0)):
        before = ends[ends < frames.time_s[row]]
        if before.size:
            since_s = float(frames.time_s[row] - before[-1]) - 0.5 * PERIOD_S
            course[row] = -math.exp(-since_s / release_s) * within
    return course


def _best(
    frames: Frames, rows: Bools, told: dict[float, tuple[Coil, ...]], subset: tuple[LoadCause, ...]
) -> _Fit | None:
    """The best fit of one set of causes, over a limiter's releases and paths; None where no coil warms."""
    count = frames.octave_hz.size
    limited = LoadCause.LIMITER in subset
    found = []
    for release_s in RELEASES_S if limited else (0.0,):
        coils = told[release_s] if LoadCause.HEAT in subset else ()
        if not coils and LoadCause.HEAT in subset:
            continue
        course = _limiter_course(frames, release_s) if limited else None
        octaves = _Octaves.of(frames, rows, coils, LoadCause.MOTION in subset, course)
        paths = [range(a, b) for a in range(count) for b in range(a + 1, count + 1)]
        found += [octaves.fit(path) for path in (paths if limited else [range(0)])]
    return min(found, key=lambda fit: fit.criterion, default=None)


@dataclass(frozen=True)
class _Octaves:
    """One hypothesis: the octaves' changes (J, B) and their own columns, all re their uncertainty.

    Octaves meet in the limiter's one amount alone, so that each octave's own columns are taken out first.
    """

    change: Floats
    owns: tuple[Floats, ...]
    left: Floats
    limiter: Floats | None
    limiter_left: Floats | None
    coils: tuple[Coil, ...]
    warm: frozenset[int]

    @classmethod
    def of(
        cls, frames: Frames, rows: Bools, coils: tuple[Coil, ...], moves: bool, course: Floats | None
    ) -> _Octaves:
        """The hypothesis with these coils, with a driver's motion or not, with a limiter's course or not."""
        heat = _heat_columns(coils)
        spread = np.hypot(frames.uncertainty_db, MODEL_DB)[rows]
        change = frames.change_db[rows] / spread
        load = (frames.kind == LOAD)[rows].astype(np.float64)
        limiter = None
        if course is not None:
            parts = np.stack([np.where(frames.kind == kind, course, 0.0) for kind in (LOAD, PROBE)])
            limiter = parts[:, rows, None] / spread
        left, limiter_left, owns = change.copy(), None if limiter is None else limiter.copy(), []
        for b in range(frames.octave_hz.size):
            columns = [heat[b][rows]] if b in heat else []
            columns += [load] if moves and frames.octave_hz[b] < MOTION_HZ else []
            own = np.array(columns).reshape(len(columns), spread.shape[0]).T / spread[:, b : b + 1]
            basis = np.linalg.qr(own)[0]
            left[:, b] -= basis @ (basis.T @ change[:, b])
            if limiter is not None and limiter_left is not None:
                limiter_left[:, :, b] -= (basis @ (basis.T @ limiter[:, :, b].T)).T
            owns.append(own)
        return cls(change, tuple(owns), left, limiter, limiter_left, coils, frozenset(heat))

    def fit(self, path: range) -> _Fit:
        """Least squares with a limiter in the octaves of `path`."""
        chi, amounts = float(np.sum(self.left**2)), np.zeros(2)
        parameters = sum(own.shape[1] for own in self.owns)
        if self.limiter_left is not None:
            columns = self.limiter_left[:, :, path.start : path.stop].reshape(2, -1).T
            left = self.left[:, path.start : path.stop].ravel()
            amounts = nnls(columns, left)[0]
            chi += float(np.sum((left - columns @ amounts) ** 2) - np.sum(left**2))
            parameters += LIMITER_PARAMETERS
        criterion = chi + parameters * math.log(self.change.size)
        return _Fit(criterion, self._effects(path, amounts), self.coils)

    def _effects(self, path: range, amounts: Floats) -> dict[LoadCause, float]:
        """The largest change that each cause makes in an octave, dB."""
        sizes: dict[LoadCause, list[float]] = {LoadCause.LIMITER: [float(amounts[0])]}
        for b, own in enumerate(self.owns):
            if not own.size:
                continue
            told = self.change[:, b]
            if self.limiter is not None and b in path:
                told = told - amounts @ self.limiter[:, :, b]
            values = np.linalg.lstsq(own, told, rcond=None)[0]
            if b in self.warm:
                sizes.setdefault(LoadCause.HEAT, []).append(float(values[0]))
            if own.shape[1] > (b in self.warm):
                sizes.setdefault(LoadCause.MOTION, []).append(-float(values[-1]))
        return {cause: max(found, key=abs) for cause, found in sizes.items()}
