"""One seeded case, looked at: what there is, what was found, how long it took."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from evaluation.physics import Made, make
from evaluation.population import draw
from evaluation.ruler import unit
from evaluation.scores import Statement
from evaluation.truth import Spot, TrueFeature, causes, meets, real, true_features

from earwitness.findings.causes.judge import causes_of
from earwitness.findings.features import find_features
from earwitness.records.causes import FeatureCauses
from earwitness.records.features import Feature
from earwitness.records.takes import Direction, Orbit
from earwitness.virtual.standard_curves import DIRECTIONS

ROWS = {
    Direction(Orbit(orbit), float(angle)): row for row, (orbit, angle) in reversed([*enumerate(DIRECTIONS)])
}


@dataclass(frozen=True)
class Looked:
    """A case's outcome.

    Attributes
    ----------
    true, hit
        Its true features, and for each whether one was found.
    found
        The found features as spots, the most pronounced first.
    examples
        Of each true feature that shows, its frequency and its set of causes.
    said
        What is said of each of those: of the found feature that meets it, the most pronounced if several do;
        "can't tell" where none does.
    found_examples
        As `examples`, of each found feature.
    told
        What is said of each found feature.
    faults
        Parameters of the faults, by cause.
    false_alarms
        Found features where nothing is at work.
    frequency_octaves
        Errors of the found against the true, of hits that are not broad.
    """

    seed: int
    shape: str
    gate_s: float
    true: tuple[TrueFeature, ...]
    hit: tuple[bool, ...]
    found: tuple[tuple[Spot, ...], ...]
    examples: tuple[tuple[float, frozenset[str]], ...]
    said: tuple[Statement, ...]
    found_examples: tuple[tuple[float, frozenset[str]], ...]
    told: tuple[FeatureCauses, ...]
    faults: tuple[tuple[str, Mapping[str, float]], ...]
    false_alarms: int
    frequency_octaves: tuple[float, ...]
    made_s: float
    looked_s: float
    told_s: float


def look(seed: int) -> Looked:
    """Make a case and look at it."""
    start = time.perf_counter()
    made = make(draw(seed))
    true = tuple(true_features(made))
    between = time.perf_counter()
    found = find_features(made.responses)
    looked_s = time.perf_counter() - between
    scenario = made.drawn.scenario
    told = causes_of(made.responses, found, scenario.air.speed, unit(scenario))
    told_s = time.perf_counter() - between - looked_s
    return looked(made, true, [spots(each) for each in found], told, (between - start, looked_s, told_s))


def looked(
    made: Made,
    true: tuple[TrueFeature, ...],
    found: Sequence[Sequence[Spot]],
    told: tuple[FeatureCauses, ...],
    times_s: tuple[float, float, float],
) -> Looked:
    """Hold what was found against what is true."""
    shown = [each for each in true if each.shows]
    errors = []
    for each in shown:
        if not each.broad:
            near = [
                abs(float(np.log2(s.frequency_hz / each.top.frequency_hz)))
                for some in found
                for s in some
                if s.row == each.top.row and meets([s], each)
            ]
            errors += [min(near)] if near else []
    return Looked(
        seed=made.drawn.seed,
        shape=made.shape,
        gate_s=float(made.responses.gate_s[0]),
        true=true,
        hit=tuple(any(meets(some, each) for some in found) for each in true),
        found=tuple(tuple(some) for some in found),
        examples=tuple((each.top.frequency_hz, causes(made, each.spots)) for each in shown),
        said=tuple(statement_of(each, found, told) for each in shown),
        found_examples=tuple((some[0].frequency_hz, causes(made, some)) for some in found),
        told=told,
        faults=tuple((each.cause, each.parameters) for each in made.mechanisms),
        false_alarms=sum(not real(made, some) for some in found),
        frequency_octaves=tuple(errors),
        made_s=times_s[0],
        looked_s=times_s[1],
        told_s=times_s[2],
    )


def statement(told: FeatureCauses) -> Statement:
    """As scores want it."""
    return Statement({each.cause.value: each.probability for each in told.said}, told.cannot_tell)


def statement_of(
    true: TrueFeature, found: Sequence[Sequence[Spot]], told: Sequence[FeatureCauses]
) -> Statement:
    """What is said of a true feature."""
    for some, causes_told in zip(found, told, strict=True):
        if meets(some, true):
            return statement(causes_told)
    return Statement({}, 1.0)


def spots(feature: Feature) -> tuple[Spot, ...]:
    """A found feature's places, the highest first. 0° of the vertical orbit is its own row there too."""
    ranked = sorted(feature.places, key=lambda place: -abs(place.seen_db))
    return tuple(
        Spot(row, place.frequency_hz, place.seen_db, place.width_octaves)
        for place in ranked
        for row in rows(place.direction)
    )


def rows(direction: Direction) -> list[int]:
    """Rows of a direction; what lies on both orbits has two."""
    if direction.angle_deg in (0.0, 180.0):
        return [row for row, (_, angle) in enumerate(DIRECTIONS) if angle == direction.angle_deg]
    return [ROWS[direction]]
