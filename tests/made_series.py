"""Series of levels whose orders are closed forms of a polynomial (`made_harmonics`), in a flat free field."""

from __future__ import annotations

import numpy as np
from made_harmonics import harmonic_amplitudes

from earwitness.records.distortion import LevelSeries
from earwitness.records.grid import derived_grid
from earwitness.records.takes import Drive, TakeId

GRID = derived_grid()
VOLTS = (1.0, 2.0, 4.0, 8.0, 16.0)
PA_PER_VOLT = 0.1


def series(
    coefficients: dict[int, float], noise_power: float = 0.0, seed: int | None = None, corner_hz: float = 0.0
) -> LevelSeries:
    """Orders of Σ a_k x^k of volts in a flat free field; below a corner x is an octave's fall stronger."""
    rng = np.random.default_rng(seed)
    pressure = np.zeros((len(VOLTS), 10, GRID.size), dtype=np.complex64)
    for row, volts in enumerate(VOLTS):
        told = harmonic_amplitudes(coefficients, volts * np.sqrt(2.0), 10)[1:] / np.sqrt(2.0)
        pressure[row] = PA_PER_VOLT * told[:, None]
        if corner_hz:
            pressure[row, 1:] *= np.maximum(corner_hz / GRID, 1e-3)
    if seed is not None:
        shape = (2, *pressure.shape)
        pressure += np.sqrt(0.5 * noise_power) * (rng.standard_normal(shape).T @ [1.0, 1j]).T
    orders = np.arange(1, 11)
    valid = np.broadcast_to(np.multiply.outer(orders, GRID) < 20_000.0, pressure.shape).copy()
    return LevelSeries(
        radiator=None,
        takes=tuple(TakeId(f"{v:g}V.wav") for v in VOLTS),
        drives=tuple(Drive(v) for v in VOLTS),
        frequency_hz=GRID,
        order=tuple(orders.tolist()),
        pressure=pressure,
        noise_power=np.full(pressure.shape, noise_power),
        valid=valid,
        free_field=valid[0],
    )
