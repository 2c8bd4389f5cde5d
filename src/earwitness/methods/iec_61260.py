"""IEC 61260-1:2014: base-ten fractional-octave bands. Recalled; the table of edges is computed from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.smoothing import OCTAVE_RATIO
from earwitness.records.sources import Source, Standing

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Reference frequency, Hz (recalled).
REFERENCE_HZ: Final = 1000.0
#: Octaves about 1 kHz·2^step, from 31.5 Hz to 16 kHz.
OCTAVES: Final = tuple(range(-5, 5))
#: A band's level is told where so much of the band is valid (defined here).
HELD_PART: Final = 0.8

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


def inside(frequency_hz: npt.ArrayLike, steps: Sequence[int], fraction: int) -> Bools:
    """Which points of a grid (F,) lie in each band, shape (B, F)."""
    low, high = band_edges_hz(steps, fraction)
    f = np.asarray(frequency_hz)
    return np.asarray((f >= low[:, None]) & (f < high[:, None]))


def band_levels_db(
    power: npt.ArrayLike, valid: Bools, frequency_hz: npt.ArrayLike, steps: Sequence[int], fraction: int
) -> Float64s:
    """Mean levels of power (T, F) in bands, dB, shape (T, B); NaN where too little of a band is valid."""
    bands = inside(frequency_hz, steps, fraction).astype(np.float64)
    count = np.asarray(valid @ bands.T)
    total = np.where(valid, power, 0.0) @ bands.T
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 10.0 * np.log10(total / count)
    held = (count >= HELD_PART * bands.sum(axis=-1)) & (count > 0)
    return np.where(held & np.isfinite(level), level, np.nan)
