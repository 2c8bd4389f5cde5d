"""The estimated in-room response's trend: tilt, its standard error, and what is left about the line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: Band of the line.
TREND_BAND_HZ: Final = (100.0, 16_000.0)
#: Band of the other reading.
NARROW_TREND_BAND_HZ: Final = (200.0, 10_000.0)

SOURCE: Final = Source("Earwitness", "", "least-squares line over log frequency", Standing.OWN)


@dataclass(frozen=True)
class Trend:
    """A straight line over log frequency.

    `tilt_db_per_octave` and `residual_rms_db` have shape (...), `line_db` and `residual_db` (..., F) over the
    band's points.
    """

    tilt_db_per_octave: Floats
    residual_rms_db: Floats
    line_db: Floats
    residual_db: Floats


def trend(frequency_hz: Floats, level_db: Floats) -> Trend:
    """Least squares of `level_db` (..., F) on log2 of the frequency, over all points given."""
    octave = np.log2(frequency_hz)
    centred = octave - octave.mean()
    tilt = level_db @ centred / (centred @ centred)
    line = level_db.mean(axis=-1, keepdims=True) + np.expand_dims(tilt, -1) * centred
    residual = level_db - line
    return Trend(np.asarray(tilt), np.sqrt(np.mean(residual**2, axis=-1)), line, residual)


def tilt_standard_error(frequency_hz: Floats, residual_db: Floats) -> float:
    """Standard error of the tilt, dB per octave, from a residual (F,) whose points aren't independent.

    The number of independent points is N/(1 + 2·Σρ), ρ the residual's autocorrelation up to its first zero.
    """
    octave = np.log2(frequency_hz)
    points = len(octave)
    spread = float(residual_db @ residual_db)
    if spread == 0.0:
        return 0.0
    correlation = np.correlate(residual_db, residual_db, mode="full")[points - 1 :] / spread
    negative = np.flatnonzero(correlation <= 0)
    until = int(negative[0]) if len(negative) else points
    independent = max(points / (1.0 + 2.0 * float(correlation[1:until].sum())), 3.0)
    variance = spread / points * independent / (independent - 2.0)
    return float(np.sqrt(variance / independent) / np.std(octave))
