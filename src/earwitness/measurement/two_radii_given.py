"""Pressures on surfaces that came as responses, with their phases, as AES69 files have them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from earwitness.measurement.given import RE_20_UPA
from earwitness.measurement.impulse_response import drive_of, drive_units
from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse
from earwitness.measurement.readers.signals import read_responses
from earwitness.records.errors import ReadError
from earwitness.records.grid import REFERENCE_PRESSURE_PA
from earwitness.records.takes import Take

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]


def given_pressures(
    raw: Path, takes: Sequence[Take], frequency_hz: Float64s, flight_s: Float64s
) -> tuple[Complex128s, tuple[float, float]]:
    """Pressures (P, F), Pa per unit of drive, and the band in which all of them are known.

    Between their own frequencies they are interpolated as complex numbers, with the flight `flight_s` (P,)
    of the direct sound taken off meanwhile. A room's sound needs frequencies a few hertz apart.

    Raises
    ------
    ReadError
        A file can't be read, or its responses have no phase.
    """
    responses = read_responses(raw, takes)
    pressure = np.empty((len(takes), frequency_hz.size), dtype=np.complex128)
    for row, (take, response) in enumerate(zip(takes, responses, strict=True)):
        known, values = _values(take, response)
        still = values * np.exp(2j * np.pi * known * flight_s[row])
        between = np.interp(frequency_hz, known, still.real) + 1j * np.interp(frequency_hz, known, still.imag)
        pressure[row] = between * np.exp(-2j * np.pi * frequency_hz * flight_s[row])
    low = max(float(response.frequency_hz[0]) for response in responses)
    high = min(float(response.frequency_hz[-1]) for response in responses)
    return pressure, (low, high)


def _values(take: Take, response: MeasuredResponse) -> tuple[Float64s, Complex128s]:
    """Frequencies and complex pressures of one response, per unit of drive."""
    if response.phase_deg is None:
        raise ReadError(
            take.path,
            "has no phase, and surfaces can't be told apart without",
            "export complex pressures, on one clock",
        )
    reference = REFERENCE_PRESSURE_PA if response.unit in RE_20_UPA else 1.0
    units = 1.0 if response.unit is LevelUnit.PASCAL_PER_DRIVE else drive_units(drive_of(take))
    known = np.isfinite(response.level_db)
    magnitude = reference / units * 10.0 ** (response.level_db[known] / 20.0)
    turn = np.exp(1j * np.deg2rad(response.phase_deg[known]))
    return response.frequency_hz[known], np.asarray(magnitude * turn, dtype=np.complex128)
