"""Responses that came as such: onto the grid, referred to one metre and one unit of drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.calibration import interpolate_level
from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse
from earwitness.records.grid import REFERENCE_PRESSURE_PA

Float64s = npt.NDArray[np.float64]

#: Between rows that lie further apart nothing is read.
WIDEST_GAP_OCTAVES: Final = 1.0 / 3.0
#: A phase that turns by more between neighbouring rows can't be followed.
FASTEST_TURN_DEG: Final = 150.0
#: Units of levels re 20 µPa.
RE_20_UPA: Final = frozenset({LevelUnit.DB, LevelUnit.SPL})


@dataclass(frozen=True)
class GivenResponse:
    """A given response on the grid: Pa per unit of drive at 1 m and its validity, each (F,)."""

    pressure: npt.NDArray[np.complex64]
    valid: npt.NDArray[np.bool_]
    has_phase: bool


def on_grid(
    response: MeasuredResponse, frequency_hz: Float64s, distance_m: float, drive_units: float
) -> GivenResponse:
    """Level interpolated over log f and phase over f; valid inside the rows' range, not across wide gaps.

    A level in plain dB is re 20 µPa at `distance_m` for the take's drive. Where a phase can be followed, its
    delay (the slope over the top octaves) is removed, as in every response. A row whose level is NaN isn't
    valid, nor is what lies between it and its neighbours.
    """
    level, valid = interpolate_level(response, frequency_hz)
    valid &= np.isfinite(level)
    rows = np.log2(response.frequency_hz)
    upper = np.clip(np.searchsorted(rows, np.log2(frequency_hz)), 1, rows.size - 1)
    valid &= np.diff(rows)[upper - 1] <= WIDEST_GAP_OCTAVES
    reference = REFERENCE_PRESSURE_PA if response.unit in RE_20_UPA else 1.0
    units = 1.0 if response.unit is LevelUnit.PASCAL_PER_DRIVE else drive_units
    magnitude = reference * 10.0 ** (level / 20.0) * distance_m / units
    phase = _phase_rad(response, frequency_hz)
    if phase is None:
        return GivenResponse(magnitude.astype(np.complex64), valid, has_phase=False)
    return GivenResponse((magnitude * np.exp(1j * phase)).astype(np.complex64), valid, has_phase=True)


def _phase_rad(response: MeasuredResponse, frequency_hz: Float64s) -> Float64s | None:
    """Unwrapped phase without its delay; None where there is none or it turns too fast to be followed."""
    if response.phase_deg is None:
        return None
    known = np.isfinite(response.level_db) & np.isfinite(response.phase_deg)
    f = response.frequency_hz[known]
    phase = np.unwrap(np.deg2rad(response.phase_deg[known]))
    if np.max(np.abs(np.diff(phase))) > np.deg2rad(FASTEST_TURN_DEG):
        return None
    if response.placed is not None and response.placed.without_delay:
        return np.asarray(np.interp(frequency_hz, f, phase))
    top = f >= f[-1] / 8.0
    slope = float(np.polyfit(f[top], phase[top], 1)[0]) if np.count_nonzero(top) > 2 else 0.0
    return np.asarray(np.interp(frequency_hz, f, phase - slope * f))
