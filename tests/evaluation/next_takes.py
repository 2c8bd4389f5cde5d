"""`PYTHONPATH=tests python -m evaluation.next_takes 20600 40`: does the take that is proposed tell the truth?

A ruler's sizes are stated, and scene and causes follow anew by the product's own path. With `each` as a third
word every kind is made for every open cause, proposed or not. New directions are made from the same physics,
with errors of angle and noise of their own; felt takes half of what edges truly do, in decibels. By those,
causes in question follow by Bayes from what was foretold. Counted is how often the probability of one moves
to its truth, and the Brier score of those causes before and after, whose change has an interval by drawing
loudspeakers again.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from unittest.mock import patch

import numpy as np
from evaluation import physics
from evaluation.case import spots
from evaluation.physics import Made, make
from evaluation.population import draw
from evaluation.ruler import unit
from evaluation.truth import causes as true_causes
from scipy.special import ndtr, ndtri

from earwitness.findings.causes.judge import causes_in, causes_of, scene_of
from earwitness.findings.features import find_features
from earwitness.findings.next_from_scene import (
    AGAIN_DB,
    FELT_PART,
    FELT_PART_U,
    felt_u_db,
    known_to_db,
    side_of,
    stretch,
    told_part,
)
from earwitness.findings.next_measurement import next_measurement
from earwitness.findings.next_question import NOTHING, InQuestion, Question, asking
from earwitness.findings.next_table import SHOWS, Possible
from earwitness.findings.outcomes import WITHIN
from earwitness.records.causes import Cause, FeatureCauses
from earwitness.records.features import Feature
from earwitness.records.next_measurement import NextMeasurement, NextTake, Steps
from earwitness.records.responses import Responses
from earwitness.records.takes import Orbit

#: Radiators aren't stated here, and nothing is there but the two orbits.
POSSIBLE = Possible(frozenset(SHOWS), needs_clock=False, ruler=True)
#: With `each`: of these one at a time.
EACH = (NextTake.FINE_HORIZONTAL, NextTake.FINE_VERTICAL, NextTake.FELT, NextTake.RULER)
#: Loudspeakers are drawn again so often.
DRAWS = 2000
#: By less than this a probability hasn't moved.
MOVED = 0.01


@dataclass(frozen=True)
class Told:
    """One cause in question: its probability before and after, and whether it acts."""

    seed: int
    frequency_hz: float
    cause: str
    take: str
    before: float
    after: float
    acts: bool

    @property
    def moved(self) -> int:
        """+1 to the truth, −1 away from it, 0 where it stays."""
        change = (self.after - self.before) * (1.0 if self.acts else -1.0)
        return 0 if abs(change) < MOVED else int(np.sign(change))


def new_angles(steps: Steps, made: Responses) -> list[float]:
    """The angles of proposed steps that aren't there yet."""
    there = {t.key.direction.angle_deg for t in made.takes if t.key.direction is not None}
    count = round((steps.high_deg - steps.low_deg) / steps.step_deg)
    every = [steps.low_deg + i * steps.step_deg for i in range(count + 1)]
    return [angle for angle in every if angle not in there]


def with_more(made: Made, steps: Steps) -> Responses:
    """The case's responses and those in the new directions."""
    extra = [(str(steps.orbit), angle) for angle in new_angles(steps, made.responses)]
    with patch.object(physics, "DIRECTIONS", tuple(extra)):
        view = physics._Viewed.of(made.drawn, physics.gate_s(made.drawn.scenario))
        more = physics._responses(made.drawn, view, *view.noisy(view.spectra(())))
    return joined(made.responses, more)


def joined(first: Responses, second: Responses) -> Responses:
    """One after the other."""
    count = len(first.takes)
    changed: dict[str, object] = {}
    for each in fields(first):
        one, two = getattr(first, each.name), getattr(second, each.name)
        if isinstance(one, np.ndarray) and len(one) == count:
            changed[each.name] = np.concatenate([one, two])
        elif each.name in ("takes", "near_field_takes"):
            changed[each.name] = (*one, *two)
        elif each.name == "components":
            changed[each.name] = {name: np.concatenate([one[name], two[name]]) for name in one}
    return replace(first, **changed)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """A case made and looked at."""

    made: Made
    features: tuple[Feature, ...]
    questions: tuple[Question | None, ...]
    causes: tuple[FeatureCauses, ...]

    @classmethod
    def of(cls, seed: int) -> Case:
        """Of a seed, with nothing stated of the loudspeaker."""
        made = make(draw(seed))
        features = tuple(find_features(made.responses))
        scene = scene_of(made.responses, made.drawn.scenario.air.speed)
        causes = causes_in(scene, made.responses, features)
        ask = asking(scene, made.responses, 1.0)
        return cls(made, features, tuple(map(ask, features, causes)), causes)

    @cached_property
    def ruled(self) -> tuple[FeatureCauses, ...]:
        """Causes of the same features where a ruler's sizes are stated."""
        scenario = self.made.drawn.scenario
        return causes_of(self.made.responses, self.features, scenario.air.speed, unit(scenario))


def look(seed: int) -> tuple[list[Told], list[str]]:
    """What each proposed take of a case told, and which takes were proposed; a dash where none was."""
    case = Case.of(seed)
    told: list[Told] = []
    takes: list[str] = []
    for number, (asked, causes) in enumerate(zip(case.questions, case.causes, strict=True)):
        if asked is None:
            continue
        found = next_measurement(causes, POSSIBLE, asked)
        takes.append("-" if found is None else str(found.take))
        if found is not None:
            told += _made(case, number, asked, found)
    return told, takes


def each(seed: int) -> list[Told]:
    """What every kind of take told of every open cause that it could tell of."""
    case = Case.of(seed)
    told: list[Told] = []
    for number, asked in enumerate(case.questions):
        for take in EACH if asked is not None else ():
            assert asked is not None
            steps = _both_sides(asked, take)
            for found in [asked.next(take, 0.0, steps=one) for one in steps] or [asked.next(take, 0.0)]:
                if steps or take in (NextTake.FELT, NextTake.RULER):
                    told += _made(case, number, asked, found)
    return told


def _both_sides(asked: Question, take: NextTake) -> list[Steps]:
    """The best stretch of the better side between measured directions, as planned from the scene."""
    orbit = {NextTake.FINE_HORIZONTAL: Orbit.HORIZONTAL, NextTake.FINE_VERTICAL: Orbit.VERTICAL}.get(take)
    sides = [] if orbit is None else [side_of(asked, orbit, towards) for towards in (1.0, -1.0)]
    there = [side for side in sides if side is not None]
    if orbit is None or not there:
        return []
    best = max(there, key=lambda side: float(side.worth.sum()))
    first, last = stretch(best.worth.sum(axis=0))
    ends = sorted((best.directions[first].angle_deg, best.directions[last].angle_deg))
    return [Steps(orbit, ends[0], ends[1], best.step_deg, best.is_new)]


def _made(case: Case, number: int, asked: Question, found: NextMeasurement) -> list[Told]:
    if found.take is NextTake.RULER:
        by_cause = {said.cause: said.probability for said in case.ruled[number].said}
        return _told(case.made, asked, found, tuple(by_cause[cause] for cause in asked.causes))
    after = _after(case.made, asked, found)
    return [] if after is None else _told(case.made, asked, found, after)


def _after(made: Made, asked: Question, found: NextMeasurement) -> tuple[float, ...] | None:
    """How probable each cause in question is after the take's outcome; None of takes that aren't made."""
    if found.steps is not None:
        return _after_directions(made, asked, found.steps)
    if found.take is NextTake.FELT:
        lots = np.random.default_rng([made.drawn.seed, 95])
        noise = np.hypot(np.sqrt(2.0) * asked.rig.noise_db, AGAIN_DB) * lots.standard_normal()
        part = FELT_PART + FELT_PART_U * lots.standard_normal()
        value = (part * asked.feature.sign * edges_db(made, asked.feature) + noise) / FELT_PART
        return tuple(
            _passes(one, felt_u_db(asked, one) ** -2, value)
            if one.cause is Cause.EDGE_DIFFRACTION
            else one.probability
            for one in asked.asked
        )
    return None


def _after_directions(made: Made, asked: Question, steps: Steps) -> tuple[float, ...]:
    """By how much of the foretold difference is there."""
    more = with_more(made, steps)
    count = len(made.responses.takes)
    directions = [d for take in more.takes[count:] if (d := take.key.direction) is not None]
    hz = asked.foretold.scene.heard.frequency_hz[asked.at]
    at = np.searchsorted(more.frequency_hz, hz * 0.9999)
    level = 20.0 * np.log10(np.abs(more.pressure[count:][:, at]))
    side = side_of(asked, steps.orbit, 1.0 if steps.high_deg > 0.0 else -1.0)
    assert side is not None
    chosen = [i for i, d in enumerate(side.directions) if d in directions]
    spread, whole = asked.spread_db(directions), asked.levels_db(NOTHING, directions)
    found = []
    for number, one in enumerate(asked.asked):
        without = asked.levels_db(frozenset({one.cause}), directions)
        change = (whole - without) / spread
        part = float(np.sum(change * (level - without) / spread) / max(np.sum(change**2), 1e-9))
        found.append(_passes(one, float(side.worth[number, chosen].sum()), part * one.effect_db))
    return tuple(found)


def _passes(one: InQuestion, worth: float, value_db: float) -> float:
    known = known_to_db(one.cause)
    return passes(one.probability, told_part(worth, known), (value_db - one.counts_db) / known)


def edges_db(made: Made, feature: Feature) -> float:
    """What edges truly do at the feature's places, in the mean; nothing on a ball."""
    found = [m.effect_db for m in made.mechanisms if m.cause == "edge_diffraction"]
    effect = np.sum(found, axis=0) if found else np.zeros_like(made.level_db)
    at = [int(np.argmin(np.abs(np.log(made.frequency_hz / s.frequency_hz)))) for s in spots(feature)]
    return float(np.mean([effect[s.row, i] for s, i in zip(spots(feature), at, strict=True)]))


def _told(made: Made, asked: Question, found: NextMeasurement, after: tuple[float, ...]) -> list[Told]:
    acting = true_causes(made, spots(asked.feature))
    return [
        Told(
            made.drawn.seed,
            asked.feature.frequency_hz,
            str(cause),
            str(found.take),
            first,
            second,
            cause.value in acting,
        )
        for cause, first, second in zip(
            asked.causes, [one.probability for one in asked.asked], after, strict=True
        )
    ]


def passes(probability: float, told: float, away: float) -> float:
    """Probability that an effect passes its threshold after a measured value, by Bayes.

    `away` is how far the value lies above the threshold, in standard uncertainties s of the effect before.
    """
    told = float(np.clip(told, 0.0, 1.0 - WITHIN))
    before = float(ndtri(np.clip(probability, WITHIN, 1.0 - WITHIN)))
    mean = before + told * (away - before)
    return float(ndtr(mean / np.sqrt(1.0 - told)))


def change(told: Sequence[Told]) -> tuple[float, float, float, float]:
    """Brier score before and after, and the 95 % interval of the change over loudspeakers drawn again."""
    before, after = ([(getattr(t, when) - t.acts) ** 2 for t in told] for when in ("before", "after"))
    seeds, at = np.unique([t.seed for t in told], return_inverse=True)
    sums = np.bincount(at, np.subtract(after, before), seeds.size)
    counts = np.bincount(at, minlength=seeds.size)
    drawn = np.random.default_rng(7).integers(seeds.size, size=(DRAWS, seeds.size))
    low, high = np.percentile(sums[drawn].sum(axis=1) / counts[drawn].sum(axis=1), (2.5, 97.5))
    return float(np.mean(before)), float(np.mean(after)), float(low), float(high)


def line(name: str, told: Sequence[Told]) -> str:
    """One of the table: how many, the score, and where those that act and those that don't went."""
    moves = [Counter(t.moved for t in told if t.acts is acts) for acts in (True, False)]
    acting, idle = (f"{m.total()}: {m[1]} to, {m[-1]} away, {m[0]} stay" for m in moves)
    before, after, low, high = change(told)
    score = f"{before:.3f} → {after:.3f} ({low:+.3f} to {high:+.3f})"
    return f"{name:50} {len(told):4} {score}; acting {acting}; not {idle}"


def main(words: Sequence[str]) -> int:
    """Seeds from the first, so many; `each` after them for every kind."""
    start, count = (int(word) for word in words[:2])
    told: list[Told] = []
    takes: Counter[str] = Counter()
    for seed in range(start, start + count):
        if words[2:]:
            told += each(seed)
            continue
        some, which = look(seed)
        told += some
        takes.update(which)
    print("proposed:", dict(takes))
    for take in sorted({t.take for t in told}):
        own = [t for t in told if t.take == take]
        print(line(take, own))
        for cause in sorted({t.cause for t in own}):
            print(line("  " + cause, [t for t in own if t.cause == cause]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
