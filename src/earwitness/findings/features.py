"""Features of a loudspeaker: what stands out in neighbouring directions, joined into one with many places.

Each direction to the front is fitted by itself (`features_fit`). Sections of one sign in neighbouring
directions of an orbit, no more than a sixth of an octave apart, are one feature; both orbits meet on the
axis. What one direction shows alone is none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.features_fit import Sections, fit_sections
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.responses import Responses
from earwitness.records.takes import ON_AXIS, Direction, Orbit
from earwitness.records.uncertainty import ComponentName

Float64s = npt.NDArray[np.float64]

#: Directions to either side of the axis in which features are sought.
REACH_DEG: Final = 60.0
#: Directions of an orbit no farther apart than this are neighbours.
NEIGHBOURS_DEG: Final = 15.0
TRACK_OCTAVES: Final = 1.0 / 6.0
#: What is seen in one direction alone may be an error of that take.
LEAST_DIRECTIONS: Final = 3
#: In so many directions a feature stands out by this at least, and in one of them by this.
LEAST_DB, TOP_DB = 1.2, 2.0
#: What is wider than this is seen in one direction more.
WIDE_OCTAVES: Final = 2.0
#: A response with fewer valid points in a row tells nothing.
LEAST_POINTS: Final = 96


@dataclass(frozen=True, slots=True)
class _Heard:
    """The level in one direction on a stretch of the grid, all arrays (F,)."""

    frequency_hz: Float64s
    level_db: Float64s
    noise_db: Float64s
    gate_s: float


def find_features(responses: Responses) -> tuple[Feature, ...]:
    """Peaks and dips within 60° of the axis, the most pronounced first.

    Repeats of a direction count by their mean power, valid where all are. No phase is needed. What came
    without a gate is taken for a response that had none.
    """
    heard = {
        direction: one
        for direction, rows in _rows(responses).items()
        if (one := _heard(responses, rows)) is not None
    }
    fitted = {
        direction: _places(direction, fit_sections(one.frequency_hz, one.level_db, one.noise_db, one.gate_s))
        for direction, one in heard.items()
    }
    found = [_feature(places, heard) for places in _joined(fitted) if _counts(places)]
    return tuple(sorted(found, key=lambda feature: -abs(feature.top.seen_db)))


def _counts(places: Sequence[FeaturePlace]) -> bool:
    """Whether it stands out far enough, in enough directions."""
    top = max(places, key=lambda place: abs(place.seen_db))
    wanted = LEAST_DIRECTIONS + (top.width_octaves > WIDE_OCTAVES)
    return abs(top.seen_db) >= TOP_DB and sum(abs(p.seen_db) >= LEAST_DB for p in places) >= wanted


def _rows(responses: Responses) -> dict[Direction, list[int]]:
    """Rows of `responses` by direction, to the front."""
    found: dict[Direction, list[int]] = {}
    for row, take in enumerate(responses.takes):
        direction = take.key.direction
        if direction is None or abs(direction.angle_deg) > REACH_DEG or take.id in responses.set_aside:
            continue
        found.setdefault(direction.shared, []).append(row)
    return found


def _heard(responses: Responses, rows: Sequence[int]) -> _Heard | None:
    """The mean over rows, on the longest stretch where all are valid; None where that is too short."""
    start, stop = _longest(np.all(responses.valid[rows], axis=0))
    if stop - start < LEAST_POINTS:
        return None
    inside = slice(start, stop)
    power = np.mean(np.abs(responses.pressure[rows, inside].astype(np.complex128)) ** 2, axis=0)
    noise = responses.components.get(ComponentName.NOISE)
    noise_db = np.zeros(stop - start) if noise is None else np.nan_to_num(np.max(noise[rows, inside], axis=0))
    gates = [float(responses.gate_s[row]) for row in rows if responses.gate_s[row] > 0.0]
    return _Heard(
        np.asarray(responses.frequency_hz[inside], dtype=np.float64),
        np.asarray(10.0 * np.log10(np.maximum(power, 1e-30))),
        np.asarray(noise_db, dtype=np.float64),
        min(gates, default=float("inf")),
    )


def _longest(valid: npt.NDArray[np.bool_]) -> tuple[int, int]:
    """Start and stop of the longest run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], valid, [False]]).astype(int)))
    runs = edges.reshape(-1, 2)
    if not len(runs):
        return 0, 0
    start, stop = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))]
    return int(start), int(stop)


def _places(direction: Direction, sections: Sections) -> list[FeaturePlace]:
    widths = sections.width_octaves
    return [
        FeaturePlace(
            direction=direction,
            frequency_hz=float(sections.centre_hz[k]),
            gain_db=float(sections.gain_db[k]),
            width_octaves=float(widths[k]),
            frequency_u_hz=float(sections.centre_hz[k] * np.log(2.0) * sections.uncertainty[k, 0]),
            gain_u_db=float(sections.uncertainty[k, 1]),
            seen_db=float(sections.shown_db[k]),
        )
        for k in range(len(widths))
    ]


def _joined(fitted: Mapping[Direction, Sequence[FeaturePlace]]) -> list[list[FeaturePlace]]:
    """Places joined along both orbits, outward from the axis."""
    tracks = [[place] for place in fitted.get(ON_AXIS, ())]
    owners = {id(track[0]): track for track in tracks}
    for orbit in Orbit:
        for side in (1.0, -1.0):
            angles = [d.angle_deg for d in fitted if d.orbit is orbit and side * d.angle_deg > 0.0]
            last, last_deg = list(fitted.get(ON_AXIS, ())), 0.0
            for angle in sorted(angles, key=abs):
                here = list(fitted[Direction(orbit, angle)])
                near = last if abs(angle - last_deg) <= NEIGHBOURS_DEG else []
                for before, place in _pairs(near, here):
                    owners[id(place)] = owners[id(before)]
                    owners[id(place)].append(place)
                for place in here:
                    if id(place) not in owners:
                        owners[id(place)] = [place]
                        tracks.append(owners[id(place)])
                last, last_deg = here, angle
    return tracks


def _pairs(
    before: Sequence[FeaturePlace], here: Sequence[FeaturePlace]
) -> list[tuple[FeaturePlace, FeaturePlace]]:
    """Each with the nearest of its sign, the nearest pairs first."""
    near = sorted(
        (abs(float(np.log2(one.frequency_hz / other.frequency_hz))), i, j)
        for i, one in enumerate(before)
        for j, other in enumerate(here)
        if one.gain_db * other.gain_db > 0.0
    )
    taken: tuple[set[int], set[int]] = (set(), set())
    found = []
    for octaves, i, j in near:
        if octaves <= TRACK_OCTAVES and i not in taken[0] and j not in taken[1]:
            taken[0].add(i)
            taken[1].add(j)
            found.append((before[i], here[j]))
    return found


def _feature(places: Sequence[FeaturePlace], heard: Mapping[Direction, _Heard]) -> Feature:
    """One feature, told where it stands out most."""
    top = max(places, key=lambda place: abs(place.seen_db))
    q = 1.0 / (2.0 * np.sinh(0.5 * np.log(2.0) * top.width_octaves))
    most = top.frequency_hz * heard[top.direction].gate_s
    told = q < most
    return Feature(
        kind="peak" if top.gain_db > 0.0 else "dip",
        frequency_hz=top.frequency_hz,
        frequency_u_hz=top.frequency_u_hz,
        gain_db=top.gain_db,
        gain_u_db=top.gain_u_db,
        q=float(q) if told else None,
        q_at_least=None if told else float(most),
        places=tuple(sorted(places, key=lambda place: place.direction)),
    )
