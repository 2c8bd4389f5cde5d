"""What the product made of recordings, against what is true: errors by region of the response."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from accuracy.bench import Measured, local_snr_db

from earwitness.records.figures import FigureName, Quantity
from earwitness.records.responses import Origin
from earwitness.records.takes import Direction, Orbit, Take
from earwitness.virtual import truth, turntable

Floats = npt.NDArray[np.floating]
Bools = npt.NDArray[np.bool_]

#: Above 3.3/T values are judged where signal to noise is at least this.
CLEAR_DB: Final = 40.0
#: A gated response holds within 0.1 dB, and within 0.3 dB, from so many times 1/T (computed on featureless
#: roll-offs).
TENTH_FROM_GATES, THIRD_FROM_GATES = 3.3, 2.0
#: Errors are looked at at every fourth point of the grid, 1/24 octave apart: finer than a gate resolves.
STEP: Final = 4
FALLS_DB: Final = {FigureName.F3: 3.0, FigureName.F6: 6.0, FigureName.F10: 10.0}


class Region(StrEnum):
    """Where a value comes from, as limits are stated for it."""

    NEAR = "near field"
    OVERLAP = "overlap"
    LOW = "gated, from 2/T"
    GATED = "gated, from 3.3/T"


@dataclass(frozen=True)
class Errors:
    """Reduced less true level of R takes, dB (R, F), and the region of each value (R, F) by mask."""

    takes: tuple[str, ...]
    frequency_hz: Floats
    error_db: Floats
    regions: Mapping[Region, Bools]

    def largest_db(self, region: Region, rows: slice = slice(None)) -> float:
        """The largest error of a region in magnitude; NaN where it has no value."""
        chosen = np.abs(self.error_db[rows][self.regions[region][rows]])
        return float(chosen.max()) if chosen.size else np.nan

    def count(self, region: Region) -> int:
        """How many values a region has."""
        return int(self.regions[region].sum())


def errors(measured: Measured) -> Errors:
    """Errors of all directions at the turntable's stated angles."""
    responses, scenario = measured.responses, measured.recorded.made.scenario
    some = slice(None, None, STEP)
    frequency, pressure = responses.frequency_hz[some], responses.pressure[:, some]
    true = np.empty(pressure.shape)
    for orbit in Orbit:
        rows = [i for i, take in enumerate(responses.takes) if _direction(take).orbit is orbit]
        angles = np.array([_direction(responses.takes[i]).angle_deg for i in rows])
        kind: turntable.Orbit = "horizontal" if orbit is Orbit.HORIZONTAL else "vertical"
        if rows:
            true[rows] = truth.turned_level_db(scenario, frequency, kind, angles)
    clear = local_snr_db(measured.recorded, true, frequency, float(responses.gate_s.max())) >= CLEAR_DB
    return Errors(
        takes=tuple(take.path for take in responses.takes),
        frequency_hz=frequency,
        error_db=20.0 * np.log10(np.abs(pressure) * 2.83 / 20e-6) - true,
        regions=_regions(measured, some, clear),
    )


def _direction(take: Take) -> Direction:
    direction = take.key.direction
    assert direction is not None
    return direction


def _regions(measured: Measured, some: slice, clear: Bools) -> dict[Region, Bools]:
    """By origin; of what passed the gate, by how many times 1/T the frequency is."""
    responses = measured.responses
    valid, origin = responses.valid[:, some], responses.origin[:, some]
    gates = responses.frequency_hz[some] * float(responses.gate_s.max())
    gated = (origin == Origin.GATED) & valid & clear
    return {
        Region.NEAR: (origin == Origin.NEAR_FIELD) & valid,
        Region.OVERLAP: (origin == Origin.BLENDED) & valid,
        Region.LOW: gated & (gates >= THIRD_FROM_GATES) & (gates < TENTH_FROM_GATES),
        Region.GATED: gated & (gates >= TENTH_FROM_GATES),
    }


def corner_errors(measured: Measured) -> dict[FigureName, float]:
    """F3, F6 and F10 re their true values, as a share; NaN where there is no figure."""
    scenario = measured.recorded.made.scenario
    found = {figure.name: figure.value for figure in measured.derivation.figures}
    shares = {}
    for name, fall_db in FALLS_DB.items():
        value = found[name]
        share = np.nan
        if isinstance(value, Quantity):
            share = value.value / truth.corner_hz(scenario, fall_db) - 1.0
        shares[name] = share
    return shares
