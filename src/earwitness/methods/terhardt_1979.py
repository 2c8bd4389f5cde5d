"""Terhardt, Hearing Research 1 (1979) 155: the threshold of hearing in quiet, as a formula. Recalled.

It lies within 5.2 dB of the threshold of ISO 389-7 (free field, recalled) from 20 Hz to 4 kHz, and 8 dB below
it at 8 kHz.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.sources import Source, Standing

SOURCE: Final = Source("Terhardt, Hearing Research 1", "1979", "p. 155", Standing.RECALLED)


def threshold_db(frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Level of a tone that is just heard in quiet, dB SPL. Worked number: 3.37 dB at 1 kHz."""
    kilohertz = np.asarray(frequency_hz, dtype=np.float64) / 1000.0
    dip = 6.5 * np.exp(-0.6 * (kilohertz - 3.3) ** 2)
    return np.asarray(3.64 * kilohertz**-0.8 - dip + 1e-3 * kilohertz**4)
