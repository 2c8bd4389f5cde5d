"""What a long load does to a loudspeaker, and what it sounds like when it should be silent."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from earwitness.records.takes import Drive, TakeId


class LoadCause(StrEnum):
    """What may change the level under a load."""

    HEAT = "heat"
    LIMITER = "limiter"
    MOTION = "motion"


class CauseVerdict(StrEnum):
    """Whether it does."""

    ACTS = "acts"
    NOT_SEEN = "not seen"
    CANNOT_TELL = "can't tell"


@dataclass(frozen=True, slots=True)
class CauseWeighed:
    """One cause: how likely it makes 0.3 dB in some octave, what it makes at most (dB), the verdict."""

    cause: LoadCause
    probability: float
    effect_db: float
    verdict: CauseVerdict


@dataclass(frozen=True, slots=True)
class TimeConstantFound:
    """A time constant in s, its interval of 95 %, and its part of the change at the load's end."""

    value_s: float
    low_s: float
    high_s: float
    part: float


@dataclass(frozen=True, slots=True)
class WarmCoil:
    """Octaves (middles in Hz) that warm together, their loss at the load's end (dB), and how it comes."""

    octaves_hz: tuple[float, ...]
    loss_db: float
    coil: TimeConstantFound
    magnet: TimeConstantFound


@dataclass(frozen=True, slots=True)
class Moment:
    """A second of a run, `time_s` from the load's beginning: its change by octave (dB), loaded or weak."""

    time_s: float
    loaded: bool
    change_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Endurance:
    """A run: a load that lasts, with probes among it and after it.

    `change_db` is of the load's last second in each octave re a weak signal before; `lasting_db` of the probe
    that follows at once; `uncertainty_db` of both by noise. `load_s` is how long the load lasted in all,
    `level_db` its level at 1 m in its last second, dB re 20 µPa, and `hours` how long a day NIOSH allows at
    it, taken as A-weighted; None where it isn't known. `course` is all that was told on the way.
    """

    take: TakeId
    drive: Drive
    load_s: float
    rest_s: float
    level_db: float | None
    hours: float | None
    octaves_hz: tuple[float, ...]
    change_db: tuple[float, ...]
    lasting_db: tuple[float, ...]
    uncertainty_db: tuple[float, ...]
    causes: tuple[CauseWeighed, ...]
    coils: tuple[WarmCoil, ...]
    course: tuple[Moment, ...] = ()

    def weighed(self, cause: LoadCause) -> CauseWeighed:
        """What was found of a cause."""
        return next(one for one in self.causes if one.cause is cause)


@dataclass(frozen=True, slots=True)
class SelfNoise:
    """Sound of a loudspeaker that is on and plays nothing.

    Levels are dB re 20 µPa at `distance_m`. `level_dba` is A-weighted; with `is_bound` it is what it stays
    below, because the room's own noise hides it. `third_octaves_db` are at `third_octaves_hz`, the room's not
    taken off. `room_dba` and `room_third_octaves_db` are the room with the loudspeaker off, None and empty
    where it wasn't recorded.
    """

    takes: tuple[TakeId, ...]
    distance_m: float
    level_dba: float
    is_bound: bool
    uncertainty_db: float
    room_dba: float | None
    third_octaves_hz: tuple[float, ...]
    third_octaves_db: tuple[float, ...]
    room_third_octaves_db: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class LongTerm:
    """What of these a case has."""

    endurance: Endurance | None = None
    self_noise: SelfNoise | None = None

    @property
    def anything(self) -> bool:
        """Whether it has any of them."""
        return self.endurance is not None or self.self_noise is not None


#: Where nothing was loaded for long, and silence wasn't recorded.
NO_LONG_TERM: Final = LongTerm()
