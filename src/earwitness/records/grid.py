"""The one frequency grid of everything that is derived: 1000·2^(k/96) Hz from 20 Hz to 20 kHz."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

POINTS_PER_OCTAVE: Final = 96
REFERENCE_PRESSURE_PA: Final = 20e-6
REFERENCE_DISTANCE_M: Final = 1.0

Floats = npt.NDArray[np.floating]
Complexes = npt.NDArray[np.complexfloating]
Bytes = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]


def derived_grid() -> npt.NDArray[np.float64]:
    """The grid in Hz, shape (956,): k = -541 … 414 of 1000·2^(k/96)."""
    first = int(np.ceil(POINTS_PER_OCTAVE * np.log2(20.0 / 1000.0)))
    last = int(np.floor(POINTS_PER_OCTAVE * np.log2(20_000.0 / 1000.0)))
    return np.asarray(1000.0 * 2.0 ** (np.arange(first, last + 1) / POINTS_PER_OCTAVE), dtype=np.float64)
