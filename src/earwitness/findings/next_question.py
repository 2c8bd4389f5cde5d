"""Which causes of a feature are open, and what a fitted scene foretells of them.

A cause is in question where it is neither sure nor ruled out. What the scene foretells in new directions,
with and without a mechanism, carries over what each leaves unexplained in measured neighbours; levels there
err by noise, by the uncertainty of angles times the slope over the angle, and by what the scene errs itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.judge import LEAST_DB as COUNTS_DB
from earwitness.findings.causes.judge import LEAST_PART as COUNTS_PART
from earwitness.findings.causes.judge import gate_of
from earwitness.findings.causes.scene import Scene
from earwitness.findings.outcomes import open_bits
from earwitness.findings.predicted import FLOOR, Foretold, about
from earwitness.records.causes import Cause, FeatureCauses
from earwitness.records.features import Feature
from earwitness.records.next_measurement import NextMeasurement, NextTake
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction
from earwitness.records.uncertainty import ComponentName

Float64s = npt.NDArray[np.float64]

#: A cause is in question between these probabilities; so many at most are, the most open first.
IN_QUESTION: Final = (0.1, 0.9)
MOST: Final = 3
#: Where the case states no uncertainty of angles, plans reckon with this one; no result rests on it.
PLANNED_DEG: Final = 1.0
#: No scene is taken for better than this, dB, since one that errs in neighbours errs between them; an effect
#: is taken for no less than this.
SCENE_DB, LEAST_DB = 1.0, 0.5
#: What the scene leaves unexplained is alike over so many degrees, but for this part of its power.
ALIKE_DEG, NUGGET = 15.0, 0.02
#: Slopes over the angle are taken across so many degrees to either side.
SLOPE_DEG: Final = 1.0
NOTHING: Final[frozenset[Cause]] = frozenset()


@dataclass(frozen=True)
class Rigged:
    """What the case's rig is known to do: directions that are there, noise (dB), uncertainty of angles."""

    measured: frozenset[Direction]
    noise_db: float
    angle_deg: float | None


@dataclass(frozen=True)
class InQuestion:
    """A cause that may act: how probable that is, what it does to the feature, from where on that counts."""

    cause: Cause
    probability: float
    effect_db: float
    counts_db: float


@dataclass(frozen=True)
class Question:
    """One feature, and which of its causes are in question."""

    foretold: Foretold
    feature: Feature
    asked: tuple[InQuestion, ...]
    rig: Rigged

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The most probable first."""
        return tuple(one.cause for one in self.asked)

    @cached_property
    def at(self) -> npt.NDArray[np.intp]:
        """Frequencies that count."""
        return about(self.foretold.scene.heard.frequency_hz, self.feature)

    @cached_property
    def unexplained_db(self) -> float:
        """What the scene leaves about the feature."""
        misfit = float(np.median(self.foretold.scene.misfit[self.at]))
        return max(20.0 * float(np.log10(1.0 + misfit)), SCENE_DB)

    def levels_db(self, removed: frozenset[Cause], directions: Sequence[Direction]) -> Float64s:
        """What is shown in directions of one orbit without some mechanisms, (D, N).

        What that leaves unexplained in measured directions carries over to their neighbours: with and
        without a mechanism differ only by what measured ones don't tell already.
        """
        there, weights = self._neighbours(directions)
        heard = self.foretold.scene.heard
        rows = [heard.directions.index(d.shared) for d in there]
        measured = 20.0 * np.log10(np.maximum(np.abs(heard.pressure[rows][:, self.at]), FLOOR))
        both = self.foretold.levels_db(self.at, removed, [*directions, *there])
        return np.asarray(both[: len(directions)] + weights @ (measured - both[len(directions) :]))

    def spread_db(self, directions: Sequence[Direction]) -> Float64s:
        """Standard uncertainty of a level there, (D, N)."""
        sides = [
            self.foretold.levels_db(
                self.at, NOTHING, [Direction(d.orbit, d.angle_deg + s * SLOPE_DEG) for d in directions]
            )
            for s in (-1.0, 1.0)
        ]
        slope = (sides[1] - sides[0]) / (2.0 * SLOPE_DEG)
        angle = PLANNED_DEG if self.rig.angle_deg is None else self.rig.angle_deg
        steady = float(np.hypot(self.rig.noise_db, self.unexplained_db))
        return np.asarray(np.hypot(steady, slope * angle))

    def _neighbours(self, directions: Sequence[Direction]) -> tuple[list[Direction], Float64s]:
        """Measured directions of the same orbit, and their weights (D, M).

        What is left unexplained is taken for a smooth random course over the angle (Gaussian correlation;
        linear prediction, C. E. Rasmussen and C. K. I. Williams 2006, equations 2.25 and 2.26; recalled).
        """
        orbit = directions[0].orbit
        heard = self.foretold.scene.heard.directions
        angles = sorted({d.angle_deg for d in heard if d.orbit is orbit or d.angle_deg == 0.0})
        there, new = np.array(angles), np.array([d.angle_deg for d in directions])
        own = _alike(there, there) + NUGGET * np.eye(there.size)
        across = _alike(new, there)
        weights = np.linalg.solve(own, across.T).T
        return [Direction(orbit, a) for a in angles], np.asarray(weights)

    def next(self, take: NextTake, bits: float, **more: object) -> NextMeasurement:
        """A measurement that is expected to tell so much."""
        left = sum(open_bits(one.probability) for one in self.asked)
        return NextMeasurement(take, bits, left, self.causes, **more)  # type: ignore[arg-type]


Ask = Callable[[Feature, FeatureCauses], Question | None]


def no_scene(_: Feature, __: FeatureCauses) -> None:
    """Nothing is asked where no scene was fitted."""


def asking(scene: Scene | None, responses: Responses, angle_deg: float | None) -> Ask:
    """Questions about features of a case; `angle_deg` is the stated uncertainty of its angles."""
    gate_s = gate_of(responses)
    if scene is None or gate_s is None or not getattr(scene.heard, "has_phase", True):
        return no_scene
    foretold: list[Foretold] = []

    def ask(feature: Feature, causes: FeatureCauses) -> Question | None:
        asked = in_question(causes)
        if not asked:
            return None
        if not foretold:
            foretold.append(Foretold.of(scene, gate_s))
        return Question(foretold[0], feature, asked, rigged(responses, feature, angle_deg))

    return ask


def in_question(causes: FeatureCauses) -> tuple[InQuestion, ...]:
    """Causes that are neither sure nor ruled out, the most open of them, by probability."""
    low, high = IN_QUESTION
    effects = [each.effect_db for each in causes.said if each.effect_db is not None]
    counts = max(COUNTS_DB, COUNTS_PART * max(effects, default=0.0))
    some = [each for each in causes.said if low <= each.probability <= high]
    some = sorted(some, key=lambda each: abs(each.probability - 0.5))[:MOST]
    return tuple(
        InQuestion(each.cause, each.probability, each.effect_db or 0.0, counts)
        for each in sorted(some, key=lambda each: -each.probability)
    )


def rigged(responses: Responses, feature: Feature, angle_deg: float | None) -> Rigged:
    """Directions that count, and the noise about a feature, dB, in the median of takes."""
    there = frozenset(
        take.key.direction
        for take in responses.takes
        if take.key.direction is not None and take.id not in responses.set_aside
    )
    at = int(np.argmin(np.abs(np.log(responses.frequency_hz / feature.frequency_hz))))
    noise = responses.components.get(ComponentName.NOISE)
    here = np.zeros(1) if noise is None else np.asarray(noise[:, at], dtype=np.float64)
    known = here[np.isfinite(here)]
    return Rigged(there, float(np.median(known)) if known.size else 0.0, angle_deg)


def _alike(one_deg: Float64s, other_deg: Float64s) -> Float64s:
    """Correlation of what is left unexplained at angles of one orbit."""
    return np.asarray(np.exp(-0.5 * (np.subtract.outer(one_deg, other_deg) / ALIKE_DEG) ** 2))
