"""ANSI/CTA-2034-A (2015): the direction groups, the sound-power weights, and how curves are combined.

Every curve but the two indices is a weighted mean of mean square pressure over directions, so each is a row
of weights (`curve_weights`) and one product (`combine`). The groups and the in-room weights are recalled; the
sound-power weights are computed from the geometry that they stand for, and agree with the ten recalled values
to 5e-10. Where the document can be read in two ways, `Readings` names the ways; the defaults are those of the
page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.records.curves import CurveName
from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import ON_AXIS, Direction, Orbit

DOCUMENT: Final = "ANSI/CTA-2034-A"
EDITION: Final = "2015"

#: Angular step of both orbits, degrees (recalled).
STEP_DEG: Final = 10.0

#: Weights of listening window, early reflections and sound power in the estimated in-room curve (recalled).
IN_ROOM_WEIGHTS: Final = (0.12, 0.44, 0.44)


def source(clause: str, standing: Standing = Standing.RECALLED) -> Source:
    """This document as the source of a number."""
    return Source(DOCUMENT, EDITION, clause, standing)


def _horizontal(*angles: float) -> tuple[Direction, ...]:
    return tuple(Direction(Orbit.HORIZONTAL, float(a)) for a in angles)


def _vertical(*angles: float) -> tuple[Direction, ...]:
    return tuple(Direction(Orbit.VERTICAL, float(a)) for a in angles)


def _both_sides(*angles: float) -> tuple[Direction, ...]:
    return tuple(d for a in angles for d in _horizontal(a, -a))


#: The 70 directions of the two orbits; 0 and 180 lie on both and stand here once (recalled).
DIRECTIONS: Final = tuple(
    Direction(orbit, float(angle))
    for orbit in Orbit
    for angle in range(-170, 181, int(STEP_DEG))
    if orbit is Orbit.HORIZONTAL or angle not in (0, 180)
)

#: Listening window: nine directions within ±10° vertically and ±30° horizontally (recalled).
LISTENING_WINDOW: Final = (ON_AXIS, *_vertical(10, -10), *_both_sides(10, 20, 30))
#: Floor bounce (recalled).
FLOOR: Final = _vertical(-20, -30, -40)
#: Ceiling bounce (recalled).
CEILING: Final = _vertical(40, 50, 60)
#: Front wall bounce (recalled).
FRONT: Final = (ON_AXIS, *_both_sides(10, 20, 30))
#: Side wall bounces (recalled).
SIDE: Final = _both_sides(40, 50, 60, 70, 80)
#: Rear wall bounce, "180, ±90" read as three directions (recalled; the wording admits both readings).
REAR_THREE: Final = (*_horizontal(180), *_both_sides(90))
#: Rear wall bounce, "180, ±90" read as all directions from 90 round to −90 (recalled).
REAR_NINETEEN: Final = (*_horizontal(180), *_both_sides(90, 100, 110, 120, 130, 140, 150, 160, 170))


@dataclass(frozen=True, slots=True)
class Readings:
    """Which of the published readings is taken.

    Attributes
    ----------
    rear
        The rear wall bounce as ``three`` directions (A) or ``nineteen`` (B).
    early
        Early and total reflections as the mean of their ``groups``, or the ``flat`` mean of all directions.
    in_room
        The in-room weights on ``power`` or on ``level`` (dB).
    sound_power
        The weights ``normalised`` by their sum, ``raw`` as the table prints them (sum 0.99637), or the exact
        ``area``, where the poles count four half-orbit tips.
    """

    rear: Literal["three", "nineteen"] = "three"
    early: Literal["groups", "flat"] = "groups"
    in_room: Literal["power", "level"] = "power"
    sound_power: Literal["normalised", "raw", "area"] = "normalised"


DEFAULT: Final = Readings()

#: The curves that are weighted means over directions, in the order in which they are derived.
POWER_CURVES: Final = (
    CurveName.ON_AXIS,
    CurveName.LISTENING_WINDOW,
    CurveName.FLOOR_REFLECTION,
    CurveName.CEILING_REFLECTION,
    CurveName.FRONT_REFLECTION,
    CurveName.SIDE_REFLECTION,
    CurveName.REAR_REFLECTION,
    CurveName.EARLY_REFLECTIONS,
    CurveName.TOTAL_HORIZONTAL_REFLECTIONS,
    CurveName.TOTAL_VERTICAL_REFLECTIONS,
    CurveName.SOUND_POWER,
    CurveName.ESTIMATED_IN_ROOM,
)


def power_weight(angle_deg: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Share of the sphere that the table gives to an orbit angle: steps of 10° on two orbits.

    The sphere is split between the orbits by the planes |y| = |z| (x forward), and each orbit's part is cut
    by meridian great circles half a step to either side: w(t) = [asin(cos(t−5°)/√2) − asin(cos(t+5°)/√2)]/2π.
    At 0° and 180° the table gives the tip of one half-orbit, [π/4 − asin(cos 5°/√2)]/2π, of which the patch
    holds four. Worked number: w(90°) = 0.019629373.

    Source: computed; agrees with the ten recalled values of the table to 5e-10.
    """
    folded = np.abs(np.asarray(angle_deg, dtype=np.float64))
    half = 0.5 * STEP_DEG
    inner, outer = np.deg2rad(folded - half), np.deg2rad(folded + half)
    share = np.arcsin(np.cos(inner) / np.sqrt(2)) - np.arcsin(np.cos(outer) / np.sqrt(2))
    tip = 0.25 * np.pi - np.arcsin(np.cos(np.deg2rad(half)) / np.sqrt(2))
    pole = (folded == 0.0) | (folded == 180.0)
    return np.asarray(np.where(pole, tip, share) / (2 * np.pi))


def groups(readings: Readings = DEFAULT) -> Mapping[CurveName, tuple[Direction, ...]]:
    """The five early-reflection groups, each a plain mean of its directions."""
    return {
        CurveName.FLOOR_REFLECTION: FLOOR,
        CurveName.CEILING_REFLECTION: CEILING,
        CurveName.FRONT_REFLECTION: FRONT,
        CurveName.SIDE_REFLECTION: SIDE,
        CurveName.REAR_REFLECTION: REAR_THREE if readings.rear == "three" else REAR_NINETEEN,
    }


#: Which groups the combined reflection curves are made of (recalled).
COMBINED: Final[Mapping[CurveName, tuple[CurveName, ...]]] = {
    CurveName.EARLY_REFLECTIONS: (
        CurveName.FLOOR_REFLECTION,
        CurveName.CEILING_REFLECTION,
        CurveName.FRONT_REFLECTION,
        CurveName.SIDE_REFLECTION,
        CurveName.REAR_REFLECTION,
    ),
    CurveName.TOTAL_HORIZONTAL_REFLECTIONS: (
        CurveName.FRONT_REFLECTION,
        CurveName.SIDE_REFLECTION,
        CurveName.REAR_REFLECTION,
    ),
    CurveName.TOTAL_VERTICAL_REFLECTIONS: (CurveName.FLOOR_REFLECTION, CurveName.CEILING_REFLECTION),
}


_READING_WORDS: Final[Mapping[str, str]] = {
    "three": "rear as three directions",
    "nineteen": "rear as nineteen directions",
    "groups": "groups with equal weight",
    "flat": "all directions with equal weight",
    "power": "in-room weights on power",
    "level": "in-room weights on level",
    "normalised": "sound-power weights divided by their sum",
    "raw": "sound-power weights as printed",
    "area": "sound-power weights as exact areas",
}


def reading_words(curve: CurveName, readings: Readings = DEFAULT) -> str:
    """Which of the published readings a curve follows, without digits; empty where there is but one.

    Worked example: early reflections, "rear as three directions; groups with equal weight".
    """
    rear, early = (_READING_WORDS[readings.rear], _READING_WORDS[readings.early])
    power, room = (_READING_WORDS[readings.sound_power], _READING_WORDS[readings.in_room])
    chosen: Mapping[CurveName, tuple[str, ...]] = {
        CurveName.REAR_REFLECTION: (rear,),
        CurveName.EARLY_REFLECTIONS: (rear, early),
        CurveName.EARLY_REFLECTIONS_DI: (rear, early),
        CurveName.TOTAL_HORIZONTAL_REFLECTIONS: (rear, early),
        CurveName.TOTAL_VERTICAL_REFLECTIONS: (early,),
        CurveName.SOUND_POWER: (power,),
        CurveName.SOUND_POWER_DI: (power,),
        CurveName.ESTIMATED_IN_ROOM: (rear, early, power, room),
    }
    return "; ".join(chosen.get(curve, ()))


def direction_weights(curve: CurveName, readings: Readings = DEFAULT) -> Mapping[Direction, float]:
    """Weight of each direction's mean square pressure in a curve of `POWER_CURVES`.

    Raises
    ------
    KeyError
        The curve is an index, which is a difference of two curves and no mean.
    """
    members: Mapping[CurveName, tuple[Direction, ...]] = {
        CurveName.ON_AXIS: (ON_AXIS,),
        CurveName.LISTENING_WINDOW: LISTENING_WINDOW,
        **groups(readings),
    }
    if curve in members:
        return _plain_mean(members[curve])
    if curve is CurveName.SOUND_POWER:
        return _sound_power_weights(readings)
    if curve is CurveName.ESTIMATED_IN_ROOM:
        parts = (CurveName.LISTENING_WINDOW, CurveName.EARLY_REFLECTIONS, CurveName.SOUND_POWER)
        rows = [direction_weights(part, readings) for part in parts]
        return _weighted_sum(rows, IN_ROOM_WEIGHTS)
    chosen = [members[name] for name in COMBINED[curve]]
    if readings.early == "flat":
        return _plain_mean(tuple(d for group in chosen for d in group))
    return _weighted_sum([_plain_mean(group) for group in chosen], (1.0 / len(chosen),) * len(chosen))


def curve_weights(
    curve: CurveName, directions: tuple[Direction, ...], readings: Readings = DEFAULT
) -> npt.NDArray[np.float64]:
    """The weights of a curve as a row over `directions`, shape (D,), all of which it needs being there."""
    weights = direction_weights(curve, readings)
    row = np.zeros(len(directions))
    index = {d: i for i, d in enumerate(directions)}
    row[[index[d] for d in weights]] = list(weights.values())
    return row


def combine(power: Floats, weights: Floats, axis: int = -2) -> Floats:
    """Weighted mean of mean square pressure over the directions on `axis`; frequency is last.

    `weights` of shape (D,) takes the axis away, of shape (C, D) puts C curves in its place (at −2).
    """
    return np.asarray(weights @ np.moveaxis(power, axis, -2))


def estimated_in_room(
    listening_window: Floats, early_reflections: Floats, sound_power: Floats, readings: Readings = DEFAULT
) -> Floats:
    """Estimated in-room mean square pressure from that of its three curves: 12, 44 and 44 %.

    On ``power`` the weights stand on p², on ``level`` on dB; the two differ by tenths of a decibel.
    """
    parts = (listening_window, early_reflections, sound_power)
    if readings.in_room == "power":
        return np.asarray(sum(w * p for w, p in zip(IN_ROOM_WEIGHTS, parts, strict=True)))
    return np.exp(sum(w * np.log(p) for w, p in zip(IN_ROOM_WEIGHTS, parts, strict=True)))


def directivity_index_db(listening_window: Floats, other: Floats) -> Floats:
    """Index in dB: the listening window over early reflections or sound power, both mean square pressure."""
    return np.asarray(10.0 * np.log10(listening_window / other))


def _sound_power_weights(readings: Readings) -> Mapping[Direction, float]:
    row = power_weight([d.angle_deg for d in DIRECTIONS])
    if readings.sound_power == "area":
        row *= [4.0 if d.angle_deg in (0.0, 180.0) else 1.0 for d in DIRECTIONS]
    if readings.sound_power == "normalised":
        row /= row.sum()
    return dict(zip(DIRECTIONS, row.tolist(), strict=True))


def _plain_mean(directions: tuple[Direction, ...]) -> Mapping[Direction, float]:
    share = 1.0 / len(directions)
    return dict.fromkeys(directions, share)


def _weighted_sum(
    rows: list[Mapping[Direction, float]], weights: tuple[float, ...]
) -> Mapping[Direction, float]:
    total: dict[Direction, float] = {}
    for row, weight in zip(rows, weights, strict=True):
        for direction, share in row.items():
            total[direction] = total.get(direction, 0.0) + weight * share
    return total
