"""What a loudspeaker sends out, by recordings on two surfaces round it in an ordinary room.

The loudspeaker stands still and the microphone moves over two surfaces about the centre of rotation. All that
is heard there, the room's sound with it, is told apart into waves that leave and waves that come back
(`acoustics.separation`); those that leave give the free field at any place outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating
from earwitness.acoustics.noise import level_uncertainty_db
from earwitness.acoustics.separation import (
    Orders,
    Separation,
    Surfaces,
    acoustic_centre,
    choose_orders,
    separate,
)
from earwitness.acoustics.spherical import unit_vectors
from earwitness.measurement.gated import cut, noise_in
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.setting import Setting
from earwitness.measurement.two_radii_given import given_pressures
from earwitness.measurement.two_radii_notes import Told, notes_of
from earwitness.records.errors import CaseError
from earwitness.records.facts import Box, Sphere
from earwitness.records.takes import ON_SURFACES, Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: What is kept of the responses opens over so long, and closes over so much of its length: alike for all.
OPENING_S: Final = 0.02
CLOSING_PART: Final = 0.4
#: Frequencies from which the acoustic centre is found: up to this kd, and no more than so many.
CENTRE_KD: Final = 2.0
CENTRE_COUNT: Final = 24
#: The sphere about the centre that encloses the loudspeaker is no larger than this part of the one that the
#: nearest point lies on: there outgoing waves of high order have died away.
ENCLOSED_PART: Final = 0.7
#: Steps of the way from the surfaces' centre to the acoustic one.
WAY_STEPS: Final = 20
#: A level whose standard uncertainty is more isn't accepted.
LARGEST_DB: Final = 0.3
#: Responses transformed at a time.
BLOCK: Final = 8


@dataclass(frozen=True)
class MeasuredField:
    """Pressures (P, F) at P places on two surfaces, Pa per unit of drive, on one clock.

    `noise_power` (P, F) is that of the noise in their squares; NaN where it can't be told. `latency_s` is how
    much later the clock is than the flight of sound.
    """

    surfaces: Surfaces
    frequency_hz: Float64s
    pressure: Complex128s
    noise_power: Float64s
    band_hz: tuple[float, float]
    latency_s: float
    takes: tuple[TakeId, ...]


@dataclass(frozen=True)
class FreeField:
    """The free field at R places, on F frequencies.

    Attributes
    ----------
    pressure
        Shape (R, F): Pa per unit of drive, the clock's latency taken off, the time of flight left in.
    accepted
        Shape (F,): where waves are told apart, surely enough for half of the places or more.
    valid
        Shape (R, F): where they are for this place.
    noise_db, separation_db
        Shape (R, F): standard uncertainties by the noise, and by all else that the waves leave.
    separation
        Orders, condition, residual and refusals.
    """

    frequency_hz: Float64s
    pressure: Complex128s
    accepted: Bools
    valid: Bools
    noise_db: Float64s
    separation_db: Float64s
    separation: Separation
    notes: tuple[str, ...]
    takes: tuple[TakeId, ...]


def on_surfaces(takes: Sequence[Take]) -> tuple[Take, ...]:
    """The takes on surfaces, by id."""
    return tuple(sorted((t for t in takes if t.key.kind in ON_SURFACES), key=lambda t: t.id))


def read_field(
    takes: Sequence[Take],
    responses: Mapping[TakeId, ImpulseResponse],
    rotation_behind_m: float,
    setting: Setting,
    raw: Path,
) -> MeasuredField:
    """The pressures on the surfaces; `raw` is the folder that their paths are relative to.

    All responses pass one window in the time of the stimulus, so that what passes is one field still.

    Raises
    ------
    CaseError
        The takes have several drives, forms, sample rates or but one radius, or no time in common.
    ReadError
        A file can't be read, or has no phase.
    """
    takes = on_surfaces(takes)
    if len({take.key.drive for take in takes}) > 1:
        raise _several("drives", "measure both surfaces at one")
    if len({take.key.kind for take in takes}) > 1:
        raise _several("forms, sound and responses", "give both surfaces in one")
    places = [place for take in takes if (place := take.key.place) is not None]
    distance = np.array([place.distance_m for place in places])
    ways = unit_vectors([place.azimuth_deg for place in places], [place.elevation_deg for place in places])
    centre = np.array([-rotation_behind_m, 0.0, 0.0])
    surfaces = Surfaces(centre + distance[:, None] * ways, centre)
    inner, outer = surfaces.radii_m
    if not outer > inner:
        remedy = "measure the same on a second surface, some 15 % further out"
        raise CaseError("takes.toml", "the takes of kind surface have one distance alone", remedy)
    ids, frequency = tuple(take.id for take in takes), setting.frequency_hz
    flight_s = distance / setting.speed_m_s
    if takes[0].key.kind is TakeKind.SURFACE_RESPONSE:
        pressure, band = given_pressures(raw, takes, frequency, flight_s)
        return MeasuredField(surfaces, frequency, pressure, np.full(pressure.shape, np.nan), band, 0.0, ids)
    heard = [responses[take.id] for take in takes]
    pressure, noise = _windowed(heard, frequency)
    pa, known = setting.calibration.pressure_per_full_scale(frequency)
    peaks = np.array([r.start_s + int(np.argmax(np.abs(r.samples))) / r.sample_rate_hz for r in heard])
    band = _band_hz(heard, frequency[known])
    latency = float(np.median(peaks - flight_s))
    return MeasuredField(surfaces, frequency, pressure * pa, noise * pa**2, band, latency, ids)


def _band_hz(heard: Sequence[ImpulseResponse], calibrated_hz: Float64s) -> tuple[float, float]:
    low = max(response.band_hz[0] for response in heard)
    high = min(response.band_hz[1] for response in heard)
    nyquist = 0.48 * heard[0].sample_rate_hz
    return max(low, float(calibrated_hz[0])), min(high, nyquist, float(calibrated_hz[-1]))


def _several(what: str, remedy: str) -> CaseError:
    return CaseError("takes.toml", f"the takes of kind surface have several {what}", remedy)


def _windowed(heard: Sequence[ImpulseResponse], frequency_hz: Float64s) -> tuple[Complex128s, Float64s]:
    """Spectra (P, F) by the stimulus' clock, and the noise's power in their squares."""
    rate = heard[0].sample_rate_hz
    if any(response.sample_rate_hz != rate for response in heard):
        raise _several("sample rates", "record both surfaces at one")
    begin = max(response.start_s for response in heard)
    end = min(response.end_s for response in heard)
    if end - begin < 2.0 * OPENING_S:
        raise _several("times of their own", "record them on one clock, or with a loopback")
    count = int((end - begin) * rate)
    pressure = np.empty((len(heard), frequency_hz.size), dtype=np.complex128)
    energy = np.empty(len(heard))
    for first in range(0, len(heard), BLOCK):
        block = heard[first : first + BLOCK]
        starts = np.array([round((begin - r.start_s) * rate) for r in block])
        segments = np.stack([cut(r.samples, k, count) for r, k in zip(block, starts, strict=True)])
        start = np.array([r.start_s for r in block]) + starts / rate
        time = start[:, None] + np.arange(count) / rate
        window = _window(time, begin, end)
        passed = (segments * window).astype(np.float32)
        pressure[first : first + BLOCK] = gating.spectra(passed, rate, frequency_hz, start)
        energy[first : first + BLOCK] = (window**2).sum(axis=-1)
    return pressure, noise_in(heard, frequency_hz) * energy[:, None]


def _window(time_s: Float64s, begin_s: float, end_s: float) -> Float64s:
    opening = np.clip((time_s - begin_s) / OPENING_S, 0.0, 1.0)
    closing = np.clip((end_s - time_s) / (CLOSING_PART * (end_s - begin_s)), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * opening) ** 2 * np.sin(0.5 * np.pi * closing) ** 2)


def free_field(
    field: MeasuredField,
    targets_m: Float64s,
    up_to_hz: float,
    speed_m_s: float,
    *,
    cabinet: Sphere | Box | None,
    radius_uncertainty_m: float | None,
) -> FreeField:
    """The field that the loudspeaker alone would make at places (R, 3) from its reference point.

    Parameters
    ----------
    up_to_hz
        Frequencies above are left out.
    cabinet
        How far from the acoustic centre the loudspeaker reaches; where it isn't described, as far as the
        inner surface allows.
    radius_uncertainty_m
        One standard uncertainty of each surface's radius, alike all over it; None where nobody stated it.
    """
    low, high = field.band_hz
    count = int(np.searchsorted(field.frequency_hz, min(high, up_to_hz), side="right"))
    frequency = field.frequency_hz[:count]
    wavenumber, pressure = 2.0 * np.pi * frequency / speed_m_s, field.pressure[:, :count]
    centre = _centre(field, wavenumber, pressure, cabinet)
    extent = _extent_m(cabinet, centre, field.surfaces)
    orders = _orders(field.surfaces, wavenumber, extent)
    found = separate(field.surfaces, pressure, wavenumber, orders, centre_m=centre, targets_m=targets_m)
    noise_db, separation_db = _uncertainties(field, pressure, found)
    if radius_uncertainty_m:
        radius_db = _of_radii(field, pressure, found, targets_m, radius_uncertainty_m)
        separation_db = np.hypot(separation_db, radius_db)
    enclosed = extent < _nearest_m(centre, field.surfaces)
    holds = found.accepted & (frequency >= low) & enclosed
    known = np.hypot(np.nan_to_num(noise_db), separation_db) <= LARGEST_DB
    sure = np.median(known, axis=0) > 0.0
    notes = notes_of(
        Told(field.surfaces, frequency, found, holds, sure),
        enclosed=enclosed,
        unsure_db=LARGEST_DB,
    )
    latency = np.exp(2j * np.pi * frequency * field.latency_s)
    return FreeField(
        frequency_hz=frequency,
        pressure=found.pressure * latency,
        accepted=holds & sure,
        valid=holds & sure & known,
        noise_db=noise_db,
        separation_db=separation_db,
        separation=found,
        notes=notes,
        takes=field.takes,
    )


def _orders(surfaces: Surfaces, wavenumber: Float64s, extent_m: float) -> Orders:
    return choose_orders(wavenumber, len(surfaces.points_m), extent_m, surfaces.radii_m[1])


def _centre(
    field: MeasuredField, wavenumber: Float64s, pressure: Complex128s, cabinet: Sphere | Box | None
) -> Float64s:
    """The acoustic centre (3,) at low frequencies; the surfaces' own where it can't be found."""
    surfaces = field.surfaces
    extent = _extent_m(cabinet, surfaces.centre_m, surfaces)
    orders = _orders(surfaces, wavenumber, extent)
    tried = np.flatnonzero(
        orders.enough
        & (wavenumber * extent <= CENTRE_KD)
        & (field.frequency_hz[: wavenumber.size] >= field.band_hz[0])
    )
    if not tried.size:
        return surfaces.centre_m
    tried = np.unique(tried[np.linspace(0, tried.size - 1, CENTRE_COUNT).round().astype(np.int_)])
    some = Orders(orders.outgoing[tried], orders.standing[tried], orders.enough[tried])
    first = separate(
        surfaces,
        pressure[:, tried],
        wavenumber[tried],
        some,
        centre_m=surfaces.centre_m,
        targets_m=surfaces.points_m[:1],
    )
    if not first.accepted.any():
        return surfaces.centre_m
    return _so_far_as_enclosed(acoustic_centre(first, first.accepted), cabinet, surfaces)


def _so_far_as_enclosed(acoustic_m: Float64s, cabinet: Sphere | Box | None, surfaces: Surfaces) -> Float64s:
    """The point nearest to the acoustic centre, on the way there, about which waves can be counted."""
    centre = surfaces.centre_m
    for part in np.linspace(1.0, 0.0, WAY_STEPS + 1):
        tried = centre + part * (acoustic_m - centre)
        if _extent_m(cabinet, tried, surfaces) <= ENCLOSED_PART * _nearest_m(tried, surfaces):
            return np.asarray(tried)
    return centre


def _nearest_m(centre_m: Float64s, surfaces: Surfaces) -> float:
    return float(np.linalg.norm(surfaces.points_m - centre_m, axis=1).min())


def _extent_m(cabinet: Sphere | Box | None, centre_m: Float64s, surfaces: Surfaces) -> float:
    """How far from a centre (3,), from the reference point, the loudspeaker reaches."""
    if cabinet is None:
        return ENCLOSED_PART * _nearest_m(centre_m, surfaces)
    if isinstance(cabinet, Sphere):
        middle = np.array([-0.5 * cabinet.diameter_m, 0.0, 0.0])
        return float(np.linalg.norm(centre_m - middle)) + 0.5 * cabinet.diameter_m
    half = 0.5 * np.array([cabinet.depth_m, cabinet.width_m, cabinet.height_m])
    if cabinet.reference_up_m is None:
        # the reference point may lie at any height of the front
        half[2] = cabinet.height_m
    up = cabinet.reference_up_m or 0.0
    middle = np.array([-half[0], -cabinet.reference_left_m, -up])
    return float(np.linalg.norm(np.abs(centre_m - middle) + half))


def _uncertainties(
    field: MeasuredField, pressure: Complex128s, found: Separation
) -> tuple[Float64s, Float64s]:
    """By the noise, and by what the waves leave beyond it, dB, each of shape (R, F)."""
    points = len(pressure)
    terms = (found.orders.outgoing + 1) ** 2 + (found.orders.standing + 1) ** 2
    left = found.residual**2 * (np.abs(pressure) ** 2).sum(axis=0) / np.maximum(points - terms, 1)
    noise = field.noise_power[:, : left.size].mean(axis=0)
    power = np.abs(found.pressure) ** 2
    beyond = np.maximum(left - np.nan_to_num(noise), 0.0)
    return (
        level_uncertainty_db(power, found.variance_gain * noise),
        level_uncertainty_db(power, found.variance_gain * beyond),
    )


def _of_radii(
    field: MeasuredField,
    pressure: Complex128s,
    found: Separation,
    targets_m: Float64s,
    uncertainty_m: float,
) -> Float64s:
    """What an error of the radius of either surface does to the levels, dB, shape (R, F)."""
    surfaces = field.surfaces
    away = surfaces.points_m - surfaces.centre_m
    outward = away / np.linalg.norm(away, axis=1, keepdims=True)
    total = np.zeros(found.pressure.shape)
    for these in (~surfaces.outer, surfaces.outer):
        moved = Surfaces(surfaces.points_m + uncertainty_m * these[:, None] * outward, surfaces.centre_m)
        other = separate(
            moved, pressure, found.wavenumber, found.orders, centre_m=found.centre_m, targets_m=targets_m
        )
        change = 20.0 * np.log10(np.abs(other.pressure) / np.abs(found.pressure))
        total = np.hypot(total, change)
    return total
