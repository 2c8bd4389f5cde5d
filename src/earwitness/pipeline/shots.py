"""The recordings of a plan in their order, from the quietest to the loudest, each with name and length."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from earwitness.case.drives import drive_in_name, format_number
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Direction, Drive, Orbit, TakeKey, TakeKind

NEAR_M: Final = 0.005
NOISE_S: Final = 30.0
#: A run of two minutes' load and two minutes after it is about so long.
ENDURANCE_S: Final = 285.0
CALIBRATOR_S: Final = 10.0
CALIBRATOR_DB: Final = 94.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a plan is asked for; None is what the plan decides itself.

    `endurance` is the drive of a load that lasts, RMS, None for none, and `endurance_s` how long its file is.
    `sweep_s` is how long a stimulus file lasts, silences too; `turn_s` what a turn and naming a file take,
    `setup_s` what putting everything up anew takes. `amplifier_v` is the greatest voltage RMS that the
    amplifier gives without clipping. `sensitivity_db` is at 1 m for 2.83 V, or at `drive` where that is in
    dBFS or dBu.
    """

    drive: Drive | None = None
    near: Drive | None = None
    levels: tuple[Drive, ...] = ()
    step_deg: float = 10.0
    sweep_s: float = 11.5
    turn_s: float = 15.0
    setup_s: float = 300.0
    operator_m: float = 3.0
    sensitivity_db: float | None = None
    minimum_ohm: float | None = None
    amplifier_v: float | None = None
    endurance: Drive | None = None
    endurance_s: float = ENDURANCE_S


@dataclass(frozen=True, slots=True)
class Shot:
    """One recording: its file's name, the take that it will be, and how long it plays and takes in all.

    `there` holds where the case has that take already.
    """

    name: str
    key: TakeKey
    plays_s: float
    takes_s: float
    there: bool

    @property
    def is_sound(self) -> bool:
        """Whether the loudspeaker plays."""
        return self.key.drive is not None


@dataclass(frozen=True, slots=True)
class Block:
    """Recordings that need the same set-up, and what to do before them."""

    title: str
    before: str
    shots: tuple[Shot, ...]
    setup_s: float

    @property
    def takes_s(self) -> float:
        """How long all of it takes."""
        return self.setup_s + sum(shot.takes_s for shot in self.shots)


@dataclass(frozen=True, slots=True)
class Planner:
    """What the recordings depend on: `drive` is that of the orbits, `near` that of near fields.

    `there` are the takes that the case has already.
    """

    facts: CaseFacts
    wanted: Wanted
    drive: Drive
    near: Drive
    there: frozenset[TakeKey]

    def blocks(self) -> Iterator[Block]:
        """From the quietest to the loudest, and the first take again; empty ones too."""
        state = (
            "Loudspeaker off for noise; on for self_noise, its input connected and silent."
            if self.facts.unit.active
            else "Loudspeaker connected and silent."
        )
        yield self._block(
            "Quiet work",
            f"{state} Set the recording level so that the loudest take won't clip, and leave it from here "
            "on.",
            self._quiet(),
        )
        yield self._block(
            "Near fields",
            f"Microphone {1000.0 * NEAR_M:g} mm in front of each cone, dome or port, at its middle. Low "
            "drive: it is loud there.",
            self._near_fields(),
        )
        yield self._block(
            "Horizontal orbit",
            "Microphone at the distance of case.toml. Turn the loudspeaker; + is the side that "
            "rig.positive_horizontal names.",
            self._turns(Orbit.HORIZONTAL),
        )
        yield self._block(
            "Vertical orbit",
            "Lay the loudspeaker on its side, with the reference point where it was; + is what "
            "rig.positive_vertical names.",
            self._turns(Orbit.VERTICAL),
        )
        yield self._block(
            "Levels, the greatest last, and the first take again",
            "Loudspeaker upright and on axis as at first. Leave the room or protect your ears. Stop at the "
            "first buzz, rattle or smell. The last take shows whether the unit is unharmed.",
            self._levels(),
        )

    def _block(self, title: str, before: str, shots: Iterator[Shot]) -> Block:
        return Block(title, before, tuple(shots), self.wanted.setup_s)

    def _quiet(self) -> Iterator[Shot]:
        """What no stimulus plays in: noise, an active one's own too, and the calibrator."""
        yield self._shot("noise.wav", TakeKey(TakeKind.NOISE), NOISE_S)
        if self.facts.unit.active:
            yield self._shot("self_noise.wav", TakeKey(TakeKind.SELF_NOISE), NOISE_S)
        yield self._shot(f"calibrator_{CALIBRATOR_DB:g}.wav", TakeKey(TakeKind.CALIBRATOR), CALIBRATOR_S)

    def _near_fields(self) -> Iterator[Shot]:
        """One of each radiator that isn't the same as another."""
        for radiator in self.facts.unit.radiators:
            if radiator.same_as is None:
                key = TakeKey(TakeKind.NEAR_FIELD, drive=self.near, radiator=radiator.name)
                name = f"near_field_{radiator.name}_{1000.0 * NEAR_M:g}mm_{drive_in_name(self.near)}.wav"
                yield self._shot(name, key, self.wanted.sweep_s)

    def _turns(self, orbit: Orbit) -> Iterator[Shot]:
        """Once round, so that the turntable goes one way: 0, up to 180, then from the other side back."""
        step, count = self.wanted.step_deg, round(180.0 / self.wanted.step_deg)
        sides = {Orbit.HORIZONTAL: "left-right", Orbit.VERTICAL: "up-down"}
        yield from (self._at(orbit, step * k, self.drive) for k in range(count + 1))
        if sides[orbit] not in self.facts.unit.symmetry:
            yield from (self._at(orbit, -step * k, self.drive) for k in range(count - 1, 0, -1))

    def _levels(self) -> Iterator[Shot]:
        """Other drives on axis from the least up, a load that lasts where one is wanted, and the repeat."""
        for level in sorted(set(self.wanted.levels) - {self.drive}, key=lambda level: level.value):
            yield self._at(Orbit.HORIZONTAL, 0.0, level)
        load = self.wanted.endurance
        if load is not None:
            key = TakeKey(TakeKind.ENDURANCE, drive=load)
            yield self._shot(f"endurance_{drive_in_name(load)}.wav", key, self.wanted.endurance_s)
        yield self._at(Orbit.HORIZONTAL, 0.0, self.drive, repeat=2)

    def _at(self, orbit: Orbit, angle_deg: float, drive: Drive, repeat: int = 1) -> Shot:
        key = TakeKey(TakeKind.SWEEP, Direction(orbit, angle_deg + 0.0), drive, repeat=repeat)
        sign = "-" if angle_deg < 0.0 else "+"
        whole, dot, part = format_number(abs(angle_deg)).partition(".")
        numbered = f"_repeat{repeat}" if repeat != 1 else ""
        name = f"{orbit}_{sign}{whole:0>3}{dot}{part}{numbered}_{drive_in_name(drive)}.wav"
        return self._shot(name, key, self.wanted.sweep_s)

    def _shot(self, name: str, key: TakeKey, plays_s: float) -> Shot:
        return Shot(name, key, plays_s, plays_s + self.wanted.turn_s, key in self.there)
