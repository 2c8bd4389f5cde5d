"""IEC 61672-1:2013, clause 5.5 and annex E: the A and C weightings by their formulas (recalled).

The formulas' poles follow from f_r = 1000 Hz, f_L = 10^1.5 Hz, f_H = 10^3.9 Hz and f_A = 10^2.45 Hz.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.sources import Source, Standing

#: Frequencies of the formulas' poles f₁ to f₄, Hz (annex E, approximate values; recalled).
POLES_HZ: Final = (20.60, 107.7, 737.9, 12194.0)

SOURCE: Final = Source("IEC 61672-1", "2013", "annex E", Standing.RECALLED)


def a_weighting_db(frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """A-weighting in dB, 0 at 1 kHz; same shape as the frequencies, which are above 0.

    Worked number: −19.1 dB at 100 Hz.
    """
    return _a(np.asarray(frequency_hz, dtype=np.float64)) - _a(np.array(1000.0))


def c_weighting_db(frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """C-weighting in dB, 0 at 1 kHz; same shape as the frequencies, which are above 0."""
    return _c(np.asarray(frequency_hz, dtype=np.float64)) - _c(np.array(1000.0))


def _c(f: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    first, _, _, fourth = POLES_HZ
    return np.asarray(20.0 * np.log10(fourth**2 * f**2 / ((f**2 + first**2) * (f**2 + fourth**2))))


def _a(f: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    _, second, third, _ = POLES_HZ
    more = f**2 / np.sqrt((f**2 + second**2) * (f**2 + third**2))
    return np.asarray(_c(f) + 20.0 * np.log10(more))
