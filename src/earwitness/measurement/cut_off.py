"""What the gate cuts off the response towards the bass: the second of the two ways to its uncertainty.

The first is to gate again, shorter (`gated`). This one takes a roll-off without features, as the near field
shows it or as loudspeakers have it, and gates that.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating, roll_off
from earwitness.measurement.running import rms_over

Float64s = npt.NDArray[np.float64]

#: The roll-off is fitted from the lowest valid frequency to here, over at least so much.
FIT_TO_HZ: Final = 300.0
LEAST_OCTAVES: Final = 1.5
#: Points to the octave of the grid at which the error is worked out, and how far above the gate's limit:
#: further up it is below 0.01 dB.
PER_OCTAVE: Final = 24
REACH_OCTAVES: Final = 2.0
BAND_OCTAVES: Final = 1.0 / 3.0


def fitted_roll_off(frequency_hz: Float64s, level_db: Float64s) -> roll_off.RollOff | None:
    """The roll-off of a response (F,) that reaches below the gate; None where it shows none."""
    low = frequency_hz <= FIT_TO_HZ
    hz = frequency_hz[low][::4]
    if hz.size < 2 or np.log2(hz[-1] / hz[0]) < LEAST_OCTAVES:
        return None
    return roll_off.fitted(hz, level_db[low][::4])


def cut_off_db(frequency_hz: Float64s, gate_s: float, model: roll_off.RollOff | None) -> Float64s:
    """Standard uncertainty because a gate ends before the bass does, dB, shape (F,); 0 below its limit.

    What the gate does to the fitted roll-off, root mean square over a third of an octave. Where none was
    fitted the greatest error over the usual ones is the half-width of a rectangular distribution: over √3
    (JCGM 100:2008, 4.3.7, recalled).
    """
    limit = float(gating.valid_from_hz(gate_s))
    span = 2.0 ** (np.arange(-4, int(REACH_OCTAVES * PER_OCTAVE) + 1) / PER_OCTAVE)
    coarse = limit * span
    if model is None:
        error = roll_off.greatest_gating_error_db(coarse, gate_s, limit) / np.sqrt(3.0)
    else:
        error = roll_off.gating_error_db(model, coarse, gate_s)
        error = rms_over(error, BAND_OCTAVES, PER_OCTAVE)
    above = frequency_hz >= limit
    found = np.zeros(frequency_hz.size)
    found[above] = np.interp(np.log(frequency_hz[above]), np.log(coarse), error, right=0.0)
    return found
