"""Where a feature is, in words: on axis, and how far to which side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from earwitness.derive.formatting import angle_text
from earwitness.derive.wording import listing
from earwitness.findings.features import REACH_DEG
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.findings import Place
from earwitness.records.responses import Responses
from earwitness.records.sentences import Number, Sentence, say
from earwitness.records.takes import Direction, Orbit, TakeId

#: The sides of each orbit: positive, negative.
SIDES: Final[Mapping[Orbit, tuple[str, str]]] = {
    Orbit.HORIZONTAL: ("to the left", "to the right"),
    Orbit.VERTICAL: ("above the axis", "below the axis"),
}
#: Where both sides are alike.
BOTH_SIDES: Final[Mapping[Orbit, str]] = {
    Orbit.HORIZONTAL: "to each side",
    Orbit.VERTICAL: "above and below the axis",
}
#: A place on the page reaches at least so far to either side.
MARK_OCTAVES: Final = 1.0 / 6.0
SIDES_IN_ALL: Final = 4
EVERYWHERE: Final = say("in every direction to the front")
_Side = tuple[Orbit, int]


def where(feature: Feature, root: str) -> Sentence:
    """``on axis and up to 30° to the left``; ``20° to 60° above the axis``.

    `root` is the reference of the feature.
    """
    axis = feature.on_axis is not None
    sides = _sides(feature.places)
    if (
        axis
        and len(sides) == SIDES_IN_ALL
        and all(_reach(feature, s)[1] >= REACH_DEG for s in sides.values())
    ):
        return EVERYWHERE
    told = [say("on axis")] if axis else []
    for (orbit, sign), indices in sides.items():
        other = sides.get((orbit, -sign))
        alike = other is not None and _reach(feature, indices) == _reach(feature, other)
        if alike and sign < 0:
            continue
        words = BOTH_SIDES[orbit] if alike else SIDES[orbit][0 if sign > 0 else 1]
        near, far = (_angle(feature, index, root) for index in (indices[0], indices[-1]))
        if axis:
            told.append(say("up to ", far, f" {words}"))
        elif len(indices) == 1:
            told.append(say(far, f" {words}"))
        else:
            told.append(say(near, " to ", far, f" {words}"))
    return listing(told)


def side_of(feature: Feature, index: int, root: str) -> Sentence:
    """Of one place: ``on axis``, ``40° above the axis``."""
    direction = feature.places[index].direction
    if direction.angle_deg == 0.0:
        return say("on axis")
    words = SIDES[direction.orbit][0 if direction.angle_deg > 0.0 else 1]
    return say(_angle(feature, index, root), f" {words}")


def place_of(feature: Feature, drive: str) -> Place:
    """Where the page marks it: on the curve on axis, else on the map where it stands out most."""
    on_axis = feature.on_axis
    top = on_axis or feature.top
    half = max(0.5 * top.width_octaves, MARK_OCTAVES)
    return Place(
        curve="on_axis" if on_axis else f"coverage_{top.direction.orbit}",
        band_hz=(top.frequency_hz * 2.0**-half, top.frequency_hz * 2.0**half),
        direction=top.direction.label,
        drive=drive,
        level_db=None if on_axis else top.direction.angle_deg,
    )


def by_direction(responses: Responses) -> dict[Direction, list[TakeId]]:
    """The takes of each direction that count."""
    found: dict[Direction, list[TakeId]] = {}
    for take in responses.takes:
        if take.key.direction is not None and take.id not in responses.set_aside:
            found.setdefault(take.key.direction.shared, []).append(take.id)
    return found


def takes_of(feature: Feature, by_direction: Mapping[Direction, Sequence[TakeId]]) -> tuple[TakeId, ...]:
    """The takes of its places."""
    found = (take for place in feature.places for take in by_direction.get(place.direction.shared, ()))
    return tuple(sorted(set(found)))


def _sides(places: Sequence[FeaturePlace]) -> dict[_Side, list[int]]:
    """Indices of places off axis by orbit and sign, from the axis outward."""
    found: dict[_Side, list[int]] = {}
    for index in sorted(range(len(places)), key=lambda i: abs(places[i].direction.angle_deg)):
        direction = places[index].direction
        if direction.angle_deg != 0.0:
            found.setdefault((direction.orbit, 1 if direction.angle_deg > 0.0 else -1), []).append(index)
    return dict(sorted(found.items(), key=lambda item: (item[0][0] is Orbit.VERTICAL, -item[0][1])))


def _reach(feature: Feature, indices: Sequence[int]) -> tuple[float, float]:
    """How near the axis and how far from it a side reaches, degrees."""
    near, far = (abs(feature.places[index].direction.angle_deg) for index in (indices[0], indices[-1]))
    return near, far


def _angle(feature: Feature, index: int, root: str) -> Number:
    angle = feature.places[index].direction.angle_deg
    return Number(angle_text(abs(angle)), angle, f"{root}/places/{index}/direction/angle_deg")
