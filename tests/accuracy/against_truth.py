"""What the product made of recordings, against what is true: errors by region of the response."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from accuracy.bench import Measured, gate_limit_hz, local_snr_db

from earwitness.records.figures import FigureName, Quantity
from earwitness.records.responses import Origin
from earwitness.records.takes import Orbit
from earwitness.virtual import truth

Floats = npt.NDArray[np.floating]
Bools = npt.NDArray[np.bool_]

#: Above 3.3/T values are judged where signal to noise is at least this.
CLEAR_DB: Final = 40.0
#: A gated response holds within 0.3 dB from so many times 1/T.
FROM_GATES: Final = 2.0
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
    frequency = responses.frequency_hz
    true = np.empty(responses.pressure.shape)
    for row, take in enumerate(responses.takes):
        direction = take.key.direction
        assert direction is not None
        angles = np.array([direction.angle_deg])
        orbit = "horizontal" if direction.orbit is Orbit.HORIZONTAL else "vertical"
        true[row] = truth.turned_level_db(scenario, frequency, orbit, angles)[0]  # type: ignore[arg-type]
    level = 20.0 * np.log10(np.maximum(np.abs(responses.pressure), 1e-30) * 2.83 / 20e-6)
    clear = local_snr_db(measured.recorded, true, frequency, float(responses.gate_s.max())) >= CLEAR_DB
    return Errors(
        takes=tuple(take.path for take in responses.takes),
        frequency_hz=frequency,
        error_db=level - true,
        regions=_regions(measured, clear),
    )


def _regions(measured: Measured, clear: Bools) -> dict[Region, Bools]:
    """By origin; what lies between 2/T and 3.3/T without a near field counts whether it is given or not."""
    responses = measured.responses
    frequency, origin = responses.frequency_hz, responses.origin
    limit, low = gate_limit_hz(responses), gate_limit_hz(responses, FROM_GATES)
    gated = origin == Origin.GATED
    between = (frequency >= low) & (frequency < limit)
    return {
        Region.NEAR: (origin == Origin.NEAR_FIELD) & responses.valid,
        Region.OVERLAP: (origin == Origin.BLENDED) & responses.valid,
        Region.LOW: ((origin == Origin.GATED) | (origin == Origin.NOTHING)) & between & clear,
        Region.GATED: gated & responses.valid & clear & (frequency >= limit),
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
