"""IEC 61260-1:2014: base-ten fractional-octave bands. Recalled; the table of edges is computed from it."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.smoothing import OCTAVE_RATIO
from earwitness.records.sources import Source, Standing

#: Reference frequency, Hz (recalled).
REFERENCE_HZ: Final = 1000.0

SOURCE: Final = Source("IEC 61260-1", "2014", "5", Standing.RECALLED)


def mid_frequency_hz(index: npt.ArrayLike, fraction: int) -> npt.NDArray[np.float64]:
    """Exact mid-band frequency of band `index` of 1/`fraction` octave.

    1000·G^(x/b) Hz for odd b, 1000·G^((2x+1)/2b) Hz for even b, G = 10^0.3.
    """
    x = np.asarray(index, dtype=np.float64)
    exponent = x / fraction if fraction % 2 else (2 * x + 1) / (2 * fraction)
    return np.asarray(REFERENCE_HZ * OCTAVE_RATIO**exponent)


def band_edges_hz(
    index: npt.ArrayLike, fraction: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Lower and upper edge of band `index` of 1/`fraction` octave: the mid frequency times G^(∓1/2b).

    Worked number: third-octave band 0 reaches from 891.2509 Hz to 1122.0185 Hz.
    """
    middle = mid_frequency_hz(index, fraction)
    half = OCTAVE_RATIO ** (1.0 / (2 * fraction))
    return np.asarray(middle / half), np.asarray(middle * half)
