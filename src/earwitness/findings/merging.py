"""Features that one cause makes, as one: a crossover dips above and below the axis, and is told once.

Features of one sign whose most probable cause is the same, no more than half an octave apart, are one with
the places of all; what is said of it is what was said of the most pronounced. What no cause is believed of
stays by itself. A wide peak or dip that is but the shoulder of a shelf isn't told beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.findings.cause_words import BELIEVED, LOST
from earwitness.findings.shape_words import explains
from earwitness.records.causes import Cause, FeatureCauses
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import Direction

#: Features farther apart than this aren't one, octaves.
REACH_OCTAVES: Final = 0.5

Told = tuple[Feature, FeatureCauses]


def merged(features: Sequence[Feature], causes: Sequence[FeatureCauses]) -> tuple[Told, ...]:
    """Features with their causes, from the lowest frequency up."""
    pairs = sorted(zip(features, causes, strict=True), key=lambda told: -abs(told[0].top.seen_db))
    found: list[Told] = []
    for feature, said in pairs:
        for index, (first, told) in enumerate(found):
            if _same(first, told, feature, said):
                found[index] = _with_places(first, feature), told
                break
        else:
            found.append((feature, said))
    return tuple(sorted(found, key=lambda told: told[0].frequency_hz))


def with_shapes(told: Sequence[Told], shapes: Sequence[Told]) -> tuple[Told, ...]:
    """Shelves and tilts among the others, from the lowest frequency up, without what they explain."""
    kept = [one for one in told if not any(explains(shape, one[0]) for shape, _ in shapes)]
    return tuple(sorted([*kept, *shapes], key=lambda one: one[0].frequency_hz))


def foremost(causes: FeatureCauses) -> Cause | None:
    """The most probable cause, where it is believed and can be told."""
    first = max(causes.said, key=lambda each: each.probability)
    return first.cause if first.probability >= BELIEVED and causes.cannot_tell < LOST else None


def _same(first: Feature, told: FeatureCauses, other: Feature, said: FeatureCauses) -> bool:
    shared = foremost(told)
    near = abs(float(np.log2(first.frequency_hz / other.frequency_hz))) <= REACH_OCTAVES
    return near and first.kind == other.kind and shared is not None and shared is foremost(said)


def _with_places(first: Feature, other: Feature) -> Feature:
    """The places of both, the more pronounced one of each direction."""
    places: dict[Direction, FeaturePlace] = {}
    for place in (*first.places, *other.places):
        here = places.get(place.direction)
        if here is None or abs(place.seen_db) > abs(here.seen_db):
            places[place.direction] = place
    return replace(first, places=tuple(sorted(places.values(), key=lambda place: place.direction)))
