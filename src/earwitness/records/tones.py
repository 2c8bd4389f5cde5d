"""What a loudspeaker adds to steady tones: to two of them, and between many; and what rattles."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from earwitness.records.takes import Drive, TakeId


class NoiseFrom(StrEnum):
    """Where the noise comes from that results are held against."""

    SILENCE = "a recording of silence"
    END = "the recording after its sweep"
    ITSELF = "what doesn't repeat from second to second"


@dataclass(frozen=True, slots=True)
class Added:
    """Something that was added, as a ratio of amplitudes.

    Where it isn't `heard` (noise is less than 10 dB below it) `ratio` is what it stays below, and
    `uncertainty` is 0.
    """

    ratio: float
    heard: bool
    uncertainty: float


@dataclass(frozen=True, slots=True)
class TwoTones:
    """Modulation of a high tone by a low one.

    `second` is the sum of both sidebands' amplitudes at f2 ± f1 re the high tone, `third` that at f2 ± 2·f1.
    `level_db` is that of both tones at 1 m, dB re 20 µPa, and `hours` how long a day NIOSH allows there,
    taken as A-weighted; None where the recording has no level.
    """

    take: TakeId
    drive: Drive
    low_hz: float
    high_hz: float
    level_db: float | None
    hours: float | None
    second: Added
    third: Added
    noise_from: NoiseFrom


@dataclass(frozen=True, slots=True)
class Multitone:
    """What lies between many tones.

    `total` is all of it between the lowest tone and 20 kHz, re all tones. By third octave (`bands_hz`, the
    middles of those that hold a tone): levels of the tones and of what lies between, in dB re all tones.
    Where it isn't `heard`, `between_db` is what it stays below, and its uncertainty 0.
    """

    take: TakeId
    drive: Drive
    tones: int
    level_db: float | None
    hours: float | None
    total: Added
    bands_hz: tuple[float, ...]
    tones_db: tuple[float, ...]
    between_db: tuple[float, ...]
    heard: tuple[bool, ...]
    uncertainty_db: tuple[float, ...]
    noise_from: NoiseFrom


@dataclass(frozen=True, slots=True)
class Rattle:
    """What of a sweep on axis is above its tenth order and comes again each period, by bands of excitation.

    `alike` is how much neighbouring periods of all that is above the tenth order correlate, `rest_db` the
    level of all of it re the whole sound, `part_db` that of what comes again, and `noise_db` what is heard
    there without a sweep; None, as `noise_from`, where nothing was recorded without one.
    """

    take: TakeId
    drive: Drive
    bands_hz: tuple[float, ...]
    alike: tuple[float, ...]
    rest_db: tuple[float, ...]
    part_db: tuple[float, ...]
    noise_db: tuple[float, ...] | None = None
    noise_from: NoiseFrom | None = None


@dataclass(frozen=True, slots=True)
class ToneSet:
    """What of these a case has, each in the order of rising drive."""

    two_tones: tuple[TwoTones, ...] = ()
    multitone: tuple[Multitone, ...] = ()
    rattles: tuple[Rattle, ...] = ()

    @property
    def anything(self) -> bool:
        """Whether it has any of them."""
        return bool(self.two_tones or self.multitone or self.rattles)


#: Where no tones were recorded.
NO_TONES: Final = ToneSet()
