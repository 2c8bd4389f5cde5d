"""IEC 60268-5 (loudspeakers): sensitivity as the mean level over a band, referred to a voltage and 1 m.

Clauses 20.3 and 20.4 (characteristic sensitivity) define the level of noise in a stated band; ANSI/CTA-2034-A
fixes the band 300 Hz to 3 kHz and 2.83 V. Both are recalled. 2.83 V is 1 W into 8 Ω (+0.005 dB); the
characteristic sensitivity for 1 W into another rated impedance is another figure.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np

from earwitness.acoustics.decibels import power_of
from earwitness.acoustics.smoothing import band_mean_weights
from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: Band of the mean, as ANSI/CTA-2034-A has it (recalled).
SENSITIVITY_BAND_HZ: Final = (300.0, 3000.0)
#: Voltage at the terminals to which levels are referred (recalled).
REFERENCE_VOLTAGE_V: Final = 2.83
#: Distance to which levels are referred (recalled).
REFERENCE_DISTANCE_M: Final = 1.0
#: Clause 16: the least impedance in the rated range, re the rated one (recalled).
LEAST_PART_OF_RATED: Final = 0.8

IMPEDANCE_SOURCE: Final = Source("IEC 60268-5", "", "16", Standing.RECALLED)
SOURCE: Final = Source("IEC 60268-5", "", "20.3, 20.4 (band of ANSI/CTA-2034-A)", Standing.RECALLED)


def mean_level_db(
    frequency_hz: Floats,
    level_db: Floats,
    band_hz: tuple[float, float] = SENSITIVITY_BAND_HZ,
    on: Literal["power", "level"] = "power",
) -> Floats:
    """Mean level in dB over log frequency in a band; `level_db` has shape (..., F).

    On ``power`` it is 10·lg of the mean of 10^(L/10): the level of noise with equal power in each octave. On
    ``level`` it is the mean of the decibels, lower by about 0.115 σ² dB for a spread of σ dB. Worked number:
    86 dB + 3·sin(2π·lg(f/300 Hz)) from 300 Hz to 3 kHz: 86.5034 dB on power, 86.0000 dB on level.
    """
    weights = band_mean_weights(frequency_hz, band_hz)
    inside = weights > 0
    if on == "level":
        return np.asarray(level_db[..., inside] @ weights[inside])
    return np.asarray(10.0 * np.log10(power_of(level_db[..., inside]) @ weights[inside]))
