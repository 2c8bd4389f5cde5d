"""Figures of merit: one derived number with unit, uncertainty, method and source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from earwitness.records.curves import CurveName
from earwitness.records.sentences import Sentence
from earwitness.records.sources import Source
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName


class FigureName(StrEnum):
    """The figures of merit of a case."""

    SENSITIVITY = "sensitivity"
    F3 = "f3"
    F6 = "f6"
    F10 = "f10"
    TOLERANCE_ON_AXIS = "tolerance_on_axis"
    TOLERANCE_LISTENING_WINDOW = "tolerance_listening_window"
    IN_ROOM_TILT = "in_room_tilt"
    IN_ROOM_SMOOTHNESS = "in_room_smoothness"
    COVERAGE_HORIZONTAL = "coverage_horizontal"
    COVERAGE_VERTICAL = "coverage_vertical"
    SOUND_POWER_SAMPLING = "sound_power_sampling"
    ORBIT_AGREEMENT = "orbit_agreement"
    GROUP_DELAY = "group_delay"
    EXCESS_DELAY = "excess_delay"
    BURST_DECAY = "burst_decay"
    DISTORTION_0_3 = "distortion_0_3"
    DISTORTION_1 = "distortion_1"
    DISTORTION_3 = "distortion_3"
    DISTORTION_10 = "distortion_10"
    COMPRESSION = "compression"
    COMPRESSION_NARROW = "compression_narrow"
    CLEAN_OUTPUT = "clean_output"
    HELD_LEVEL = "held_level"
    LIMITER_THRESHOLD = "limiter_threshold"
    NEAR_DISTORTION = "near_distortion"
    IMPEDANCE_MINIMUM = "impedance_minimum"
    IMPEDANCE_RATING = "impedance_rating"
    AMPLIFIER_LOAD = "amplifier_load"
    BOX_TUNING = "box_tuning"
    TOTAL_Q = "total_q"
    LOAD_CHANGE = "load_change"
    LIMITING = "limiting"
    COIL_TIME = "coil_time"
    MAGNET_TIME = "magnet_time"
    SELF_NOISE = "self_noise"
    MODULATION_SECOND = "modulation_second"
    MODULATION_THIRD = "modulation_third"
    MULTITONE = "multitone_distortion"
    LEVEL_AT_DRIVE = "level_at_drive"
    LATENCY = "latency"
    RATTLE = "rattle"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number."""

    value: float
    kind: Literal["quantity"] = "quantity"


@dataclass(frozen=True, slots=True)
class Bound:
    """A number that is only a bound."""

    value: float
    sense: Literal["at least", "at most"]
    kind: Literal["bound"] = "bound"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A band about a reference level: `above` ≥ 0 and `below` ≥ 0, both in the figure's unit."""

    above: float
    below: float
    reference: float
    kind: Literal["tolerance"] = "tolerance"


@dataclass(frozen=True, slots=True)
class Plateau:
    """One clause of a coverage: half-angles on each side, steady over a band.

    `positive_deg` is the left side of a horizontal orbit, the upper side of a vertical one: a mean over the
    band. None: the level never falls by 6 dB on that side. `least_deg` is the least half-angle anywhere in
    the band (of a bend: within 1/12 octave), on either side; None where neither ever falls so far.
    """

    from_hz: float
    to_hz: float
    positive_deg: float | None
    negative_deg: float | None
    positive_uncertainty_deg: float | None
    negative_uncertainty_deg: float | None
    least_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Plateaus:
    """Coverage summed up as at most four plateaus."""

    clauses: tuple[Plateau, ...]
    kind: Literal["plateaus"] = "plateaus"


@dataclass(frozen=True, slots=True)
class Check:
    """A pass or fail against limits."""

    passed: bool
    limits: tuple[float, float]
    kind: Literal["check"] = "check"


@dataclass(frozen=True, slots=True)
class NotAvailable:
    """Why there is no number.

    `valid_from_hz` where the data's lower limit is the reason, `invalid_band_hz` where a band between valid
    ones is.
    """

    reason: str
    valid_from_hz: float | None = None
    missing: tuple[str, ...] = ()
    invalid_band_hz: tuple[float, float] | None = None
    kind: Literal["not_available"] = "not_available"


Value = Annotated[
    Quantity | Bound | Tolerance | Plateaus | Check | NotAvailable,
    Field(discriminator="kind"),
]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a value rests on."""

    curves: tuple[CurveName, ...]
    takes: tuple[TakeId, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of merit.

    `uncertainty` is one standard uncertainty in `unit` of everything that is stated; None where nothing is,
    where nothing of it acts on the value, or where the value carries its own (plateaus). `conditions` define
    the number beside it; `reading` names which of several published readings it is; `also` are the other
    readings, by name.
    """

    name: FigureName
    value: Value
    unit: str
    uncertainty: float | None
    components: Mapping[ComponentName, float | None]
    conditions: Sentence
    reading: str
    valid_band_hz: tuple[float, float] | None
    method: str
    source: Source
    evidence: Evidence
    also: Mapping[str, float]

    @property
    def available(self) -> bool:
        """Whether there is a value."""
        return not isinstance(self.value, NotAvailable)


@dataclass(frozen=True, slots=True)
class Results:
    """``build/results.json``."""

    schema_version: int
    build_id: str
    program: str
    case: str
    raw_digest: str
    figures: tuple[Figure, ...]
