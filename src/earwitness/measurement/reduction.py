"""From impulse responses and text to the responses of all directions on the derived grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement import stated
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.carrying import PlacedCabinet, equivalent_radius_m, fits, rival_radii_m
from earwitness.measurement.deconvolution import KEPT_BEFORE, ImpulseResponse, drive_units
from earwitness.measurement.flight import find_flight
from earwitness.measurement.gated import (
    LEAD_S,
    Gate,
    Gated,
    choose_gate,
    gate_takes,
)
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.given import on_grid
from earwitness.measurement.joining import Joined, join, overlap
from earwitness.measurement.near_field import NearField, read_near_field
from earwitness.measurement.readers.signals import read_responses
from earwitness.measurement.setting import Setting
from earwitness.measurement.table import Table
from earwitness.records.errors import CallError, NotAvailableError, ReadError
from earwitness.records.facts import Box, CaseFacts, Rig
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import DIRECTIONAL, Direction, Drive, Orbit, Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]

#: A gate that isn't bounded by a reflection ends so long before the kept response does.
KEPT_MARGIN_S: Final = 0.01


def reduce(
    facts: CaseFacts,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    raw: Path,
) -> Responses:
    """All directional responses of a case at 1 m on the derived grid.

    Parameters
    ----------
    facts
        The rig, the cabinet and its radiators.
    takes
        All takes of the case; calibration and text takes are read from `raw`.
    impulse_responses
        What `deconvolution.deconvolve` gave for every recording of a sweep.

    Raises
    ------
    CaseError
        The distance isn't stated, or recordings have no level, or a near field names an unknown radiator.
    ReadError
        A calibration or text file can't be read.
    NotAvailableError
        There is no direction at all, or no gate.
    """
    directional = tuple(sorted((t for t in takes if t.key.kind in DIRECTIONAL), key=lambda t: t.id))
    if not directional:
        raise NotAvailableError(
            "the case has no response in any direction yet; add some with `earwitness add`"
        )
    stated.distance_m(facts.rig)
    table = Table.empty(directional, derived_grid())
    table.say(*stated.distance_notes(facts.rig))
    if facts.rig.temperature_c is None:
        table.say("The temperature isn't stated; the speed of sound is that of a mild room.")
    recorded = [row for row, t in enumerate(directional) if t.key.kind is TakeKind.SWEEP]
    given = [row for row, t in enumerate(directional) if t.key.kind is TakeKind.RESPONSE]
    for take in directional:
        if take.key.kind is TakeKind.IMPULSE_RESPONSE:
            raise ReadError(take.path, "is an impulse response, which isn't read so far", "add its sweep")
    _require_all(takes, impulse_responses)
    if recorded:
        calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)
        setting = Setting(table.frequency_hz, speed_of_sound_m_s(facts.rig.temperature_c), calibration)
        near = read_near_field(facts.unit, takes, impulse_responses, setting)
        responses = {row: impulse_responses[directional[row].id] for row in recorded}
        _reduce_recorded(table, responses, near, facts, setting)
    if given:
        _reduce_given(table, given, facts.rig, raw)
    return table.responses(LEAD_S)


def _require_all(takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse]) -> None:
    for take in takes:
        if take.key.kind in (TakeKind.SWEEP, TakeKind.NEAR_FIELD) and take.id not in impulse_responses:
            raise CallError(f"{take.id} has not been deconvolved")


def _reduce_recorded(
    table: Table,
    responses: Mapping[int, ImpulseResponse],
    near: NearField | None,
    facts: CaseFacts,
    setting: Setting,
) -> None:
    """Gate, calibrate and refer to 1 m the recorded rows; then join near fields below them."""
    table.say(*setting.calibration.notes)
    for rate in sorted({r.sample_rate_hz for r in responses.values()}):
        group = {row: r for row, r in responses.items() if r.sample_rate_hz == rate}
        mount, gate, gated = _gated(table, group, facts.rig, setting)
        rows = list(group)
        _enter(table, rows, gated, gate.seconds, rate)
        if near is not None:
            over = overlap(near, setting.frequency_hz, float(gating.valid_from_hz(gate.seconds)))
            radii = _spheres(table, near, facts, over)
            if over is not None and radii:
                microphones = _microphones(mount, [_direction(table.takes[r]) for r in rows])
                cabinet = PlacedCabinet(radii[0], microphones, radii[1:])
                _enter_joined(table, rows, near, join(near, gated, over, cabinet, setting))
    if near is None:
        table.say("There is no near field: nothing is known below the gate's reach.")


def _gated(
    table: Table, group: Mapping[int, ImpulseResponse], rig: Rig, setting: Setting
) -> tuple[Turntable, Gate, Gated]:
    """Arrivals, geometry, gate, and what passes it."""
    rows, responses, speed = list(group), list(group.values()), setting.speed_m_s
    directions = [_direction(table.takes[row]) for row in rows]
    flight = find_flight(directions, responses, stated.distance_m(rig), rig.rotation_behind_m, speed)
    mount, angles = flight.turntable, table.angles_deg[rows]
    distances = mount.distances_m(angles)
    on_axis = [
        (r, at) for r, at, angle in zip(responses, flight.arrival_s, angles, strict=True) if angle == 0.0
    ]
    longest = min((r.samples.size - KEPT_BEFORE) / r.sample_rate_hz for r in responses) - KEPT_MARGIN_S
    gate = choose_gate(rig, distances, on_axis, longest, speed)
    table.say(*flight.notes, *gate.notes)
    gated = gate_takes(responses, flight.arrival_s, distances, gate.seconds, setting)
    table.seen_angle_deg[rows] = mount.seen_angles_deg(angles)
    return mount, gate, gated


def _enter(table: Table, rows: list[int], gated: Gated, gate_s: float, rate_hz: float) -> None:
    """Gated responses into their rows, in the drive's unit."""
    table.pressure[rows] = gated.pressure
    table.valid[rows] = gated.valid
    table.origin[rows] = Origin.GATED
    table.has_phase[rows] = True
    table.noise_db[rows], table.gate_db[rows] = gated.noise_db, gated.gate_db
    table.sample_rate_hz[rows], table.gate_s[rows] = rate_hz, gate_s
    table.impulse_responses.update(zip(rows, gated.impulse_response, strict=True))


def _spheres(table: Table, near: NearField, facts: CaseFacts, over: slice | None) -> tuple[float, ...]:
    """Radii of the sphere that carries the near field and of its rivals; notes where none can, or roughly."""
    cabinet = facts.unit.cabinet
    if cabinet is None:
        table.say("The cabinet isn't described, so the near field can't be carried to any direction.")
        return ()
    radius = equivalent_radius_m(cabinet)
    if not fits(near, radius):
        table.say("A radiator doesn't fit on the cabinet as described; its near field can't be carried.")
        return ()
    if over is None:
        table.say("Near field and gated far field hardly overlap, so they aren't joined.")
        return ()
    if isinstance(cabinet, Box):
        table.say(
            "The cabinet's diffraction is taken as that of a sphere with the same frontal area; what spheres "
            "of the same volume and of the same surface do differently is part of the splice's uncertainty."
        )
    return (radius, *rival_radii_m(cabinet, near))


def _enter_joined(table: Table, rows: list[int], near: NearField, joined: Joined) -> None:
    """Joined responses in place of the gated ones."""
    table.pressure[rows], table.valid[rows], table.origin[rows] = joined.pressure, joined.valid, joined.origin
    table.noise_db[rows], table.gate_db[rows] = joined.noise_db, joined.gate_db
    table.splice_db[rows] = joined.splice_db
    table.near_field_takes.update(dict.fromkeys(rows, near.takes))
    table.say(*joined.notes)


def _direction(take: Take) -> Direction:
    if take.key.direction is None:
        raise ReadError(take.path, "has no direction stated", "give it in takes.toml")
    return take.key.direction


def _microphones(mount: Turntable, directions: Sequence[Direction]) -> Float64s:
    """Where the microphone stands for each direction, shape (D, 3), from the reference point."""
    places = np.zeros((len(directions), 3))
    for i, direction in enumerate(directions):
        ahead, aside = mount.ahead_and_aside_m(direction.angle_deg)
        places[i, 0] = ahead
        places[i, 1 if direction.orbit is Orbit.HORIZONTAL else 2] = aside
    return places


def _reduce_given(table: Table, rows: list[int], rig: Rig, raw: Path) -> None:
    """Text responses into their rows."""
    if rig.rotation_behind_m is None and np.any(table.angles_deg[rows]):
        table.say("The rotation point isn't stated; the unit is taken to turn about its reference point.")
    mount = Turntable(stated.distance_m(rig), rig.rotation_behind_m or 0.0)
    distances = mount.distances_m(table.angles_deg)
    stated.require_gate_before_floor(rig, distances[rows], speed_of_sound_m_s(rig.temperature_c))
    table.seen_angle_deg[rows] = mount.seen_angles_deg(table.angles_deg[rows])
    table.say("Responses that came as text are taken as calibrated; their noise and gate can't be told.")
    from_hz = 0.0 if rig.gate_s is None else float(gating.valid_from_hz(rig.gate_s))
    responses = read_responses(raw, [table.takes[row] for row in rows])
    for row, response in zip(rows, responses, strict=True):
        take = table.takes[row]
        on = on_grid(response, table.frequency_hz, float(distances[row]), drive_units(_drive(take)))
        table.pressure[row], table.has_phase[row] = on.pressure, on.has_phase
        table.valid[row] = on.valid & (table.frequency_hz >= from_hz)
        table.origin[row] = Origin.AS_GIVEN
    for unknown in (table.noise_db, table.gate_db, table.splice_db):
        unknown[rows] = np.nan


def _drive(take: Take) -> Drive:
    if take.key.drive is None:
        raise ReadError(take.path, "has no drive stated", "give it in takes.toml")
    return take.key.drive
