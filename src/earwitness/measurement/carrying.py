"""Near fields carried to every microphone, by a sphere's series or a box's own diffraction."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from earwitness.acoustics import leakage, radiation
from earwitness.measurement import leaking
from earwitness.measurement.boxes import PlacedBox, carried_by_box, half_width_db
from earwitness.measurement.near_field import NearField
from earwitness.measurement.near_repeats import mean_uncertainty_db
from earwitness.measurement.running import rms_over
from earwitness.records.errors import CaseError
from earwitness.records.facts import Radiator
from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: What changes slowly over frequency is computed at every eighth point: a twelfth of an octave apart.
STEP: Final = 8
#: Above this ka of the cabinet it changes faster, and is computed at a quarter of that.
SMALL_KA: Final = 1.0
#: The uncertainty of a box's model is said for a band of this width.
MODEL_BAND_OCTAVES: Final = 1.0


@dataclass(frozen=True)
class PlacedSphere:
    """A spherical cabinet, and D microphones round it.

    `microphone_m` has shape (D, 3), from the reference point, which is the sphere's foremost point.
    """

    radius_m: float
    microphone_m: Float64s


PlacedCabinet = PlacedSphere | PlacedBox


def fits(near: NearField, sphere_radius_m: float) -> bool:
    """Whether every radiator lies on the sphere and is smaller than it."""
    return all(
        np.hypot(r.up_m, r.left_m) < sphere_radius_m and r.diameter_m / 2.0 < sphere_radius_m
        for r in near.sounding
    )


def carried(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, speed_m_s: float
) -> tuple[Complex128s, Float64s]:
    """The sum of all radiators at D microphones, times distance, and its noise power: both (D, F).

    `frequency_hz` is the lower part of the grid. Pa per unit of drive at 1 m, with the phase of the flight.
    What each near microphone heard of the other radiators is taken off first.
    """
    if isinstance(cabinet, PlacedBox):
        return carried_by_box(near, cabinet, frequency_hz, speed_m_s)
    place = cabinet.microphone_m + np.array([cabinet.radius_m, 0.0, 0.0])
    distance = np.linalg.norm(place, axis=-1)
    reference = np.linalg.norm(cabinet.microphone_m, axis=-1)[:, None]
    count = frequency_hz.size
    parting = parting_matrix(near, cabinet.radius_m, frequency_hz, speed_m_s)
    own = np.einsum("fij,jf->if", parting, near.pressure[:, :count])
    own_noise = np.einsum("fij,jf->if", np.abs(parting) ** 2, near.noise_power[:, :count])
    each = []
    for cap, axis in _placed(near, cabinet.radius_m):
        angle = np.arccos(np.clip(place @ axis / distance, -1.0, 1.0))
        each.append(reference * _transfer(cap, distance, angle, frequency_hz, speed_m_s))
    transfer = leakage.together(np.stack(each), near.like)
    pressure = np.einsum("kf,kdf->df", own, transfer)
    noise_power = np.einsum("kf,kdf->df", own_noise, np.abs(transfer) ** 2)
    return pressure, noise_power


def reaching(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, speed_m_s: float
) -> tuple[Float64s, Float64s]:
    """How strongly each of K near pressures alone reaches 1 m, and the other near microphones.

    Shapes (K, F), pressure at 1 m towards the first microphone re that in front of the radiator, and
    (K, K, F): of radiator i at the near microphone j re that at its own; its own is left out, 0.
    """
    count = len(near.radiators)
    if isinstance(cabinet, PlacedBox):
        heard = cabinet.best.heard(2.0 * np.pi * frequency_hz / speed_m_s)
        reference = float(np.linalg.norm(cabinet.microphone_m[0]))
        far = np.abs(heard.carrying[:, cabinet.at[0], :]).T * reference
        own = heard.near[np.arange(count), np.arange(count)]
        leak = np.abs(heard.near[:count] / own[:, None])
    else:
        parts = []
        for number in range(count):
            alone = np.zeros((count, frequency_hz.size), dtype=np.complex128)
            alone[number] = 1.0
            one = dataclasses.replace(near, pressure=alone, noise_power=0.0 * np.abs(alone))
            parts.append(np.abs(carried(one, cabinet, frequency_hz, speed_m_s)[0][0]))
        far = np.stack(parts)
        some = _knots(frequency_hz, 2.0 * np.pi * frequency_hz / speed_m_s * cabinet.radius_m)
        coarse = np.abs(_leaks(near, cabinet.radius_m, 2.0 * np.pi * frequency_hz[some] / speed_m_s))[:count]
        leak = np.stack(
            [
                [np.interp(np.log(frequency_hz), np.log(frequency_hz[some]), each) for each in row]
                for row in coarse
            ]
        )
    leak[np.arange(count), np.arange(count)] = 0.0
    return np.asarray(far), np.asarray(leak)


def _transfer(
    cap: radiation.Cap, distance_m: Float64s, angle_rad: Float64s, frequency_hz: Float64s, speed_m_s: float
) -> Complex128s:
    """`radiation.far_over_near` at D places, shape (D, F): computed at some frequencies, joined by cubics.

    Without its flight it changes slowly: joined so it is within 10⁻⁴ of what it is at every frequency.
    """
    wavenumber = 2.0 * np.pi * frequency_hz / speed_m_s
    some = _knots(frequency_hz, wavenumber * cap.sphere_radius_m)
    flight = distance_m[:, None] - cap.sphere_radius_m
    slow = radiation.far_over_near(wavenumber[some], cap, distance_m, angle_rad)
    if some.size == frequency_hz.size:
        return slow
    slow *= np.exp(1j * wavenumber[some] * flight)
    joined = CubicSpline(np.log(frequency_hz[some]), slow, axis=-1)(np.log(frequency_hz))
    return np.asarray(joined * np.exp(-1j * wavenumber * flight))


def _knots(frequency_hz: Float64s, ka: Float64s) -> npt.NDArray[np.intp]:
    """Places in the grid at which what is smooth is computed: sparse where the cabinet is small."""
    if frequency_hz.size < 2 or frequency_hz[1] > frequency_hz[0] * 2.0 ** (1.5 / POINTS_PER_OCTAVE):
        return np.arange(frequency_hz.size)
    step = np.where(ka < SMALL_KA, STEP, STEP // 4)
    place = np.arange(frequency_hz.size)
    return np.flatnonzero((place % step == 0) | (place == place[-1]))


def parting_matrix(
    near: NearField, sphere_radius_m: float, frequency_hz: Float64s, speed_m_s: float
) -> Complex128s:
    """What makes each radiator's own near pressure of what the K microphones heard, shape (F, K, K).

    A microphone in front of a port also hears the cone beside it: heard = own + Σ others' own times their
    transfer over the sphere. This is the inverse of that.

    Raises
    ------
    CaseError
        Two radiators overlap as described, so that their near fields can't be told apart.
    """
    count = len(near.radiators)
    if len(near.sounding) == 1:
        return np.ones((frequency_hz.size, 1, 1), dtype=np.complex128)
    coarse = np.r_[frequency_hz[:-1:STEP], frequency_hz[-1]]
    leaks = _leaks(near, sphere_radius_m, 2.0 * np.pi * coarse / speed_m_s)
    parting = leakage.Heard(leaks, leaks[:, :0], near.like).parted
    log_f, log_coarse = np.log(frequency_hz), np.log(coarse)
    return np.stack(
        [np.interp(log_f, log_coarse, column) for column in parting.reshape(coarse.size, -1).T], axis=-1
    ).reshape(frequency_hz.size, count, count)


def _leaks(near: NearField, sphere_radius_m: float, wavenumber: Float64s) -> Complex128s:
    """What each of M radiators gives at each near microphone, over its own near pressure: (M, K, F)."""
    placed, count = _placed(near, sphere_radius_m), len(near.radiators)
    leaks = np.ones((len(placed), count, wavenumber.size), dtype=np.complex128)
    for i, (cap, axis) in enumerate(placed):
        others = [j for j in range(len(placed)) if j != i]
        angle = np.array([np.arccos(np.clip(placed[j][1] @ axis, -1.0, 1.0)) for j in others])
        for j, apart in zip(others, angle, strict=True):
            _require_apart(near.sounding[i], near.sounding[j], float(apart), sphere_radius_m)
        ears = [j for j in others if j < count]
        if ears:
            place = sphere_radius_m + near.gap_m[ears]
            leaks[i, ears] = radiation.far_over_near(wavenumber, cap, place, angle[: len(ears)])
    return leaks


def _require_apart(one: Radiator, other: Radiator, angle_rad: float, sphere_radius_m: float) -> None:
    rims = sum(np.arcsin(r.diameter_m / 2.0 / sphere_radius_m) for r in (one, other))
    if angle_rad < rims:
        raise CaseError(
            "case.toml",
            f"the radiators {one.name} and {other.name} overlap as described, so their near fields can't be "
            "told apart",
            "state up_m and left_m of each, or leave one near field out",
            "unit.radiators",
        )


def model_uncertainty_db(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, speed_m_s: float
) -> Float64s:
    """Standard uncertainty of the carried level because of the cabinet's model, dB, shape (D, F).

    A sphere's series is exact: for one radiator that is 0, for several what leaks among them counts
    (`leaking`). What that, a box (`boxes.half_width_db`) and a port that wasn't heard (`unheard`) may be off
    by is the half-width of a rectangular distribution: over √3 (JCGM 100:2008, 4.3.7, recalled). The model's
    is the root mean square over an octave, since where levels happen to cross it is no better.
    """
    missing = 0.0 if near.unheard is None else near.unheard.half_width_db(frequency_hz)
    if isinstance(cabinet, PlacedSphere) and len(near.sounding) == 1:
        return np.tile(missing / np.sqrt(3.0) + 0.0 * frequency_hz, (len(cabinet.microphone_m), 1))
    some = np.unique(np.r_[np.arange(0, frequency_hz.size, STEP), frequency_hz.size - 1])
    thin = dataclasses.replace(near, pressure=near.pressure[:, some], noise_power=near.noise_power[:, some])
    log_f = np.log(frequency_hz)
    if isinstance(cabinet, PlacedBox):
        half_width = half_width_db(thin, cabinet, frequency_hz[some], speed_m_s)
    else:
        half_width = _sphere_half_width_db(thin, cabinet, frequency_hz[some], speed_m_s)
    between = np.stack([np.interp(log_f, log_f[some], row) for row in half_width])
    return np.asarray(np.hypot(rms_over(between, MODEL_BAND_OCTAVES), missing) / np.sqrt(3.0))


def _sphere_half_width_db(
    near: NearField, sphere: PlacedSphere, frequency_hz: Float64s, speed_m_s: float
) -> Float64s:
    """As `boxes.half_width_db`, for a sphere: what leaks among its radiators."""
    wavenumber = 2.0 * np.pi * frequency_hz / speed_m_s
    place = sphere.microphone_m + np.array([sphere.radius_m, 0.0, 0.0])
    distance = np.linalg.norm(place, axis=-1)
    placed = _placed(near, sphere.radius_m)
    far = [
        radiation.far_over_near(wavenumber, cap, distance, np.arccos(np.clip(place @ axis / distance, -1, 1)))
        for cap, axis in placed
    ]
    centres = sphere.radius_m * np.stack([axis for _, axis in placed])
    apart_m = np.linalg.norm(centres[:, None] - centres[: len(near.radiators)], axis=-1)
    heard = leakage.Heard(_leaks(near, sphere.radius_m, wavenumber), np.stack(far), near.like)
    return leaking.half_width_db(near, heard, apart_m)


def repeat_uncertainty_db(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, speed_m_s: float
) -> tuple[Float64s, Float64s] | None:
    """What repeats of the near fields tell of the carried level, dB (D, F), and its degrees of freedom (F,).

    Each radiator's error weighs with its part of the sum. None where nothing was repeated.
    """
    if near.scatter is None:
        return None
    some = np.unique(np.r_[np.arange(0, frequency_hz.size, STEP), frequency_hz.size - 1])
    thin = dataclasses.replace(near, pressure=near.pressure[:, some], noise_power=near.noise_power[:, some])
    count = len(near.radiators)
    parts = []
    for number in range(count):
        alone = np.where(np.arange(count)[:, None] == number, thin.pressure, 0.0)
        one = dataclasses.replace(thin, pressure=alone)
        parts.append(carried(one, cabinet, frequency_hz[some], speed_m_s)[0])
    share = np.abs(np.stack(parts) / np.sum(parts, axis=0))
    scatter = dataclasses.replace(
        near.scatter, single_db=near.scatter.single_db[:, some], degrees=near.scatter.degrees[:, some]
    )
    spread, degrees = mean_uncertainty_db(scatter, share)
    log_f = np.log(frequency_hz)
    between = np.stack([np.interp(log_f, log_f[some], row) for row in spread])
    return between, np.asarray(np.interp(log_f, log_f[some], degrees))


def _placed(near: NearField, sphere_radius_m: float) -> list[tuple[radiation.Cap, Float64s]]:
    """Each radiator as a cap, and the unit vector from the sphere's centre to its own."""
    placed = []
    for radiator, gap_m in zip(near.sounding, near.gap_m[near.like], strict=True):
        left, up = radiator.left_m / sphere_radius_m, radiator.up_m / sphere_radius_m
        cap = radiation.Cap(sphere_radius_m, radiator.diameter_m / 2.0, float(gap_m))
        placed.append((cap, np.array([_side(radiator) * np.sqrt(1.0 - left**2 - up**2), left, up])))
    return placed


def _side(radiator: Radiator) -> float:
    """1 on the front half of a sphere, −1 on the back."""
    if radiator.face not in ("front", "back") or radiator.behind_m is not None:
        raise CaseError(
            "case.toml",
            f"{radiator.name} is on a sphere, which has a front half and a back half alone",
            "state its face as front or back, and its up_m and left_m",
            "unit.radiators",
        )
    return 1.0 if radiator.face == "front" else -1.0
