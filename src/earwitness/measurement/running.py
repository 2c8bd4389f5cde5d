"""Running means over log frequency."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]


def rms_over(values: Float64s, octaves: float, per_octave: int = POINTS_PER_OCTAVE) -> Float64s:
    """Root mean square over a running band of the grid, on the last axis; narrower at its ends."""
    half = round(octaves * per_octave / 2.0)
    running = np.concatenate(
        [np.zeros((*values.shape[:-1], 1)), np.cumsum(np.square(values, dtype=np.float64), axis=-1)], axis=-1
    )
    k = np.arange(values.shape[-1])
    last, first = np.minimum(k + half + 1, k.size), np.maximum(k - half, 0)
    return np.asarray(np.sqrt((running[..., last] - running[..., first]) / (last - first)))
