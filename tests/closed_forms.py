"""Sources in closed form, and `Responses` made of them: no part of the program has a hand in their values."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from earwitness.records.grid import Bools, Floats, derived_grid
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

GRID = derived_grid()
SOUND_SPEED = 343.2

#: Mean square pressure re 1 from unit direction vectors (D, 3) and frequencies (F,), shape (D, F).
Pattern = Callable[[Floats, Floats], Floats]


def orbits(step: int = 10) -> tuple[Direction, ...]:
    """Both orbits in full, 0 and 180 on both of them: 72 directions at steps of 10°."""
    angles = range(-180 + step, 181, step)
    return tuple(Direction(orbit, float(a)) for orbit in Orbit for a in angles)


def unit_vectors(directions: tuple[Direction, ...]) -> Floats:
    """Unit vectors (D, 3), x forward, y left, z up."""
    angle = np.deg2rad([d.angle_deg for d in directions])
    flat = np.array([d.orbit is Orbit.HORIZONTAL for d in directions])
    return np.stack((np.cos(angle), np.sin(angle) * flat, np.sin(angle) * ~flat), axis=-1)


def _steady(of_direction: Callable[[Floats], Floats]) -> Pattern:
    def pattern(n: Floats, frequency_hz: Floats) -> Floats:
        return np.broadcast_to(of_direction(n)[:, None], (len(n), len(frequency_hz)))

    return pattern


omni: Pattern = _steady(lambda n: np.ones(len(n)))
cardioid: Pattern = _steady(lambda n: ((1 + n[:, 0]) / 2) ** 2)
dipole: Pattern = _steady(lambda n: n[:, 0] ** 2)
cardioid_up15: Pattern = _steady(
    lambda n: ((1 + n[:, 0] * np.cos(np.pi / 12) + n[:, 2] * np.sin(np.pi / 12)) / 2) ** 2
)


def cap(ka: float, half_angle_deg: float = 20.0) -> Pattern:
    """A cap on a rigid sphere in the far field, normalised on axis (Morse & Ingard, 7.2: recalled)."""
    x = np.cos(np.deg2rad(half_angle_deg))

    def pressure(cosine: Floats) -> Floats:
        total = np.zeros(len(cosine), dtype=complex)
        for n in range(int(ka) + 30):
            u = (1 - x) / 2 if n == 0 else (eval_legendre(n - 1, x) - eval_legendre(n + 1, x)) / 2
            h = spherical_jn(n, ka, derivative=True) + 1j * spherical_yn(n, ka, derivative=True)
            total += (-1j) ** n * u / h * eval_legendre(n, cosine)
        return np.asarray(np.abs(total) ** 2)

    return _steady(lambda n: pressure(n[:, 0]) / pressure(np.ones(1)))


def pair(spacing_m: float, axis: int) -> Pattern:
    """Two equal sources in phase, apart along y (axis 1) or z (axis 2)."""

    def pattern(n: Floats, frequency_hz: Floats) -> Floats:
        phase = np.pi * spacing_m * frequency_hz / SOUND_SPEED
        return np.asarray(np.cos(n[:, axis, None] * phase) ** 2)

    return pattern


def responses(
    pattern: Pattern,
    directions: tuple[Direction, ...] | None = None,
    *,
    on_axis_db: Floats | float = 86.0,
    valid_from_hz: float = 20.0,
    components: dict[ComponentName, float] | None = None,
    drive: Drive | None = None,
    gate_s: float = 0.005,
) -> Responses:
    """`Responses` of a pattern whose level is `on_axis_db` at 2.83 V and 1 m on axis."""
    directions = orbits() if directions is None else directions
    drive = drive or Drive(2.83, "V")
    unit = 2.83 if drive.unit == "V" else 10.0 ** (drive.value / 20.0)
    takes = tuple(
        Take(f"{d.orbit}_{d.angle_deg:+04.0f}.wav", TakeKey(TakeKind.SWEEP, d, drive)) for d in directions
    )
    scale = 20e-6 * 10.0 ** (np.broadcast_to(on_axis_db, GRID.shape) / 20.0) / unit
    pressure = (np.sqrt(pattern(unit_vectors(directions), GRID)) * scale).astype(np.complex64)
    shape = pressure.shape
    valid: Bools = np.broadcast_to(valid_from_hz <= GRID, shape).copy()
    count = len(takes)
    return Responses(
        takes=takes,
        frequency_hz=GRID,
        pressure=pressure,
        valid=valid,
        origin=np.where(valid, Origin.GATED, Origin.NOTHING).astype(np.uint8),
        has_phase=np.ones(count, dtype=np.bool_),
        seen_angle_deg=np.array([d.angle_deg for d in directions]),
        components={name: np.full(shape, value) for name, value in (components or {}).items()},
        impulse_response=np.zeros((count, 16), dtype=np.float32),
        sample_rate_hz=np.full(count, 48_000.0),
        gate_s=np.full(count, gate_s),
        lead_s=0.001,
        near_field_takes=((),) * count,
        valid_from_hz=valid_from_hz,
    )
