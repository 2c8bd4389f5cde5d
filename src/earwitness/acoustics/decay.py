"""Cumulative decay: what is left of a response after a moment.

Source: common practice; how its window rises is defined here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating

Floats = npt.NDArray[np.floating]


def cumulative_spectra(
    response: npt.ArrayLike,
    sample_rate_hz: float,
    frequency_hz: npt.NDArray[np.float64],
    *,
    start_s: float,
    moments_s: Floats,
    rise_s: float,
) -> Floats:
    """|spectrum| of what is left of a response (n,) from each moment on, shape (K, F).

    The window rises as half a Hann window over `rise_s` before each moment, and stays 1. `start_s` is the
    time of the response's first sample.
    """
    x = np.asarray(response)
    time = start_s + np.arange(x.size) / sample_rate_hz
    rise = np.clip((time - moments_s[:, None]) / rise_s + 1.0, 0.0, 1.0)
    left = (x * np.sin(0.5 * np.pi * rise) ** 2).astype(np.float32)
    starts = np.full(moments_s.size, start_s)
    return np.abs(gating.spectra(left, sample_rate_hz, frequency_hz, starts)).astype(np.float64)
