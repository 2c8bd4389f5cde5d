"""Responses that came as such, and those interpolated between them, into their rows of the table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.acoustics.spherical import unit_vectors
from earwitness.measurement import stated
from earwitness.measurement.expansion import is_interpolated
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.given import on_grid
from earwitness.measurement.impulse_response import drive_of, drive_units
from earwitness.measurement.readers.contents import MeasuredResponse
from earwitness.measurement.readers.signals import read_responses
from earwitness.measurement.sphere_files import measured_sphere
from earwitness.measurement.spheres import Interpolation, interpolated
from earwitness.measurement.table import Table
from earwitness.records.errors import CaseError
from earwitness.records.facts import CaseFacts, Rig
from earwitness.records.responses import Origin
from earwitness.records.takes import Take

Float64s = npt.NDArray[np.float64]

#: A distance that a file says and one that the case states may differ by this part (0.2 dB).
DISTANCES_AGREE: Final = 0.02
#: A response of fewer frequencies is none.
LEAST_ROWS: Final = 2
#: Frequencies at which a note says what an interpolation misses.
NOTED_HZ: Final = (250.0, 1_000.0, 4_000.0)


def reduce_given(table: Table, rows: Sequence[int], facts: CaseFacts, raw: Path) -> None:
    """Responses that came as such into `rows`, at 1 m and in the drive's unit.

    Raises
    ------
    CaseError
        The distance isn't stated and a file doesn't say it; or both are, and they differ.
    ReadError
        A file can't be read.
    """
    between = [row for row in rows if is_interpolated(table.takes[row])]
    measured = [row for row in rows if row not in set(between)]
    table.say("Responses that came as such are taken as calibrated; their noise and gate can't be told.")
    if measured:
        _enter_measured(table, measured, facts.rig, raw)
    groups: dict[Take, list[int]] = {}
    for row in between:
        take = table.takes[row]
        whole = replace(take, selector="", key=replace(take.key, direction=None))
        groups.setdefault(whole, []).append(row)
    for whole, these in groups.items():
        _enter_interpolated(table, these, whole, facts, raw)
    for unknown in (table.noise_db, table.gate_db, table.splice_db):
        unknown[list(rows)] = np.nan


def _enter_measured(table: Table, rows: list[int], rig: Rig, raw: Path) -> None:
    responses = read_responses(raw, [table.takes[row] for row in rows])
    placed = {row: r.placed for row, r in zip(rows, responses, strict=True) if r.placed is not None}
    turned = [row for row in rows if row not in placed]
    distances = np.zeros(len(table.takes))
    table.seen_angle_deg[rows] = table.angles_deg[rows]
    if turned:
        distances[turned] = _by_turntable(table, turned, rig)
    for row, place in placed.items():
        if not place.without_delay:
            _require_agreement(table.takes[row], place.distance_m, rig)
        distances[row] = place.distance_m
        if place.seen_angle_deg is not None:
            table.seen_angle_deg[row] = place.seen_angle_deg
    for row, response in zip(rows, responses, strict=True):
        _enter(table, row, response, float(distances[row]), rig)


def _by_turntable(table: Table, rows: list[int], rig: Rig) -> Float64s:
    """Distances of `rows`, by what the case states of the rig; their seen angles go into the table."""
    angles = table.angles_deg[rows]
    if rig.rotation_behind_m is None and np.any(angles):
        table.say("The rotation point isn't stated; the unit is taken to turn about its reference point.")
    mount = Turntable(stated.distance_m(rig), rig.rotation_behind_m or 0.0)
    distances = mount.distances_m(angles)
    stated.require_gate_before_floor(rig, distances, speed_of_sound_m_s(rig.temperature_c))
    table.seen_angle_deg[rows] = mount.seen_angles_deg(angles)
    return distances


def _require_agreement(take: Take, distance_m: float, rig: Rig) -> None:
    """Refuse a distance on axis that isn't the case's."""
    direction = stated.direction(take)
    if rig.distance_m is None or direction.angle_deg != 0.0:
        return
    if abs(distance_m / rig.distance_m - 1.0) > DISTANCES_AGREE:
        raise CaseError(
            "case.toml",
            f"the case states {rig.distance_m:g} m, and raw/{take.path} says {distance_m:g} m",
            "correct it, or leave it out: the file's own counts",
            "rig.distance_m",
        )


def _enter(table: Table, row: int, response: MeasuredResponse, distance_m: float, rig: Rig) -> None:
    """One response onto the grid."""
    on = on_grid(response, table.frequency_hz, distance_m, drive_units(drive_of(table.takes[row])))
    reduced = response.placed is not None and response.placed.without_delay
    from_hz = 0.0 if rig.gate_s is None or reduced else float(gating.accurate_from_hz(rig.gate_s))
    table.pressure[row], table.has_phase[row] = on.pressure, on.has_phase
    table.valid[row] = on.valid & (table.frequency_hz >= from_hz)
    table.origin[row] = Origin.AS_GIVEN
    if response.interpolation_db is not None:
        place, known = np.log(table.frequency_hz), np.log(response.frequency_hz)
        table.interpolation_db[row] = np.interp(place, known, response.interpolation_db)


def _enter_interpolated(table: Table, rows: list[int], whole: Take, facts: CaseFacts, raw: Path) -> None:
    """Directions between those of one file at one drive."""
    directions = [stated.direction(table.takes[row]) for row in rows]
    wanted = unit_vectors([d.azimuth_deg for d in directions], [d.elevation_deg for d in directions])
    speed = speed_of_sound_m_s(facts.rig.temperature_c)
    sphere = measured_sphere(raw, whole, speed)
    found = interpolated(sphere, wanted, facts.unit.cabinet, speed)
    table.say(_note(found, sphere.frequency_hz, len(rows), len(sphere.directions)))
    for row, response in zip(rows, found.responses, strict=True):
        table.seen_angle_deg[row] = table.angles_deg[row]
        if np.isfinite(response.level_db).sum() >= LEAST_ROWS:
            _enter(table, row, response, 1.0, facts.rig)


def _note(found: Interpolation, frequency_hz: Float64s, wanted: int, had: int) -> str:
    """What was interpolated, from what, how far it misses what it leaves out, and up to where it holds."""
    missed_db = 20.0 * np.log10(1.0 + found.missed)
    valid = frequency_hz[np.isfinite([r.level_db for r in found.responses]).any(axis=0)]
    if not valid.size:
        return f"{wanted} directions can't be interpolated from {had}: left out, each is missed by far."
    at = [hz for hz in NOTED_HZ if valid[0] <= hz <= valid[-1]]
    said = ", ".join(f"{np.interp(hz, frequency_hz, missed_db):.2f} dB at {hz:g} Hz" for hz in at)
    missed = f"; left out, a direction is missed by {said}" if said else ""
    of = "pressure" if found.with_phase else "squared pressure"
    why = "" if np.isinf(found.limit_hz) else f"; the cabinet's size sets a limit at {found.limit_hz:.0f} Hz"
    return (
        f"{wanted} directions are interpolated from {had} by spherical harmonics of the {of} up to order "
        f"{found.order}, valid up to {valid[-1]:.0f} Hz{why}{missed}."
    )
