"""A scenario: a loudspeaker, an air, and a rig, read from ``scenarios/NAME.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.chain import Chain, Noise, Paths
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.files import NearField, turns
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.network import Branch, Cut, Shelf
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.recording import Session
from earwitness.virtual.source import Source
from earwitness.virtual.stimulus import Sweep
from earwitness.virtual.voice_coil import VoiceCoil
from earwitness.virtual.workshop import Microphone, Room, Turntable

FOLDER = Path(__file__).parent / "scenarios"


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that stands in the workshop on one day."""

    name: str
    loudspeaker: Loudspeaker
    air: Air
    turntable: Turntable
    session: Session

    def pressure(
        self, directions: Floats, frequencies: Floats, drive: float = 2.83, distance: float | Floats = 1.0
    ) -> Complexes:
        """Free-field sound pressure.

        Parameters
        ----------
        directions
            Unit vectors (D, 3) from the reference point: x forward, y to the loudspeaker's left, z up.
        frequencies
            Shape (F,), above 0 Hz.
        drive
            Volts RMS at the terminals.
        distance
            Metres from the reference point, one for all or shape (D,).

        Returns
        -------
        Shape (D, F), Pa RMS, e^(+jωt), time of flight included.

        Raises
        ------
        ValueError
            Where a point lies inside the cabinet or on it.
        """
        points = np.asarray(directions) * np.reshape(np.asarray(distance, dtype=np.float64), (-1, 1))
        return self.loudspeaker.pressure(points, np.asarray(frequencies, dtype=np.float64), drive, self.air)

    def record(
        self,
        folder: Path,
        progress: Callable[[int, int], None] | None = None,
        only: Collection[str] | None = None,
        sweep_s: float | None = None,
    ) -> list[Path]:
        """Write the raw files of a session.

        Parameters
        ----------
        folder
            Where to; made if it isn't there.
        progress
            Called with the number of files written so far and in all.
        only
            Names of the files wanted (`names` lists them all); None for every one.
        sweep_s
            About how long the sweep shall last, if not as long as the scenario says: short ones are quick to
            make, and have more noise.

        Returns
        -------
        The paths written, in the order of `names`. The same call writes the same bytes.
        """
        return self.session.record(folder, progress, only, sweep_s)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all raw files."""
        return self.session.names

    @property
    def facts_folder(self) -> Path:
        """Where `facts` and `verdict` lie, named as a case names them."""
        return FOLDER / self.name

    @property
    def facts(self) -> Path:
        """``case.toml`` as the reviewer would have written it."""
        return self.facts_folder / "case.toml"

    @property
    def verdict(self) -> Path:
        """``verdict.md`` as the reviewer would have written it."""
        return self.facts_folder / "verdict.md"


def load(name: str) -> Scenario:
    """The scenario called `name`.

    Raises
    ------
    ValueError
        Where there is no such scenario; the message lists those there are.
    """
    known = sorted(path.stem for path in FOLDER.glob("*.toml"))
    if name not in known:
        raise ValueError(f"no scenario is called {name!r}; there are: {', '.join(known)}")
    document = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    ways = document["ways"]
    loudspeaker = Loudspeaker(
        Source(tuple(map(_enclosure, ways)), tuple(map(_branch, ways))),
        SphericalCabinet(document["cabinet"]["diameter_m"], tuple(map(_cap, ways))),
    )
    air = Air(**document["air"])
    rig = document["rig"]
    turntable = Turntable(rig["distance_m"], rig["rotation_behind_m"])
    chain = Chain(**document["chain"])
    microphone = Microphone(**document["microphone"])
    room = Room(height_m=rig["height_m"], **document["room"])
    full_scale = chain.full_scale_pa
    session = Session(
        paths=Paths(loudspeaker, room, microphone, chain, air),
        turntable=turntable,
        sweep=Sweep(sample_rate_hz=chain.sample_rate_hz, **document["stimulus"]),
        noise=Noise(microphone.noise_pa / full_scale, room.ambient_pa / full_scale),
        turns=tuple(turns(rig["drive_v"])),
        near_fields=tuple(NearField(**near) for near in document["near_fields"]),
        tail_s=rig["tail_s"],
        seed=rig["seed"],
    )
    return Scenario(name, loudspeaker, air, turntable, session)


def _enclosure(way: Mapping[str, Any]) -> Enclosure:
    driver = dict(way["driver"])
    volume = Interior(driver.pop("volume_m3"))
    coil = VoiceCoil(driver.pop("resistance_ohm"), driver.pop("inductance_h", 0.0))
    unit = DriveUnit(Opening(way["name"]), coil, diameter_m=way["diameter_m"], **driver)
    return Enclosure(volume, (unit,))


def _branch(way: Mapping[str, Any]) -> Branch:
    branch = dict(way["branch"])
    cut = Cut(branch.pop("passes"), "linkwitz_riley", 4, branch.pop("corner_hz"))
    shelves = (Shelf(**shelf) for shelf in branch.pop("shelves", ()))
    return Branch((way["name"],), (cut, *shelves), **branch)


def _cap(way: Mapping[str, Any]) -> Cap:
    return Cap(way["diameter_m"], way["elevation_deg"], way.get("azimuth_deg", 0.0))
