"""One seeded case, looked at: what there is, what was found, how long it took."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from evaluation.physics import Made, make
from evaluation.population import draw
from evaluation.truth import Spot, TrueFeature, causes, meets, real, true_features

from earwitness.findings.features import find_features
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
    found_examples
        The same of each found feature.
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
    found_examples: tuple[tuple[float, frozenset[str]], ...]
    false_alarms: int
    frequency_octaves: tuple[float, ...]
    made_s: float
    looked_s: float


def look(seed: int) -> Looked:
    """Make a case and look at it."""
    start = time.perf_counter()
    made = make(draw(seed))
    true = tuple(true_features(made))
    between = time.perf_counter()
    found = find_features(made.responses)
    looked_s = time.perf_counter() - between
    return looked(made, true, [spots(each) for each in found], between - start, looked_s)


def looked(
    made: Made, true: tuple[TrueFeature, ...], found: Sequence[Sequence[Spot]], made_s: float, looked_s: float
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
        found_examples=tuple((some[0].frequency_hz, causes(made, some)) for some in found),
        false_alarms=sum(not real(made, some) for some in found),
        frequency_octaves=tuple(errors),
        made_s=made_s,
        looked_s=looked_s,
    )


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
