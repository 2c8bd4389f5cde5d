"""What is really there: the features of each mechanism, and which causes a place has.

A mechanism's effect in one direction has an extremum where it reaches 1.5 dB and stands 1 dB out of its
surroundings. Extrema of one sign in neighbouring directions of one orbit, no more than a sixth of an octave
apart, are one feature. It *shows* where the measured curve itself, free of noise, stands 1.5 dB out of the
chord between the points one full width below and above, in three of its directions: that is what can be
found, since another mechanism may hide the rest, and one take alone may err.

The causes of a place are those whose mechanism has an effect of that sign of 1 dB there, and of half the
largest such effect: a set, since causes coexist.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from evaluation.physics import Made
from scipy.signal import find_peaks, peak_widths

from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.virtual.standard_curves import DIRECTIONS

Floats = npt.NDArray[np.float64]

#: Directions that count, to either side of the axis on both orbits.
REACH_DEG: Final = 60
#: Features above this are no business of anyone's.
HIGHEST_HZ: Final = 16_000.0
LEAST_DB, LEAST_PROMINENCE_DB = 1.5, 1.0
TRACK_OCTAVES: Final = 1.0 / 6.0
#: A feature is seen in so many neighbouring directions at least.
LEAST_DIRECTIONS: Final = 3
#: A found place meets a true one so near, or within half its width if that is more.
NEAR_OCTAVES: Final = 1.0 / 12.0
#: Of a cause: the least effect, and the least share of the largest.
CAUSE_DB, CAUSE_SHARE = 1.0, 0.5
#: Below this no mechanism is at work.
NOTHING_DB: Final = 0.75
#: Wider than this is broad: its place is a matter of reading.
BROAD_OCTAVES: Final = 1.0


@dataclass(frozen=True)
class Spot:
    """A place: row of `DIRECTIONS`, frequency, signed height, full width at half height."""

    row: int
    frequency_hz: float
    height_db: float
    width_octaves: float

    @property
    def sign(self) -> int:
        return 1 if self.height_db > 0.0 else -1


@dataclass(frozen=True)
class TrueFeature:
    """A feature of one mechanism over directions."""

    mechanism: str
    cause: str
    standing: str
    spots: tuple[Spot, ...]
    #: How far the measured curve itself stands out, dB, in `LEAST_DIRECTIONS` of them at least.
    shown_db: float

    @property
    def top(self) -> Spot:
        return max(self.spots, key=lambda spot: abs(spot.height_db))

    @property
    def shows(self) -> bool:
        return self.shown_db >= LEAST_DB

    @property
    def scarce(self) -> bool:
        """In fewer directions than count: an error of single takes could look the same."""
        return len(self.spots) < LEAST_DIRECTIONS

    @property
    def broad(self) -> bool:
        return self.top.width_octaves > BROAD_OCTAVES


def front_rows(orbit: str) -> list[int]:
    """Rows of the directions that count, in the order of their angles."""
    rows = [row for row, (o, angle) in enumerate(DIRECTIONS) if o == orbit and abs(angle) <= REACH_DEG]
    return sorted(rows, key=lambda row: DIRECTIONS[row][1])


def true_features(made: Made) -> list[TrueFeature]:
    """All of a case, of all mechanisms."""
    found = []
    for mechanism in made.mechanisms:
        for orbit in ("horizontal", "vertical"):
            rows = front_rows(orbit)
            by_row = [extrema(mechanism.effect_db[row], made.frequency_hz, row) for row in rows]
            for spots in tracks(by_row):
                shown = kth_largest([shown_db(made, spot) for spot in spots], LEAST_DIRECTIONS)
                found.append(
                    TrueFeature(mechanism.name, mechanism.cause, mechanism.standing, tuple(spots), shown)
                )
    return found


def kth_largest(values: Sequence[float], k: int) -> float:
    """0 where there are fewer."""
    return sorted(values, reverse=True)[k - 1] if len(values) >= k else 0.0


def extrema(effect_db: Floats, frequency_hz: Floats, row: int) -> list[Spot]:
    """Peaks and dips of an effect (F,)."""
    spots = []
    for sign in (1.0, -1.0):
        padded = np.concatenate([[0.0], sign * effect_db, [0.0]])
        at, _ = find_peaks(padded, height=LEAST_DB, prominence=LEAST_PROMINENCE_DB)
        widths = peak_widths(padded, at, rel_height=0.5)[0]
        spots += [
            Spot(row, float(frequency_hz[k - 1]), float(sign * padded[k]), float(width) / POINTS_PER_OCTAVE)
            for k, width in zip(at, widths, strict=True)
            if frequency_hz[k - 1] <= HIGHEST_HZ
        ]
    return spots


def tracks(by_row: Sequence[Sequence[Spot]]) -> list[list[Spot]]:
    """Spots of neighbouring rows joined, each with the nearest in frequency of its sign."""
    whole: list[list[Spot]] = []
    open_tracks: list[list[Spot]] = []
    for spots in by_row:
        free, carried = list(spots), []
        for track in open_tracks:
            near = [s for s in free if s.sign == track[-1].sign and apart(s, track[-1]) <= TRACK_OCTAVES]
            if near:
                nearest = min(near, key=lambda spot, last=track[-1]: apart(spot, last))  # type: ignore[misc]
                free.remove(nearest)
                track.append(nearest)
                carried.append(track)
        begun = [[spot] for spot in free]
        whole += begun
        open_tracks = carried + begun
    return whole


def apart(one: Spot, other: Spot) -> float:
    """Octaves between two."""
    return abs(float(np.log2(one.frequency_hz / other.frequency_hz)))


def shown_db(made: Made, spot: Spot) -> float:
    """How far the curve, free of noise, stands out of the chord over twice a spot's width, to its sign."""
    octaves = np.log2(made.frequency_hz)
    level = made.level_db[spot.row]
    width = max(spot.width_octaves, NEAR_OCTAVES)
    middle = np.log2(spot.frequency_hz)
    low, high = max(middle - width, octaves[0]), min(middle + width, octaves[-1])
    at_low, here, at_high = np.interp([low, middle, high], octaves, level)
    share = 0.5 if high == low else (middle - low) / (high - low)
    return float(spot.sign * (here - (1.0 - share) * at_low - share * at_high))


def meets(found: Sequence[Spot], true: TrueFeature) -> bool:
    """Whether a found feature is this one: same direction and sign, near in frequency, at one place."""
    return any(
        one.row == other.row
        and one.sign == other.sign
        and apart(one, other) <= max(NEAR_OCTAVES, 0.5 * other.width_octaves)
        for one in found
        for other in true.spots
    )


def strengths(made: Made, spots: Sequence[Spot]) -> dict[str, float]:
    """For each mechanism the mean of its effect over some places, to their sign."""
    at = [int(np.argmin(np.abs(np.log(made.frequency_hz / spot.frequency_hz)))) for spot in spots]
    return {
        mechanism.name: float(
            np.mean([s.sign * mechanism.effect_db[s.row, k] for s, k in zip(spots, at, strict=True)])
        )
        for mechanism in made.mechanisms
    }


def causes(made: Made, spots: Sequence[Spot]) -> frozenset[str]:
    """The set of causes of a feature; empty where nothing does it."""
    found = strengths(made, spots)
    most = max(found.values(), default=0.0)
    least = max(CAUSE_DB, CAUSE_SHARE * most)
    return frozenset(m.cause for m in made.mechanisms if found[m.name] >= least)


def real(made: Made, spots: Sequence[Spot]) -> bool:
    """Whether something is at work at one of the places at least."""
    return any(max(strengths(made, [spot]).values(), default=0.0) >= NOTHING_DB for spot in spots)
