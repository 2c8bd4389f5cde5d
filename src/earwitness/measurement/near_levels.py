"""Harmonics near each radiator at several drives, and what carries them to the microphone on axis.

A near microphone hears its own radiator before all else, without the room. What it hears is carried to 1 m by
the same transfer as the response (`carrying`): order n of f by that at n·f. So near the radiator harmonics
are re the fundamental as D_near, at 1 m as D_near·|T(n·f)|/|T(f)|. What a microphone may hear of the other
radiators at the same drive counts as noise: takes of different radiators share no phase.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement import stated
from earwitness.measurement.boxes import placed_box
from earwitness.measurement.calibration import Calibration, calibrate
from earwitness.measurement.carrying import PlacedCabinet, PlacedSphere, fits, reaching
from earwitness.measurement.given_impulse import in_pascals
from earwitness.measurement.impulse_response import ImpulseResponse, drive_of
from earwitness.measurement.near_field import LARGEST_KA, NearField, read_near_field
from earwitness.measurement.order_responses import OrderResponses
from earwitness.measurement.setting import Setting
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import Box, CaseFacts, Radiator
from earwitness.records.grid import derived_grid
from earwitness.records.takes import Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

NEAR: Final = (
    "Near a radiator distortion is that of its own sound, before the room; what its microphone may hear of "
    "the other radiators counts as noise."
)
NOT_CARRIED: Final = "Its way to one metre isn't known, so that near distortion isn't told there."


@dataclass(frozen=True)
class _Reach:
    """What carries the K near pressures to 1 m on axis (K, F), and what leaks from k to j (K, K, F)."""

    radiators: tuple[str, ...]
    carried: Float64s
    leak: Float64s
    valid: Bools

    def of(self, radiator: str) -> int:
        """The place of a radiator."""
        return self.radiators.index(radiator)


def near_series(
    facts: CaseFacts,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    orders: Mapping[str, Sequence[tuple[Take, OrderResponses]]],
    raw: Path,
) -> tuple[LevelSeries, ...]:
    """A series for each radiator of `orders`: its takes in the order of rising drive, and what they hold.

    Raises
    ------
    CaseError, ReadError
        See `near_field.read_near_field`.
    """
    if not orders:
        return ()
    first = next(iter(orders.values()))[0][0]
    pascals = Calibration(1.0, None, None, ())
    chain = pascals if in_pascals(first) else calibrate(raw, takes, facts.rig.pa_per_full_scale)
    setting = Setting(derived_grid(), speed_of_sound_m_s(facts.rig.temperature_c), chain)
    near = read_near_field(facts.unit, takes, impulse_responses, setting)
    if near is None:
        return ()
    reach = _reach(facts, near, setting)
    radiators = {radiator.name: radiator for radiator in near.radiators}
    return tuple(
        _series(radiators[name], one, reach, orders, setting)
        for name, one in sorted(orders.items())
        if name in radiators
    )


def _reach(facts: CaseFacts, near: NearField, setting: Setting) -> _Reach | None:
    """How near pressures reach 1 m on axis, and each other's microphones; None where no cabinet says so."""
    frequency_hz, valid = setting.frequency_hz, near.valid
    told = np.flatnonzero(valid)
    if not told.size:
        return None
    count = int(told[-1]) + 1
    cabinet = _placed(facts, near, float(frequency_hz[count - 1]), setting.speed_m_s)
    if cabinet is None:
        return None
    whole = len(near.radiators)
    carried, leak = np.full((whole, valid.size), np.nan), np.zeros((whole, whole, valid.size))
    carried[:, :count], leak[..., :count] = reaching(near, cabinet, frequency_hz[:count], setting.speed_m_s)
    return _Reach(tuple(radiator.name for radiator in near.radiators), carried, leak, valid)


def _placed(facts: CaseFacts, near: NearField, top_hz: float, speed_m_s: float) -> PlacedCabinet | None:
    """The cabinet with one microphone on axis."""
    cabinet = facts.unit.cabinet
    ahead = np.array([[stated.distance_m(facts.rig), 0.0, 0.0]])
    if isinstance(cabinet, Box):
        return placed_box(cabinet, facts.unit.radiators, near, ahead, 2.0 * np.pi * top_hz / speed_m_s)
    if cabinet is None or not fits(near, cabinet.diameter_m / 2.0):
        return None
    return PlacedSphere(cabinet.diameter_m / 2.0, ahead)


def _series(
    radiator: Radiator,
    told: Sequence[tuple[Take, OrderResponses]],
    reach: _Reach | None,
    others: Mapping[str, Sequence[tuple[Take, OrderResponses]]],
    setting: Setting,
) -> LevelSeries:
    orders = [one.orders for _, one in told]
    sounds_at = orders[0].sounds_at_hz
    pa, known = setting.calibration.pressure_per_full_scale(sounds_at)
    known = known & (sounds_at <= LARGEST_KA * setting.speed_m_s / (np.pi * radiator.diameter_m))
    scaled = [one.scaled(pa, known) for one in orders]
    noise_power = np.stack([np.where(one.valid, one.noise_power, np.nan) for one in scaled])
    carried = np.full(sounds_at.shape, np.nan)
    if reach is not None:
        place, f = reach.of(radiator.name), setting.frequency_hz
        carried = _at(f, np.where(reach.valid, reach.carried[place], np.nan), sounds_at)
        for name, other in others.items():
            if name == radiator.name or name not in reach.radiators:
                continue
            leak = np.nan_to_num(_at(f, reach.leak[reach.of(name), place], sounds_at))
            for row, (take, _) in enumerate(told):
                same = [one for each, one in other if drive_of(each) == drive_of(take)]
                for one in same[:1]:
                    heard = np.abs(one.orders.scaled(pa, known).amplitude).astype(np.float64)
                    noise_power[row, 1:] += (leak * heard)[1:] ** 2
    return LevelSeries(
        radiator=radiator.name,
        takes=tuple(take.id for take, _ in told),
        drives=tuple(drive_of(take) for take, _ in told),
        frequency_hz=orders[0].frequency_hz,
        order=tuple(int(n) for n in orders[0].order),
        pressure=np.stack([np.where(one.valid, one.amplitude, np.complex64(0.0)) for one in scaled]),
        noise_power=noise_power,
        valid=np.stack([one.valid for one in scaled]),
        free_field=np.isfinite(carried),
        notes=(NEAR,) if np.isfinite(carried).any() else (NEAR, NOT_CARRIED),
        carried=carried,
    )


def _at(frequency_hz: Float64s, values: Float64s, wanted_hz: Float64s) -> Float64s:
    """Values (F,) at other frequencies, straight over the logarithm; NaN beyond the grid."""
    return np.asarray(np.interp(np.log(wanted_hz), np.log(frequency_hz), values, left=np.nan, right=np.nan))


def by_radiator(
    takes: Sequence[Take], told: Mapping[TakeId, OrderResponses]
) -> dict[str, list[tuple[Take, OrderResponses]]]:
    """Of each radiator one take a drive, from the lowest up, all at the distance of that one."""
    found: dict[str, list[tuple[Take, OrderResponses]]] = {}
    near = [t for t in takes if t.key.kind is TakeKind.NEAR_FIELD and t.id in told]
    for take in sorted(near, key=lambda t: (drive_of(t), t.key.repeat, t.id)):
        own = found.setdefault(take.key.radiator or "", [])
        first = own[0][0] if own else take
        fits_in = first.distance_m == take.distance_m and drive_of(first).unit == drive_of(take).unit
        if fits_in and all(drive_of(one) != drive_of(take) for one, _ in own):
            own.append((take, told[take.id]))
    return found
