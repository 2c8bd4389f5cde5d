"""A rig, read from ``rigs/NAME.toml``: air, turntable, room, microphone, chain, stimulus.

Any loudspeaker can be measured in any rig.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from earwitness.virtual.air import Air
from earwitness.virtual.chain import Chain
from earwitness.virtual.electronics import PLAIN, Electronics
from earwitness.virtual.files import NearField, Turn, turns
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.microphone import Microphone
from earwitness.virtual.playing import Player
from earwitness.virtual.recording import Session
from earwitness.virtual.room import Room, Surface
from earwitness.virtual.scatterer import Scatterer
from earwitness.virtual.stimulus import Sweep
from earwitness.virtual.tables import Table
from earwitness.virtual.turntable import Turntable
from earwitness.virtual.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Habits:
    """How a session goes: volts at the turns, seconds recorded after the sweep, seed of the noise.

    `warming_k` is by how much the air warms from the first take to the last.
    """

    drive_v: float
    tail_s: float
    seed: int
    warming_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Levels:
    """A series of takes on axis: volts RMS one after the other, and the seconds between two takes."""

    drives_v: tuple[float, ...]
    pause_s: float = 0.0

    def __post_init__(self) -> None:
        if not self.drives_v or any(high <= low for low, high in itertools.pairwise(self.drives_v)):
            raise ValueError("drives_v rise, and there is one at least: the loudest take comes last")


@dataclass(frozen=True, slots=True)
class Rig:
    """Everything that stands in the workshop but the loudspeaker. `near_*` are for takes close to a cone."""

    air: Air
    turntable: Turntable
    room: Room
    microphone: Microphone
    chain: Chain
    sweep: Sweep
    habits: Habits
    near_gap_m: float
    near_drive_v: float
    scatterers: tuple[Scatterer, ...] = ()

    def session(
        self,
        loudspeaker: Loudspeaker,
        near_fields: Sequence[str],
        full_scale_v: float | None = None,
        electronics: Electronics = PLAIN,
        levels: Levels | None = None,
    ) -> Session:
        """A session with both orbits, one take close to each radiator named, and a series of levels.

        An active loudspeaker says what digital full scale is in volts at its amplifiers' inputs.
        """
        player = Player(
            loudspeaker.source, self.air, self.chain.sample_rate_hz, electronics, self.chain.output_ohm
        )
        drives = () if levels is None else levels.drives_v
        workshop = Workshop(loudspeaker, self.room, self.microphone, self.chain, self.air, self.scatterers)
        return Session(
            workshop=workshop,
            turntable=self.turntable,
            sweep=self.sweep,
            turns=tuple(turns(self.habits.drive_v, full_scale_v=full_scale_v)),
            near_fields=tuple(
                NearField(name, self.near_gap_m, self.near_drive_v, full_scale_v) for name in near_fields
            ),
            tail_s=self.habits.tail_s,
            seed=self.habits.seed,
            warming_k=self.habits.warming_k,
            levels=tuple(Turn("horizontal", 0, drive_v, full_scale_v) for drive_v in drives),
            player=None if player.plain else player,
            pause_s=0.0 if levels is None else levels.pause_s,
        )


def rig(document: Table) -> Rig:
    """The rig that a document describes.

    Raises
    ------
    ScenarioError
        One line: file, place, what is wrong.
    """
    document.only(
        "air", "turntable", "session", "near_field", "room", "microphone", "chain", "stimulus", "scatterers"
    )
    chain = document.table("chain").build(Chain)
    near = document.table("near_field")
    near.only("gap_m", "drive_v")
    return Rig(
        air=document.table("air").build(Air),
        turntable=document.table("turntable").build(Turntable),
        room=_room(document.table("room")),
        microphone=document.table("microphone").build(Microphone),
        chain=chain,
        sweep=document.table("stimulus").build(Sweep, sample_rate_hz=chain.sample_rate_hz),
        habits=document.table("session").build(Habits),
        near_gap_m=near.take(float, "gap_m"),
        near_drive_v=near.take(float, "drive_v"),
        scatterers=tuple(ball.build(Scatterer) for ball in document.tables("scatterers")),
    )


def _room(table: Table) -> Room:
    return table.build(
        Room, "surfaces", surfaces=tuple(side.build(Surface) for side in table.tables("surfaces"))
    )
