"""Whether the data of a case are fit to conclude from: one point each, with a verdict and what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from earwitness.records.sentences import EMPTY, Sentence
from earwitness.records.takes import TakeId


class Verdict(StrEnum):
    """What a point comes to; `UNFIT` alone says no."""

    FINE = "fine"
    LOOK = "look"
    UNFIT = "unfit"
    CANNOT_TELL = "can't tell"


class PointName(StrEnum):
    """The points, in the order in which they are shown."""

    RECORDINGS = "recordings"
    CLIPPING = "clipping"
    SIGNAL_TO_NOISE = "signal_to_noise"
    HUM = "hum"
    LATENCY = "latency"
    CLOCKS = "clocks"
    FLIGHT = "time_of_flight"
    POLARITY = "polarity"
    MISSING = "missing_directions"
    ORDER = "order_of_directions"
    LEVELS = "levels_of_directions"
    ZERO = "zero_of_angles"
    FIRST_LAST = "first_against_last"
    REPEATS = "repeats"
    ORBITS = "orbits"
    LEFT_RIGHT = "left_against_right"
    UP_DOWN = "up_against_down"
    HEIGHTS = "heights"
    SPLICE = "splice"
    CALIBRATION = "calibration"
    REFERENCE = "reference_loudspeaker"

    @property
    def words(self) -> str:
        """The point's name as it is shown."""
        special = {PointName.SIGNAL_TO_NOISE: "signal to noise", PointName.ORBITS: "orbits on axis"}
        return special.get(self, str(self).replace("_", " "))


@dataclass(frozen=True, slots=True)
class Series:
    """One line of a point's picture: `y` over `x`, None where there is nothing; in the point's unit.

    `uncertainty` is one standard uncertainty of each y; empty where it isn't known.
    """

    name: str
    x: tuple[float, ...]
    y: tuple[float | None, ...]
    uncertainty: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that was checked.

    Attributes
    ----------
    sentence
        What was found, plainly.
    limit
        The limit, and where it comes from.
    remedy
        What to do; empty where there is nothing to do.
    values
        The numbers that the sentences hold, by name: ``quality:NAME/VALUE`` refers to them.
    takes
        The takes that it is about; those that it names first.
    series
        What its picture shows; empty where none would help.
    """

    name: PointName
    verdict: Verdict
    sentence: Sentence
    limit: Sentence
    remedy: Sentence = EMPTY
    values: Mapping[str, float] = field(default_factory=dict)
    takes: tuple[TakeId, ...] = ()
    series: tuple[Series, ...] = ()


@dataclass(frozen=True, slots=True)
class ReferenceReading:
    """The rig's reference loudspeaker as this case's takes read it.

    `level_db` is dB re 20 µPa for 2.83 V (or full scale) where the microphone stands, in octaves about
    `middle_hz`; None where the band isn't held.
    """

    takes: tuple[TakeId, ...]
    middle_hz: tuple[float, ...]
    level_db: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Quality:
    """``build/quality.json``."""

    schema_version: int
    build_id: str
    case: str
    points: tuple[Point, ...]
    reference: ReferenceReading | None = None

    @property
    def fit(self) -> bool:
        """Whether nothing is unfit."""
        return all(point.verdict is not Verdict.UNFIT for point in self.points)

    def point(self, name: PointName) -> Point:
        """The point of that name.

        Raises
        ------
        LookupError
            It isn't there.
        """
        for point in self.points:
            if point.name is name:
                return point
        raise LookupError(f"{name} was not checked")

    def resolve(self, path: str) -> float:
        """The number that ``quality:PATH`` names: a point's name and one of its values.

        Raises
        ------
        LookupError
            If it names nothing.
        """
        name, _, value = path.partition("/")
        return self.point(PointName(name)).values[value]
