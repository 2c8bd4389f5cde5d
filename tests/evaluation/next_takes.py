"""`PYTHONPATH=tests python -m evaluation.next_takes 20600 21`: does the take that is proposed tell the truth?

New directions that are proposed for a feature are made from the same physics, with errors of angle and noise
of their own; felt takes half of what edges truly do, in decibels. Causes in question follow by Bayes from
what was foretold. Counted is how often the probability of one moves to its truth, and the Brier score of
those causes before and after. Other takes are counted and not made.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from unittest.mock import patch

import numpy as np
from evaluation import physics
from evaluation.case import spots
from evaluation.physics import Made, make
from evaluation.population import draw
from evaluation.truth import causes as true_causes
from scipy.special import ndtr, ndtri

from earwitness.findings.causes.judge import causes_in, scene_of
from earwitness.findings.features import find_features
from earwitness.findings.next_from_scene import (
    AGAIN_DB,
    EFFECT_U_DB,
    FELT_PART,
    FELT_PART_U,
    felt_u_db,
    side_of,
    told_part,
)
from earwitness.findings.next_measurement import next_measurement
from earwitness.findings.next_question import NOTHING, InQuestion, Question, asking
from earwitness.findings.next_table import SHOWS, Possible
from earwitness.findings.outcomes import WITHIN
from earwitness.records.causes import Cause
from earwitness.records.features import Feature
from earwitness.records.next_measurement import NextMeasurement, NextTake, Steps
from earwitness.records.responses import Responses

#: Radiators aren't stated here, and nothing is there but the two orbits.
POSSIBLE = Possible(frozenset(SHOWS), needs_clock=False)
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


def look(seed: int) -> tuple[list[Told], list[NextTake]]:
    """What each proposed take of a case told, and which takes were proposed."""
    made = make(draw(seed))
    features = find_features(made.responses)
    scene = scene_of(made.responses, made.drawn.scenario.air.speed)
    before = causes_in(scene, made.responses, features)
    ask = asking(scene, made.responses, 1.0)
    told: list[Told] = []
    takes: list[NextTake] = []
    for feature, causes in zip(features, before, strict=True):
        asked = ask(feature, causes)
        found = next_measurement(causes, POSSIBLE, asked)
        if found is None or asked is None:
            continue
        takes.append(found.take)
        after = _after(made, asked, found)
        if after is not None:
            told += _told(made, asked, found, after)
    return told, takes


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
    return passes(one.probability, told_part(worth), (value_db - one.counts_db) / EFFECT_U_DB)


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


def main(words: Sequence[str]) -> int:
    """Seeds from the first, so many."""
    start, count = (int(word) for word in words)
    told: list[Told] = []
    takes: Counter[str] = Counter()
    for seed in range(start, start + count):
        some, which = look(seed)
        told += some
        takes.update(str(take) for take in which)
        for one in some:
            print(
                f"{one.seed} {one.frequency_hz:7.0f} Hz {one.cause:24} {one.take[:20]:20} "
                f"{one.before:.2f} → {one.after:.2f} {one.acts}",
                flush=True,
            )
    print("proposed:", dict(takes))
    for name, some in (
        ("acting", [t for t in told if t.acts]),
        ("not acting", [t for t in told if not t.acts]),
    ):
        moves = Counter(t.moved for t in some)
        print(f"{name}: {len(some)}; to the truth {moves[1]}, away {moves[-1]}, stays {moves[0]}")
    if told:
        for when in ("before", "after"):
            score = np.mean([(getattr(t, when) - t.acts) ** 2 for t in told])
            print(f"Brier {when}: {score:.3f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
