"""Near fields: what radiators do below the gate's reach, carried to every direction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival, gating, noise, radiation
from earwitness.measurement.deconvolution import KEPT_BEFORE, ImpulseResponse
from earwitness.measurement.gated import cut, noise_in
from earwitness.measurement.setting import Setting
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import Box, Radiator, Sphere, Unit
from earwitness.records.takes import Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: A cone is taken to move as one, and the near field to be its own, up to ka = 1.
LARGEST_KA: Final = 1.0


@dataclass(frozen=True)
class NearField:
    """K radiators close up, on one clock.

    Attributes
    ----------
    pressure
        Shape (K, F): Pa per unit of drive in front of each radiator's centre.
    noise_power
        Shape (K, F), in the same unit squared.
    valid
        Shape (F,).
    gap_m
        Shape (K,): from each radiator's centre to the microphone.
    """

    takes: tuple[TakeId, ...]
    radiators: tuple[Radiator, ...]
    pressure: Complex128s
    noise_power: Float64s
    valid: Bools
    gap_m: Float64s
    notes: tuple[str, ...]


def read_near_field(
    unit: Unit,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    setting: Setting,
) -> NearField | None:
    """The near-field takes of a case; None where it has none.

    Raises
    ------
    CaseError
        A take's radiator isn't among `unit.radiators`, two takes are of one radiator, or a take doesn't state
        its distance.
    """
    frequency_hz, calibration = setting.frequency_hz, setting.calibration
    near = sorted((t for t in takes if t.key.kind is TakeKind.NEAR_FIELD), key=lambda t: t.id)
    if not near:
        return None
    radiators = [_radiator(unit, take) for take in near]
    _require_one_each(near)
    responses = [impulse_responses[t.id] for t in near]
    _require_one_rate(near, responses)
    largest = max(range(len(near)), key=lambda i: radiators[i].diameter_m)
    gap_m = np.array([_gap_m(take) for take in near])
    spectrum, noise_power, limit = _spectra(responses, largest, frequency_hz)
    pa, known = calibration.pressure_per_full_scale(frequency_hz)
    signal = np.sum(np.abs(spectrum) ** 2, axis=0)
    low, high = max(limit, *(r.band_hz[0] for r in responses)), min(r.band_hz[1] for r in responses)
    top = min(high, LARGEST_KA * setting.speed_m_s / (np.pi * radiators[largest].diameter_m))
    valid = known & (frequency_hz >= low) & (frequency_hz <= top)
    valid &= signal > noise_power.sum(axis=0) * 10.0 ** (noise.LEAST_SNR_DB / 10.0)
    return NearField(
        takes=tuple(t.id for t in near),
        radiators=tuple(radiators),
        pressure=spectrum * pa,
        noise_power=noise_power * pa**2,
        valid=valid,
        gap_m=gap_m,
        notes=(_named(radiators),),
    )


def _gap_m(take: Take) -> float:
    """How far the microphone stood from the radiator: 7 mm in front of a small cone are already 1 dB."""
    if take.distance_m is None:
        raise CaseError(
            "takes.toml",
            f"{take.path} doesn't say how far the microphone stood from the radiator",
            "state distance_m in its entry (0.007 for 7 mm)",
        )
    return take.distance_m


def _radiator(unit: Unit, take: Take) -> Radiator:
    for radiator in unit.radiators:
        if radiator.name == take.key.radiator:
            return radiator
    raise CaseError(
        "case.toml",
        f"{take.path} is of the radiator {take.key.radiator!r}, which isn't described",
        "add it with its name and diameter",
        "unit.radiators",
    )


def _require_one_each(near: Sequence[Take]) -> None:
    seen: dict[str | None, str] = {}
    for take in near:
        other = seen.setdefault(take.key.radiator, take.path)
        if other != take.path:
            problem = f"{other} and {take.path} are both the near field of {take.key.radiator}"
            raise CaseError("takes.toml", problem, "keep one near field a radiator")


def _require_one_rate(near: Sequence[Take], responses: Sequence[ImpulseResponse]) -> None:
    for take, response in zip(near, responses, strict=True):
        if response.sample_rate_hz != responses[0].sample_rate_hz:
            raise ReadError(
                take.path, "has another sample rate than the other near fields", "record them alike"
            )


def _named(radiators: Sequence[Radiator]) -> str:
    names = " and ".join(r.name.replace("_", " ") for r in radiators)
    return f"Below the gate's reach the response is carried from the near field of the {names}."


def _spectra(
    responses: Sequence[ImpulseResponse], first: int, frequency_hz: Float64s
) -> tuple[Complex128s, Float64s, float]:
    """Spectra re the arrival at the radiator `first`, their noise power, and the lowest valid frequency."""
    rate = responses[0].sample_rate_hz
    clock = responses[first]
    peak = arrival.peak_position(
        arrival.envelope(clock.samples, rate, (100.0, 8_000.0)), 0, clock.samples.size
    )
    at = clock.start_s + peak / rate
    lead = min(0.9 * KEPT_BEFORE, *(r.noise.size for r in responses)) / rate
    end = min(r.start_s + r.samples.size / rate for r in responses) - at
    begin = [round((at - lead - r.start_s) * rate) for r in responses]
    count = int((lead + end) * rate)
    segments = np.stack([cut(r.samples, k, count) for r, k in zip(responses, begin, strict=True)])
    start = np.array([r.start_s + k / rate - at for r, k in zip(responses, begin, strict=True)])
    windows = gating.gate(start[:, None] + np.arange(count) / rate, lead, end)
    spectrum = gating.spectra((segments * windows).astype(np.float32), rate, frequency_hz, start)
    noise_power = noise_in(responses, frequency_hz) * np.sum(windows**2, axis=-1)[:, None]
    return spectrum.astype(np.complex128), noise_power, float(gating.valid_from_hz(end))


def equivalent_radius_m(cabinet: Sphere | Box) -> float:
    """Radius of the sphere that stands for the cabinet: its own, or of a disc as large as the box's front.

    For a box this is an approximation: the step from half to full space lies about right, edges don't.
    """
    if isinstance(cabinet, Sphere):
        return cabinet.diameter_m / 2.0
    return float(np.sqrt(cabinet.width_m * cabinet.height_m / np.pi))


@dataclass(frozen=True)
class PlacedCabinet:
    """The sphere that stands for the cabinet, and D microphones round it.

    `microphone_m` has shape (D, 3), from the reference point, which is the sphere's foremost point.
    """

    radius_m: float
    microphone_m: Float64s


def carried(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, speed_m_s: float
) -> tuple[Complex128s, Float64s]:
    """The sum of all radiators at D microphones, times distance, and its noise power: both (D, F).

    `frequency_hz` is the lower part of the grid. Pa per unit of drive at 1 m, with the phase of the flight.
    """
    place = cabinet.microphone_m + np.array([cabinet.radius_m, 0.0, 0.0])
    distance = np.linalg.norm(place, axis=-1)
    reference = np.linalg.norm(cabinet.microphone_m, axis=-1)[:, None]
    pressure = np.zeros((len(place), frequency_hz.size), dtype=np.complex128)
    noise_power = np.zeros(pressure.shape)
    for i, radiator in enumerate(near.radiators):
        axis = _axis(radiator, cabinet.radius_m)
        cap = radiation.Cap(cabinet.radius_m, radiator.diameter_m / 2.0, float(near.gap_m[i]))
        angle = np.arccos(np.clip(place @ axis / distance, -1.0, 1.0))
        transfer = reference * radiation.far_over_near(
            2.0 * np.pi * frequency_hz / speed_m_s, cap, distance, angle
        )
        pressure += near.pressure[i, : frequency_hz.size] * transfer
        noise_power += near.noise_power[i, : frequency_hz.size] * np.abs(transfer) ** 2
    return pressure, noise_power


def fits(near: NearField, sphere_radius_m: float) -> bool:
    """Whether every radiator lies on the front half of the sphere and is smaller than it."""
    return all(
        np.hypot(r.up_m, r.left_m) < sphere_radius_m and r.diameter_m / 2.0 < sphere_radius_m
        for r in near.radiators
    )


def _axis(radiator: Radiator, sphere_radius_m: float) -> Float64s:
    """Unit vector from the sphere's centre to the radiator's."""
    left, up = radiator.left_m / sphere_radius_m, radiator.up_m / sphere_radius_m
    return np.array([np.sqrt(1.0 - left**2 - up**2), left, up])
