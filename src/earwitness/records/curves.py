"""Derived curves over the one grid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from earwitness.records.correctability import Correctability
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import Bools, Floats
from earwitness.records.impedance import Impedance
from earwitness.records.long_term import NO_LONG_TERM, LongTerm
from earwitness.records.sources import Source
from earwitness.records.takes import Direction, TakeId
from earwitness.records.time import TimeBehaviour
from earwitness.records.tones import NO_TONES, ToneSet
from earwitness.records.uncertainty import ComponentName


class CurveName(StrEnum):
    """The fourteen curves of CTA-2034-A."""

    ON_AXIS = "on_axis"
    LISTENING_WINDOW = "listening_window"
    FLOOR_REFLECTION = "floor_reflection"
    CEILING_REFLECTION = "ceiling_reflection"
    FRONT_REFLECTION = "front_reflection"
    SIDE_REFLECTION = "side_reflection"
    REAR_REFLECTION = "rear_reflection"
    EARLY_REFLECTIONS = "early_reflections"
    TOTAL_HORIZONTAL_REFLECTIONS = "total_horizontal_reflections"
    TOTAL_VERTICAL_REFLECTIONS = "total_vertical_reflections"
    SOUND_POWER = "sound_power"
    EARLY_REFLECTIONS_DI = "early_reflections_di"
    SOUND_POWER_DI = "sound_power_di"
    ESTIMATED_IN_ROOM = "estimated_in_room"

    @property
    def words(self) -> str:
        """The curve's name as the page says it."""
        special = {
            CurveName.EARLY_REFLECTIONS_DI: "early reflections index",
            CurveName.SOUND_POWER_DI: "sound power index",
            CurveName.ESTIMATED_IN_ROOM: "estimated in-room",
        }
        return special.get(self, str(self).replace("_", " "))


@dataclass(frozen=True)
class Curve:
    """One derived curve.

    Attributes
    ----------
    level_db
        Shape (F,): dB re 20 µPa at 1 m for the reference drive; dB for an index. NaN where not valid.
    valid
        Shape (F,). All False where directions are missing.
    uncertainty_db
        Shape (F,): one standard uncertainty of what is stated; NaN where not valid, and where nothing of what
        is stated acts on the curve.
    components_db
        The same by component; None for one that the case doesn't state.
    missing
        Directions that the curve needs and that were not measured.
    reading
        Which of the published readings it is, in words without digits; empty where there is but one.
    """

    name: CurveName
    level_db: Floats
    valid: Bools
    uncertainty_db: Floats
    components_db: Mapping[ComponentName, Floats | None]
    method: str
    source: Source
    takes: tuple[TakeId, ...]
    missing: tuple[Direction, ...] = ()
    reading: str = ""

    @property
    def available(self) -> bool:
        """Whether the curve has a single valid point."""
        return bool(self.valid.any())


@dataclass(frozen=True)
class CoverageMap:
    """Level over one orbit re its 1/3-octave-smoothed on-axis response, and the −6 dB lines.

    `relative_db` has shape (A, F) over `angle_deg` (A,), NaN where not valid; `left_deg` and `right_deg` (F,)
    are the first −6 dB crossings going outward (positive side, negative side; both as positive angles, NaN
    where the level never falls that far or isn't valid). On the vertical orbit they are up and down.
    `mirrored_deg` are those of the angles that weren't measured and that the other side stands in for.
    """

    orbit: str
    angle_deg: Floats
    relative_db: Floats
    valid: Bools
    positive_deg: Floats
    negative_deg: Floats
    positive_uncertainty_deg: Floats
    negative_uncertainty_deg: Floats
    takes: tuple[TakeId, ...]
    mirrored_deg: tuple[float, ...] = ()


@dataclass(frozen=True)
class CurveSet:
    """Everything that is drawn: the curves, the second estimate of sound power, trend, and coverage.

    `meeting_difference_db` holds, ``on_axis`` and ``behind`` where both orbits were measured there, the level
    of the horizontal orbit over the vertical one, shape (F,), NaN where not valid.
    """

    frequency_hz: Floats
    drive: str
    curves: Mapping[CurveName, Curve]
    coverage: Mapping[str, CoverageMap] = field(default_factory=dict)
    valid_from_hz: float = 0.0
    separable_sound_power_db: Floats | None = None
    in_room_trend_db: Floats | None = None
    in_room_residual_db: Floats | None = None
    meeting_difference_db: Mapping[str, Floats] = field(default_factory=dict)
    time: TimeBehaviour | None = None
    impedance: Impedance | None = None
    level: ChangeWithLevel | None = None
    correctability: Correctability | None = None
    long_term: LongTerm = NO_LONG_TERM
    tones: ToneSet = NO_TONES

    def valid_band_hz(self, name: CurveName) -> tuple[float, float] | None:
        """The lowest and highest valid frequency of a curve, None where nothing is valid."""
        valid = self.frequency_hz[self.curves[name].valid]
        return (float(valid[0]), float(valid[-1])) if valid.size else None
