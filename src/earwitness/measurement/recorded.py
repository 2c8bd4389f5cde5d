"""Directional responses from impulse responses: arrivals and one gate for all, then near fields below it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement import stated
from earwitness.measurement.absorption import absorption_in
from earwitness.measurement.boxes import placed_box
from earwitness.measurement.calibration import Calibration, calibrate
from earwitness.measurement.carrying import PlacedCabinet, PlacedSphere, fits
from earwitness.measurement.cut_off import cut_off_db
from earwitness.measurement.flight import Flight, find_flight
from earwitness.measurement.gated import Gate, Gated, choose_gate, gate_takes
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.given_impulse import in_pascals, is_given
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.joining import Joined, common, join
from earwitness.measurement.near_field import NearField, read_near_field
from earwitness.measurement.readers.audio import LOOPBACK
from earwitness.measurement.setting import Setting
from earwitness.measurement.silence import said_of_silence
from earwitness.measurement.table import Table
from earwitness.measurement.two_radii import MeasuredField, free_field, on_surfaces, read_field
from earwitness.measurement.two_radii_joining import Layer, enter_separated
from earwitness.records.errors import CaseError
from earwitness.records.facts import Box, CaseFacts, Rig
from earwitness.records.responses import Origin, Splice
from earwitness.records.takes import Direction, Orbit, Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]

_DESCRIBED = (
    "The cabinet's diffraction is that of the box as described, rigid and with sharp edges; what its "
    "computation may be off by{} is part of the splice's uncertainty."
)
_IN_PASCALS = Calibration(1.0, None, None, ())
#: Near and far fields that differ by more in most directions aren't joined. One of two alike woofers is 6 dB
#: short, less what its microphone hears of the other: 1.9 dB where they touch (a/(2d), d = 2a).
FURTHEST_APART_DB: Final = 4.0
NOT_USED: Final = (
    "Near field and far field differ by more than four decibels where they overlap: a radiator's near field "
    "is missing (alike ones each need theirs, or same_as), or a level, distance or diameter is wrong. The "
    "near field isn't used."
)
HARDLY_OVERLAP: Final = "Near field and gated far field hardly overlap, so they aren't joined."
#: Waves are told apart up to so many times the gate's limit, of which an octave is looked for.
SEPARATED_GATES: Final = 4.0


@dataclass(frozen=True)
class _Geometry:
    """The takes of some rows: responses, where the microphone stood, when sound arrived, and the gate."""

    rows: tuple[int, ...]
    responses: tuple[ImpulseResponse, ...]
    flight: Flight
    gate: Gate
    distances_m: Float64s

    def of(self, rows: Sequence[int]) -> tuple[list[ImpulseResponse], Float64s, Float64s]:
        """Responses, arrivals and distances of some of the rows."""
        at = [self.rows.index(row) for row in rows]
        return [self.responses[i] for i in at], self.flight.arrival_s[at], self.distances_m[at]


def reduce_recorded(
    table: Table,
    rows: Sequence[int],
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    *,
    facts: CaseFacts,
    raw: Path,
) -> None:
    """Gate, calibrate and refer to 1 m the rows of a table; then join near fields below them.

    Rows share arrivals and a gate; those of one sample rate and one calibration are transformed together.

    Parameters
    ----------
    takes
        All takes of the case: near fields and calibrations are among them.

    Raises
    ------
    CaseError, ReadError, NotAvailableError
        See `reduction.reduce`.
    """
    near_takes = [take for take in takes if take.key.kind is TakeKind.NEAR_FIELD]
    settings = _settings(table, rows, takes, facts, raw)
    surfaces = on_surfaces(takes)
    near = None
    if near_takes:
        near = read_near_field(
            facts.unit,
            takes,
            impulse_responses,
            settings[_shared_unit(near_takes)],
            facts.uncertainty.repeat_db,
        )
    table.say(*_said_of_clocks([*(table.takes[row] for row in rows), *near_takes, *surfaces]))
    speed = next(iter(settings.values())).speed_m_s
    responses = [impulse_responses[table.takes[row].id] for row in rows]
    table.say(*said_of_silence(responses, takes))
    geometry = _geometry(table, rows, responses, facts.rig, speed)
    field = None
    if surfaces:
        behind_m = geometry.flight.turntable.rotation_behind_m
        setting = settings.get(_shared_unit(surfaces), next(iter(settings.values())))
        field = read_field(surfaces, impulse_responses, behind_m, setting, raw)
    for group in _alike(table, geometry):
        setting = settings[in_pascals(table.takes[group[0]])]
        gated = gate_takes(*geometry.of(group), geometry.gate, setting)
        rate = geometry.responses[geometry.rows.index(group[0])].sample_rate_hz
        _enter(table, group, gated, geometry.gate.seconds, rate)
        _unsure_of_air(table, group, geometry, setting)
        alone = Layer.of(table, group) if field is not None else None
        if near is not None:
            _join(table, group, gated, geometry, near=near, facts=facts, setting=setting)
        if field is not None and alone is not None:
            _separate(table, group, alone, geometry, field=field, facts=facts, speed_m_s=speed)
    if near is None and field is None:
        table.say("There is no near field: nothing is known below the gate's reach.")


def _settings(
    table: Table, rows: Sequence[int], takes: Sequence[Take], facts: CaseFacts, raw: Path
) -> dict[bool, Setting]:
    """What the rows, near fields and surfaces need: by whether their samples are pascals already."""
    near = [take for take in takes if take.key.kind in (TakeKind.NEAR_FIELD, TakeKind.SURFACE)]
    wanted = {in_pascals(take) for take in [*(table.takes[row] for row in rows), *near]}
    speed = speed_of_sound_m_s(facts.rig.temperature_c)
    absorption = absorption_in(facts.rig, table.frequency_hz)
    table.say(absorption.note)
    settings = {}
    if False in wanted:
        calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)
        table.say(*calibration.notes)
        settings[False] = Setting(table.frequency_hz, speed, calibration, absorption)
    if True in wanted:
        table.say("Impulse responses whose scale is stated in pascals are taken as calibrated.")
        settings[True] = Setting(table.frequency_hz, speed, _IN_PASCALS, absorption)
    return settings


def _shared_unit(near: Sequence[Take]) -> bool:
    """Whether near fields, or takes on surfaces, are in pascals."""
    units = {in_pascals(take) for take in near}
    if len(units) > 1:
        raise CaseError(
            "takes.toml",
            f"some takes of kind {near[0].key.kind} are scaled by read.pa_per_unit and some by the case's "
            "calibration",
            "scale all of them alike",
        )
    return units.pop()


def _said_of_clocks(takes: Sequence[Take]) -> tuple[str, ...]:
    """Notes on where time zero comes from."""
    wired = [LOOPBACK in dict(take.read) for take in takes]
    notes = []
    if any(wired):
        which = "all recordings" if all(wired) else "the recordings that have one"
        notes.append(f"Time counts from the loopback's arrival in {which}, so latency is taken off.")
    if any(map(is_given, takes)):
        notes.append("Impulse responses that came as files keep their own time zero.")
    return tuple(notes)


def _geometry(
    table: Table, rows: Sequence[int], responses: Sequence[ImpulseResponse], rig: Rig, speed_m_s: float
) -> _Geometry:
    """Arrivals, where the microphone stood, and the gate."""
    rows = list(rows)
    directions = [stated.direction(table.takes[row]) for row in rows]
    flight = find_flight(directions, responses, stated.distance_m(rig), rig.rotation_behind_m, speed_m_s)
    mount, angles = flight.turntable, table.angles_deg[rows]
    distances = mount.distances_m(angles)
    arrivals = flight.arrival_s
    on_axis = [(r, at) for r, at, angle in zip(responses, arrivals, angles, strict=True) if angle == 0.0]
    longest = min(r.end_s - at for r, at in zip(responses, arrivals, strict=True))
    gate = choose_gate(rig, distances, on_axis, float(longest), speed_m_s)
    table.say(*flight.notes, *gate.notes)
    table.seen_angle_deg[rows] = mount.seen_angles_deg(angles)
    if flight.timed_by is not None:
        table.microphones_m.update(zip(rows, _microphones(flight.timed_by, directions), strict=True))
    return _Geometry(tuple(rows), tuple(responses), flight, gate, distances)


def _alike(table: Table, geometry: _Geometry) -> list[list[int]]:
    """Rows of one sample rate and one unit each, in the order of both."""
    groups: dict[tuple[float, bool], list[int]] = {}
    for row, response in zip(geometry.rows, geometry.responses, strict=True):
        groups.setdefault((response.sample_rate_hz, in_pascals(table.takes[row])), []).append(row)
    return [groups[key] for key in sorted(groups)]


def _enter(table: Table, rows: list[int], gated: Gated, gate_s: float, rate_hz: float) -> None:
    """Gated responses into their rows, in the drive's unit."""
    table.pressure[rows] = gated.pressure
    table.valid[rows] = gated.valid
    table.origin[rows] = Origin.GATED
    table.has_phase[rows] = True
    table.noise_db[rows] = gated.noise_db
    table.gate_db[rows] = np.maximum(gated.gate_db, cut_off_db(table.frequency_hz, gate_s, None))
    table.sample_rate_hz[rows], table.gate_s[rows] = rate_hz, gate_s
    table.impulse_responses.update(zip(rows, gated.impulse_response, strict=True))
    if np.isnan(gated.noise_db[gated.valid]).any():
        table.say("Noise can't be told in impulse responses that hold too little from before the sound.")


def _unsure_of_air(table: Table, rows: list[int], geometry: _Geometry, setting: Setting) -> None:
    """What isn't known of the air's absorption on the way to each row's microphone."""
    if setting.absorption is not None and setting.absorption.unsure_db.any():
        _, _, distances_m = geometry.of(rows)
        for row, distance_m in zip(rows, distances_m, strict=True):
            table.air_db[row] = setting.absorption.unsure_db * distance_m


def _join(
    table: Table,
    rows: list[int],
    gated: Gated,
    geometry: _Geometry,
    *,
    near: NearField,
    facts: CaseFacts,
    setting: Setting,
) -> None:
    """Near fields below the gated rows, where they can be carried and meet them."""
    table.say("" if near.unheard is None else near.unheard.note)
    within = common(near, setting.frequency_hz, float(gating.valid_from_hz(geometry.gate.seconds)))
    directions = [stated.direction(table.takes[row]) for row in rows]
    microphones = _microphones(geometry.flight.turntable, directions)
    cabinet = _placed(table, near, facts, within, microphone_m=microphones, setting=setting)
    if within is not None and cabinet is not None:
        _enter_joined(table, rows, near, join(near, gated, within, cabinet, setting))


def _placed(
    table: Table,
    near: NearField,
    facts: CaseFacts,
    within: slice | None,
    *,
    microphone_m: Float64s,
    setting: Setting,
) -> PlacedCabinet | None:
    """The cabinet that carries the near field; notes where none can, or what is taken for granted."""
    cabinet = facts.unit.cabinet
    if cabinet is None:
        table.say("The cabinet isn't described, so the near field can't be carried to any direction.")
        return None
    if within is None:
        table.say(HARDLY_OVERLAP)
        return None
    if isinstance(cabinet, Box):
        highest = 2.0 * np.pi * float(setting.frequency_hz[within.stop - 1]) / setting.speed_m_s
        placed = placed_box(cabinet, facts.unit.radiators, near, microphone_m, highest)
        table.say(_DESCRIBED.format(", and what rounded edges may change," if cabinet.edge_m else ""))
        return placed
    if not fits(near, cabinet.diameter_m / 2.0):
        table.say("A radiator doesn't fit on the cabinet as described; its near field can't be carried.")
        return None
    return PlacedSphere(cabinet.diameter_m / 2.0, microphone_m)


def _enter_joined(table: Table, rows: list[int], near: NearField, joined: Joined) -> None:
    """Joined responses in place of the gated ones, unless near and far are of different loudspeakers."""
    if abs(float(np.median(joined.mismatch_db))) > FURTHEST_APART_DB:
        table.say(NOT_USED)
        return
    table.pressure[rows], table.valid[rows], table.origin[rows] = joined.pressure, joined.valid, joined.origin
    table.noise_db[rows], table.gate_db[rows] = joined.noise_db, joined.gate_db
    table.splice_db[rows] = joined.splice_db
    if joined.repeat is not None:
        table.repeat_db.update(zip(rows, joined.repeat.standard_db, strict=True))
        table.repeat_degrees = joined.repeat.degrees
    table.near_field_takes.update(dict.fromkeys(rows, near.takes))
    for row, mismatch in zip(rows, joined.mismatch_db, strict=True):
        table.splices[row] = Splice(*joined.over_hz, float(mismatch))
    table.say(*joined.notes)


def _separate(
    table: Table,
    rows: list[int],
    gated: Layer,
    geometry: _Geometry,
    *,
    field: MeasuredField,
    facts: CaseFacts,
    speed_m_s: float,
) -> None:
    """What two surfaces tell, below the gated rows and above their near fields."""
    directions = [stated.direction(table.takes[row]) for row in rows]
    found = free_field(
        field,
        _microphones(geometry.flight.turntable, directions),
        SEPARATED_GATES * float(gating.valid_from_hz(geometry.gate.seconds)),
        speed_m_s,
        cabinet=facts.unit.cabinet,
        radius_uncertainty_m=facts.uncertainty.surface_m,
    )
    _, _, distances_m = geometry.of(rows)
    enter_separated(table, rows, gated, found, distances_m=distances_m, speed_m_s=speed_m_s)


def _microphones(mount: Turntable, directions: Sequence[Direction]) -> Float64s:
    """Where the microphone stands for each direction, shape (D, 3), from the reference point."""
    places = np.zeros((len(directions), 3))
    for i, direction in enumerate(directions):
        ahead, aside = mount.ahead_and_aside_m(direction.angle_deg)
        places[i, 0] = ahead
        places[i, 1 if direction.orbit is Orbit.HORIZONTAL else 2] = aside
    return places
