"""How sure levels are that rest on near microphones which heard several radiators, or on ones not heard."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import leakage
from earwitness.measurement.near_field import NearField

Float64s = npt.NDArray[np.float64]

#: Distances between radiators, as they follow from what is stated, may be off by this (defined here): a cone
#: sounds from a little before or behind the baffle, a port's mouth is rounded.
PLACE_M: Final = 0.005
#: Radiators that are stated to be the same may differ by this (common practice: drivers of one make are
#: matched to about this).
UNLIKE_DB: Final = 1.0


def half_width_db(near: NearField, heard: leakage.Heard, apart_m: Float64s) -> Float64s:
    """How far levels at D microphones may be off, dB (D, F): half-width of a rectangular distribution.

    A transfer from a radiator to another's microphone goes as one over their distance, `apart_m` (M, K), so
    its relative error is that of the distance. 0 where one radiator is all there is.
    """
    own = np.arange(heard.near.shape[0])[:, None] == np.arange(heard.near.shape[1])
    leak = np.where(own, 0.0, PLACE_M / np.where(own, 1.0, apart_m))
    unlike = 10.0 ** (UNLIKE_DB / 20.0) - 1.0
    count = heard.near.shape[-1]
    return leakage.half_width_db(heard, near.pressure[:, :count], leak, unlike)
