"""The gate's uncertainty of responses that still ring at its end, against their closed form."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.measurement.calibration import Calibration
from earwitness.measurement.gated import Gate, Gated, gate_takes
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.setting import Setting
from earwitness.records.grid import derived_grid

GRID = derived_grid()
SETTING = Setting(GRID, 343.2, Calibration(1.0, None, None, ()))
RATE = 48_000.0
GATE_S = 3e-3
ARRIVAL_S = 0.1


def response(rings_hz: float, q: float, height: float) -> tuple[ImpulseResponse, npt.NDArray[np.float64]]:
    """An impulse, and a resonance that adds `height` to it at its frequency; and its true level, dB (F,)."""
    pole = np.pi * rings_hz / q * (-1.0 + 1j * np.sqrt(4.0 * q**2 - 1.0))
    amplitude = -2.0 * height * pole.real
    time = np.arange(round(0.2 * RATE)) / RATE - ARRIVAL_S
    samples = np.where(time > -1e-9, amplitude * np.real(np.exp(pole * np.maximum(time, 0.0))) / RATE, 0.0)
    arrival = round(ARRIVAL_S * RATE)
    samples[arrival] = 1.0 + 0.5 * amplitude / RATE
    s = 2j * np.pi * GRID
    true = 1.0 + 0.5 * amplitude * (1.0 / (s - pole) + 1.0 / (s - pole.conjugate()))
    kept = ImpulseResponse(samples.astype(np.float32), RATE, 0.0, np.zeros(0, np.float32), (20.0, 22_000.0))
    return kept, 20.0 * np.log10(np.abs(true))


def gated(kept: ImpulseResponse, cycles: float | None = None) -> Gated:
    gate = Gate(GATE_S, (), cycles)
    return gate_takes([kept], np.array([ARRIVAL_S]), np.ones(1), gate, SETTING)


@pytest.mark.parametrize(("rings_hz", "cycles"), [(850.0, None), (1_500.0, 2.0)])
def test_a_resonance_that_outlasts_the_gate_is_in_its_uncertainty(
    rings_hz: float, cycles: float | None
) -> None:
    """Also where the gate is of two cycles: 1.3 ms at 1.5 kHz."""
    kept, true_db = response(rings_hz, 25.0, 1.0)
    found = gated(kept, cycles)
    about = np.abs(np.log2(GRID / rings_hz)) < 0.5
    error = 20.0 * np.log10(np.abs(found.pressure[0, about])) - true_db[about]
    # the resonance is 6 dB high, and falls to 1/e in 9 ms and in 5
    assert np.abs(error).max() > 3.0
    assert 0.8 < np.sqrt(np.mean((error / found.gate_db[0, about]) ** 2)) < 1.2


def test_a_resonance_that_is_over_is_not() -> None:
    kept, true_db = response(1_000.0, 1.5, 1.0)
    found = gated(kept)
    about = (GRID > 2.0 / GATE_S) & (GRID < 4.0 / GATE_S)
    error = 20.0 * np.log10(np.abs(found.pressure[0, about])) - true_db[about]
    assert np.abs(error).max() < 0.3
    assert found.gate_db[0, about].max() < 0.5
