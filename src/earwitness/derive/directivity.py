"""From takes to directions: one named drive, repeats and meeting orbits joined.

The scaling to the reference drive happens here and nowhere else: 2.83 V for a passive loudspeaker, the drive
of the takes themselves for an active one.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.pools import counting, octaves_db
from earwitness.derive.reference_drive import at_terminals, chosen_drive, reference_drive
from earwitness.derive.symmetry import Symmetry, stand_ins
from earwitness.records.grid import REFERENCE_PRESSURE_PA, Bools, Floats
from earwitness.records.responses import Directivity, Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeId

#: Neighbours on an orbit further apart than this leave a gap that nothing is interpolated across.
MAX_STEP_DEG: Final = 15.0
#: Where the two orbits meet, degrees.
MEETINGS: Final[Mapping[str, float]] = {"on_axis": 0.0, "behind": 180.0}


@dataclass(frozen=True)
class TakePowers:
    """The takes at the named drive, and how they join into directions.

    Attributes
    ----------
    takes
        T takes.
    rows
        Their rows in `Responses`.
    power
        Shape (T, F): mean square pressure at 1 m for `drive`, Pa².
    valid
        Shape (T, F).
    directions
        D directions in canonical form, sorted.
    mixing
        Shape (D, T): the power of each direction as a weighted mean of the takes' powers. Repeats of one
        direction on one orbit are averaged first, or one of them counts where they disagree (`derive.pools`),
        then the two orbits where they meet.
    mirrored
        Shape (D,): directions that weren't measured; their takes are those of their mirror image.
    evidence
        For each take its id and those of the near-field takes that were spliced into it.
    """

    drive: Drive
    frequency_hz: Floats
    takes: tuple[Take, ...]
    rows: tuple[int, ...]
    power: Floats
    valid: Bools
    seen_angle_deg: Floats
    directions: tuple[Direction, ...]
    mixing: Floats
    mirrored: Bools
    evidence: tuple[tuple[TakeId, ...], ...]

    def counting(self, direction: Direction) -> list[int]:
        """The takes of a direction, on its own orbit, that count in a mean."""
        counts = (self.mixing > 0.0).sum(axis=0)
        return [i for i, t in enumerate(self.takes) if t.key.direction == direction and counts[i]]

    def ids(self, weights: Floats) -> tuple[TakeId, ...]:
        """Ids of all takes with a weight, and of what was spliced into them, in order."""
        used = {i for t in np.flatnonzero(weights) for i in self.evidence[t]}
        return tuple(sorted(used))


def take_powers(responses: Responses, symmetry: Collection[Symmetry] = ()) -> TakePowers:
    """The takes of a case at its reference drive.

    Where a case was measured at several drives, the one with the most directions is taken; among equals the
    one nearest to 2.83 V (or to full scale). Repeats that were set aside are left out. By a stated `symmetry`
    mirror images stand in for directions that weren't measured at that drive.

    Raises
    ------
    NotAvailableError
        No take has a direction and a drive.
    """
    chosen = chosen_drive(responses.takes)
    rows = tuple(
        i
        for i, t in enumerate(responses.takes)
        if t.key.drive == chosen and t.key.direction and t.id not in responses.set_aside
    )
    reference = reference_drive(chosen)
    unit_of_drive = reference.value if at_terminals(reference) else 10.0 ** (reference.value / 20.0)
    pressure = np.asarray(responses.pressure)[list(rows)]
    valid = np.asarray(responses.valid)[list(rows)]
    power = (pressure.real.astype(np.float64) ** 2 + pressure.imag.astype(np.float64) ** 2) * unit_of_drive**2
    valid = valid & np.isfinite(power)
    power = np.where(valid, power, 0.0)
    takes = tuple(responses.takes[i] for i in rows)
    octaves = octaves_db(power, valid, np.asarray(responses.frequency_hz))
    directions, mixing, mirrored = _with_stand_ins(*_join(takes, octaves), symmetry)
    return TakePowers(
        drive=reference,
        frequency_hz=np.asarray(responses.frequency_hz, dtype=np.float64),
        takes=takes,
        rows=rows,
        power=power,
        valid=valid,
        seen_angle_deg=np.asarray(responses.seen_angle_deg, dtype=np.float64)[list(rows)],
        directions=directions,
        mixing=mixing,
        mirrored=mirrored,
        evidence=tuple((t.id, *responses.near_field_takes[i]) for t, i in zip(takes, rows, strict=True)),
    )


def directivity(takes: TakePowers) -> Directivity:
    """One row a direction: power means, valid where every take that it rests on is."""
    used = takes.mixing > 0
    valid = np.stack([takes.valid[row].all(axis=0) for row in used])
    return Directivity(
        drive=takes.drive,
        frequency_hz=takes.frequency_hz,
        directions=takes.directions,
        power=np.where(valid, takes.mixing @ takes.power, np.nan),
        valid=valid,
        seen_angle_deg=_mean_angle(takes),
        takes=tuple(takes.ids(row) for row in takes.mixing),
    )


def orbit_rows(field: Directivity, orbit: Orbit) -> tuple[list[int], Floats]:
    """Rows of the directions on one orbit in order of the angle, and their seen angles in degrees.

    0 and 180 belong to both orbits.
    """
    rows = [i for i, d in enumerate(field.directions) if d.orbit is orbit or d.angle_deg in (0.0, 180.0)]
    angles = field.seen_angle_deg[rows]
    order = np.argsort(angles, kind="stable")
    return [rows[i] for i in order], np.asarray(angles[order])


def meeting_difference_db(takes: TakePowers) -> Mapping[str, Floats]:
    """Level of the horizontal orbit over the vertical one where they meet, dB, shape (F,), by `MEETINGS`.

    NaN where not valid. Only the meetings that were measured on both orbits are there.
    """
    differences: dict[str, Floats] = {}
    for name, angle in MEETINGS.items():
        found = orbit_powers(takes, angle)
        if found is not None:
            power, valid = found
            level = level_db(np.where(valid, power, np.nan))
            differences[name] = level[0] - level[1]
    return differences


def orbit_powers(takes: TakePowers, angle_deg: float) -> tuple[Floats, Bools] | None:
    """Mean square pressure and validity at one angle of the horizontal and the vertical orbit, (2, F) each.

    None where either orbit lacks the angle.
    """
    groups = [takes.counting(Direction(orbit, angle_deg)) for orbit in Orbit]
    if not all(groups):
        return None
    power = np.stack([takes.power[rows].mean(axis=0) for rows in groups])
    return power, np.stack([takes.valid[rows].all(axis=0) for rows in groups])


def level_db(power: Floats) -> Floats:
    """Sound pressure level in dB re 20 µPa of mean square pressure in Pa²; NaN where it isn't positive."""
    positive = np.where(power > 0, power, np.nan)
    return np.asarray(10.0 * np.log10(positive / REFERENCE_PRESSURE_PA**2))


def _join(takes: tuple[Take, ...], octaves_db: Floats) -> tuple[tuple[Direction, ...], Floats]:
    """Directions in canonical form and the (D, T) weights that average repeats, then orbits.

    By levels in octaves (T, B) a pool of repeats is found that isn't averaged.
    """
    as_measured: dict[Direction, list[int]] = {}
    for i, take in enumerate(takes):
        if take.key.direction:
            as_measured.setdefault(take.key.direction, []).append(i)
    orbits: dict[Direction, list[Direction]] = {}
    for direction in as_measured:
        orbits.setdefault(direction.shared, []).append(direction)
    directions = tuple(sorted(orbits))
    mixing = np.zeros((len(directions), len(takes)))
    for row, direction in enumerate(directions):
        for one in orbits[direction]:
            counts = counting(as_measured[one], octaves_db)
            mixing[row, counts] = 1.0 / (len(orbits[direction]) * len(counts))
    return directions, mixing


def _with_stand_ins(
    measured: tuple[Direction, ...], mixing: Floats, symmetry: Collection[Symmetry]
) -> tuple[tuple[Direction, ...], Floats, Bools]:
    """Directions, their weights, and which of them are mirror images of others by `symmetry`."""
    row = {direction: i for i, direction in enumerate(measured)}
    added = stand_ins(measured, symmetry)
    directions = tuple(sorted((*measured, *added)))
    rows = [row[d] if d in row else row[d.mirrored] for d in directions]
    return directions, mixing[rows], np.array([d not in row for d in directions])


def _mean_angle(takes: TakePowers) -> Floats:
    """Weighted mean of angles round the circle, degrees in (−180, 180]; mirror images on their own side."""
    turned = np.deg2rad(takes.seen_angle_deg)
    mean = np.rad2deg(np.arctan2(takes.mixing @ np.sin(turned), takes.mixing @ np.cos(turned)))
    rounded = np.round(np.where(takes.mirrored, -mean, mean), 9)
    return np.where(rounded <= -180.0, 180.0, rounded)
