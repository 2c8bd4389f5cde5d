"""Recordings of a virtual loudspeaker on two surfaces and at some turns, at a low sample rate."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from pydantic import TypeAdapter

from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.reduction import reduce
from earwitness.records.facts import CaseFacts
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Drive, Orbit, SurfacePlace, Take, TakeId, TakeKey, TakeKind
from earwitness.virtual import files, surfaces
from earwitness.virtual.scenario import Scenario, load
from earwitness.virtual.surfaces import SurfacePoint

Floats = npt.NDArray[np.float64]

DRIVE = Drive(2.83)
#: Distance, axis behind the reference point and height in metres, and °C, as the rig's file has them.
RIGS = {"workshop": (2.0, 0.10, 1.9, 20.0), "living_room": (1.0, 0.12, 1.2, 22.0)}


@dataclass(frozen=True)
class SurfaceRig:
    """A scenario in a rig whose converter runs at `rate_hz`, and what was recorded of it."""

    scenario: Scenario
    facts: CaseFacts
    raw: Path
    takes: tuple[Take, ...]
    points: tuple[Take, ...]
    heard: Mapping[TakeId, ImpulseResponse]

    def reduced(self, takes: Sequence[Take]) -> Responses:
        """The responses of some takes."""
        return reduce(self.facts, takes, self.heard, self.raw)

    def truth(self, angle_deg: float, frequency_hz: Floats) -> Floats:
        """|p|·r of the free field where the microphone stands, Pa m per volt, shape (F,)."""
        rig = self.facts.rig
        behind = rig.rotation_behind_m or 0.0
        arm, angle = (rig.distance_m or 0.0) + behind, np.deg2rad(angle_deg)
        place = np.array([arm * np.cos(angle) - behind, arm * np.sin(angle), 0.0])
        distance = float(np.linalg.norm(place))
        way = place[None] / distance
        return np.asarray(distance * np.abs(self.scenario.pressure(way, frequency_hz, 1.0, distance)[0]))


def take_of(point: SurfacePoint) -> Take:
    """A recording on a surface."""
    place = SurfacePlace(point.azimuth_deg, point.elevation_deg, point.distance_m)
    key = TakeKey(TakeKind.SURFACE, drive=DRIVE, place=place)
    return Take(point.name, key, stimulus=files.STIMULUS)


def recorded(
    folder: Path,
    name: str,
    rig: str,
    *,
    radii_m: tuple[float, float],
    count: int,
    angles: Sequence[int] = (),
    rate_hz: int = 16_000,
) -> SurfaceRig:
    """So many places on each of two spheres, near fields, and turns of the horizontal orbit."""
    scenario = load(name, rig)
    session = scenario.session
    chain = replace(session.workshop.chain, sample_rate_hz=rate_hz, edge_hz=0.45 * rate_hz)
    sweep = replace(session.sweep, sample_rate_hz=rate_hz, last_hz=0.44 * rate_hz, wanted_s=2.0)
    session = replace(session, workshop=replace(session.workshop, chain=chain), sweep=sweep)
    turns = [f"horizontal_{angle:+04d}_2.83V.wav" for angle in angles]
    near = session.near_fields if angles else ()
    made = [files.STIMULUS, files.CALIBRATOR, files.MICROPHONE]
    session.record(folder, only=[*made, *(one.name for one in near), *turns])
    spheres = [
        surfaces.all_round(count, radius, DRIVE.value, 40.0 * turn) for turn, radius in enumerate(radii_m)
    ]
    points = [point for sphere in spheres for point in sphere]
    surfaces.record(session, folder, points)
    keys = [TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, angle), DRIVE) for angle in angles]
    takes = [Take(path, key, stimulus=files.STIMULUS) for path, key in zip(turns, keys, strict=True)]
    for one in near:
        key = TakeKey(TakeKind.NEAR_FIELD, drive=Drive(one.drive_v), radiator=one.way)
        takes.append(Take(one.name, key, stimulus=files.STIMULUS, distance_m=one.gap_m))
    takes += [
        Take(files.STIMULUS, TakeKey(TakeKind.STIMULUS)),
        Take(files.CALIBRATOR, TakeKey(TakeKind.CALIBRATOR), level_db=94.0),
        Take(files.MICROPHONE, TakeKey(TakeKind.MICROPHONE_CALIBRATION)),
    ]
    on_them = tuple(take_of(point) for point in points)
    heard = {take.id: response for take, response in deconvolve(folder, [*takes, *on_them])}
    facts = TypeAdapter(CaseFacts).validate_python(tomllib.loads(scenario.facts_text))
    distance, behind, height, temperature = RIGS[rig]
    at_rig = replace(
        facts.rig,
        distance_m=distance,
        rotation_behind_m=behind,
        height_m=height,
        microphone_height_m=height,
        temperature_c=temperature,
    )
    return SurfaceRig(scenario, replace(facts, rig=at_rig), folder, tuple(takes), on_them, heard)
