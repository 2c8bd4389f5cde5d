"""Harmonics at several drives: from orders as they were recorded to pressures at 1 m.

Fundamental and harmonic meet the room, the microphone and the cabinet at different frequencies. So order n is
referred to the free field by the linear response at n·f: by what the reduction made of it, over what the same
window of the recording at the lowest drive holds of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise
from earwitness.acoustics.harmonics import Orders
from earwitness.measurement import stated
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.given_impulse import in_pascals
from earwitness.measurement.impulse_response import ImpulseResponse, drive_of, drive_units
from earwitness.measurement.level_repeats import agrees, alike, averaged
from earwitness.measurement.near_levels import by_radiator, near_series
from earwitness.measurement.order_responses import OrderResponses
from earwitness.measurement.silence import said_of_silence
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts
from earwitness.records.responses import Responses
from earwitness.records.takes import Drive, Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

IN_ROOM: Final = (
    "Where the free field isn't known at a frequency or at its harmonics, distortion is that of the "
    "microphone's place, with the room's part in it."
)
UNSETTLED: Final = (
    "Somewhere in the bass the sweeps rise faster than the loudspeaker settles: harmonics there are less "
    "sure, and those that are too unsure aren't told; sweeps that last twice as long halve this."
)
REPEATED: Final = (
    "Repeats at the same drive are averaged; by what they scatter the harmonics and the level are unsure."
)
CHANGED: Final = (
    "A repeat at the same drive isn't averaged, since its level differs: the loudspeaker was warm, or "
    "something moved."
)
#: It is told where the sum of harmonics is unsure by more than this part, half a decibel.
SETTLED_PART: Final = 0.059


def level_series(
    facts: CaseFacts,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    responses: Responses,
    raw: Path,
) -> tuple[LevelSeries, ...]:
    """The series on axis, and those near radiators where one was heard at several drives; none without takes.

    Repeats at one drive are averaged where their level is the same (`level_repeats`), those on the horizontal
    orbit where there are any; a repeat that was set aside doesn't count. Drives in different units don't
    go together: the unit with more drives counts.

    Raises
    ------
    CaseError, ReadError
        Recordings have no level (`calibration.calibrate`), or the distance isn't stated.
    """
    told = {t.id: r.orders for t in takes if (r := impulse_responses.get(t.id)) and r.orders is not None}
    chosen = [t for t in takes if t.id in told and t.id not in responses.set_aside]
    on_axis = _one_a_drive([t for t in chosen if t.key.kind is TakeKind.SWEEP])
    found = []
    if on_axis:
        reference, in_room = _reference(responses, on_axis), _in_room(facts, takes, on_axis, raw)
        series = _series(on_axis, _repeats(on_axis, chosen, told), reference, in_room)
        said = said_of_silence([impulse_responses[take.id] for take in on_axis], takes)
        found.append(replace(series, notes=(*series.notes, *said)))
    near = by_radiator(chosen, told)
    if any(len(drives) > 1 for drives in near.values()):
        found += near_series(facts, takes, impulse_responses, near, raw)
    return tuple(found)


def _one_a_drive(takes: Sequence[Take]) -> list[Take]:
    """One take for each drive of the commoner unit, in the order of rising drive."""
    first: dict[Drive, Take] = {}

    def preference(take: Take) -> tuple[str, int, str]:
        direction = take.key.direction
        return "" if direction is None else str(direction.orbit), take.key.repeat, take.id

    for take in sorted(takes, key=preference):
        first.setdefault(drive_of(take), take)
    units = [drive.unit for drive in first]
    unit = max(sorted(set(units), reverse=True), key=units.count, default="V")
    return [first[drive] for drive in sorted(first) if drive.unit == unit]


#: What was found of one take's drive: the mean of its repeats, and notes.
_Repeats = Mapping[TakeId, tuple[OrderResponses, tuple[str, ...]]]


def _repeats(
    firsts: Sequence[Take], takes: Sequence[Take], told: Mapping[TakeId, OrderResponses]
) -> _Repeats:
    """The mean of each first take and its repeats, and what was decided about them."""
    found = {}
    for first in firsts:
        others = [told[one.id] for one in takes if one.id != first.id and alike(first, one)]
        same = [one for one in others if agrees(told[first.id], one)]
        notes = [REPEATED] * bool(same) + [CHANGED] * (len(same) < len(others))
        found[first.id] = averaged([told[first.id], *same]), tuple(notes)
    return found


#: Level of the linear response at 1 m per unit of drive, shape (F,), where it is known, and its row.
_Reference = tuple[Float64s, Bools, int]
#: Pa at 1 m per full scale at frequencies, as the microphone had it, and where that is known.
_InRoom = Callable[[Float64s], tuple[Float64s, Bools]]


def _reference(responses: Responses, on_axis: Sequence[Take]) -> _Reference | None:
    """The linear response on axis at the lowest drive; None where there is none."""
    rows = {take.id: row for row, take in enumerate(responses.takes)}
    if not on_axis or on_axis[0].id not in rows:
        return None
    row = rows[on_axis[0].id]
    magnitude = np.abs(np.nan_to_num(responses.pressure[row])).astype(np.float64)
    return magnitude, np.asarray(responses.valid[row] & (magnitude > 0.0)), row


def _in_room(facts: CaseFacts, takes: Sequence[Take], on_axis: Sequence[Take], raw: Path) -> _InRoom:
    """Pa at 1 m per full scale, by frequency, of sound as the microphone had it."""
    distance_m = stated.distance_m(facts.rig)
    if in_pascals(on_axis[0]):
        return lambda f: (np.full(f.shape, distance_m), np.ones(f.shape, dtype=np.bool_))
    calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)

    def factor(frequency_hz: Float64s) -> tuple[Float64s, Bools]:
        pressure, known = calibration.pressure_per_full_scale(frequency_hz)
        return pressure * distance_m, known

    return factor


def _series(
    takes: Sequence[Take],
    repeats: _Repeats,
    reference: _Reference | None,
    in_room: _InRoom,
) -> LevelSeries:
    """The orders on axis, referred to 1 m."""
    told = {take: mean for take, (mean, _) in repeats.items()}
    orders = [told[take.id].orders for take in takes]
    factor, known, free = _factors(told[takes[0].id], drive_of(takes[0]), reference, in_room)
    scaled = [one.scaled(factor, known) for one in orders]
    notes = []
    if not free[0, known[0]].all():
        notes.append(IN_ROOM)
    gain = np.abs(factor) ** 2
    if any(_unsettled(one, told[take.id].unsettled * gain) for one, take in zip(scaled, takes, strict=True)):
        notes.append(UNSETTLED)
    decided = {note for _, each in repeats.values() for note in each}
    notes += [note for note in (REPEATED, CHANGED) if note in decided]
    return LevelSeries(
        radiator=None,
        takes=tuple(take.id for take in takes),
        drives=tuple(drive_of(take) for take in takes),
        frequency_hz=orders[0].frequency_hz,
        order=tuple(int(n) for n in orders[0].order),
        pressure=np.stack([np.where(one.valid, one.amplitude, np.complex64(0.0)) for one in scaled]),
        noise_power=np.stack([np.where(one.valid, one.noise_power, np.nan) for one in scaled]),
        valid=np.stack([one.valid for one in scaled]),
        free_field=free,
        notes=tuple(notes),
    )


def _unsettled(orders: Orders, unsettled: Float64s) -> bool:
    """Whether harmonics that noise wouldn't hide are unsure in sum by more than `SETTLED_PART` somewhere."""
    used = orders.valid[1:]
    found, noise_power, off = (
        np.where(used, one[1:], 0.0).sum(axis=0)
        for one in (np.abs(orders.amplitude).astype(np.float64) ** 2, orders.noise_power, unsettled)
    )
    heard = ~noise.hides(found, noise_power - off)
    return bool(np.any(heard & (off > 2.0 * SETTLED_PART**2 * found)))


def _factors(
    lowest: OrderResponses, drive: Drive, reference: _Reference | None, in_room: _InRoom
) -> tuple[Float64s, Bools, Bools]:
    """Pa at 1 m per full scale for each order and frequency, where known, and where of the free field.

    Shapes (N, F). An order whose own frequency has no free field is held against its fundamental as both
    were in the room, so that their ratio is of one place.
    """
    sounds_at = lowest.orders.sounds_at_hz
    as_heard, heard = in_room(sounds_at)
    if reference is None:
        return as_heard, heard, np.zeros(heard.shape, dtype=np.bool_)
    magnitude, valid, _ = reference
    level, reaches = _at(lowest.orders.frequency_hz, magnitude, valid, sounds_at)
    linear = np.abs(lowest.linear).astype(np.float64)
    free = reaches & (linear > 0.0)
    carried = np.where(free, level * drive_units(drive) / np.where(free, linear, 1.0), 0.0)
    free &= free[:1]
    with np.errstate(invalid="ignore", divide="ignore"):
        beside = np.where(free[:1] & (as_heard[:1] > 0), carried[:1] / as_heard[:1], 1.0)
    return np.where(free, carried, as_heard * beside), free | heard, free


def _at(
    frequency_hz: Float64s, magnitude: Float64s, valid: Bools, wanted_hz: Float64s
) -> tuple[Float64s, Bools]:
    """A magnitude at other frequencies, straight in log-log, and where both neighbours are valid."""
    place = np.interp(np.log(wanted_hz), np.log(frequency_hz), np.arange(frequency_hz.size), right=np.inf)
    inside = np.isfinite(place)
    below = np.floor(np.where(inside, place, 0.0) + 1e-9).astype(int)
    part = np.clip(np.where(inside, place, 0.0) - below, 0.0, 1.0)
    above = np.minimum(below + (part > 1e-6), frequency_hz.size - 1)
    level = np.log(np.where(valid, magnitude, 1.0))
    found = np.exp(level[below] * (1.0 - part) + level[above] * part)
    return found, inside & valid[below] & valid[above]
