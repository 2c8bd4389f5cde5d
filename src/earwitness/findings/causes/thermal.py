"""A voice coil warms, its resistance grows by ΔR, and where the impedance Z is low it plays less.

Prediction: 20 lg|Z/(Z + ΔR)| in the driver's own band, one ΔR a driver; it vanishes at peaks of the
impedance. That is Ohm's law for a driver with nothing across it behind what is in series; at a crossover,
where two share the terminals, it is an approximation. In a rising sweep the coil warms and cools on the way:
then ΔR follows the power in the coil, as 1/|Z|², through a lag of the coil's time constant, here so many
octaves. With the drive the loss in decibels grows as its square, a little less where much is lost (worked out
here; heat after Button, JAES 40 (1/2), 1992, recalled).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.stretch import EVERY, Stretch
from earwitness.records.causes import Cause
from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]

CAUSE: Final = Cause.THERMAL
#: Losses that are tried, where the impedance is least, dB: copper 250 K warmer has twice its resistance.
LOSSES_DB: Final = np.geomspace(0.15, 6.0, 14)
#: Lags of the coil behind a sweep that are tried, octaves; a coil that stays as warm as it was lags for ever.
LAGS_OCTAVES: Final = (0.5, 1.5, 4.0)
#: By which power of the drive the loss in decibels grows.
POWERS: Final = (1.6, 1.8, 2.0, 2.2)


def added_ohms(stretch: Stretch) -> Float64s:
    """How ΔR goes over the band, re its greatest, by lag: (1 + lags, K)."""
    assert stretch.ohms is not None
    power = 1.0 / np.abs(stretch.ohms) ** 2
    step = EVERY / POINTS_PER_OCTAVE
    back = stretch.octaves[:, None] - stretch.octaves[None]
    found = [np.ones(power.size)]
    for lag in LAGS_OCTAVES:
        kernel = np.where(back >= 0.0, np.exp(-np.maximum(back, 0.0) / lag), 0.0)
        kernel *= 1.0 - np.exp(-step / lag)
        # before the stretch the power is taken to be that of its first point
        rest = power[0] * np.exp(-(stretch.octaves - stretch.octaves[0] + step) / lag)
        course = kernel @ power + rest
        found.append(course / course.max())
    return np.stack(found)


def losses(stretch: Stretch) -> tuple[Float64s, Float64s, Float64s]:
    """Changes that a warm coil makes, dB (N, K), the ΔR of each, Ω (N,), and how many were chosen (N,).

    Where the impedance isn't known, it is taken to be the same all over the band, and no ΔR is told.
    """
    if stretch.ohms is None:
        bands, ends = stretch.bands()
        held = np.multiply.outer(-LOSSES_DB, bands).reshape(-1, stretch.octaves.size)
        return held, np.full(held.shape[0], np.nan), np.tile(1.0 + ends, LOSSES_DB.size)
    least = float(np.abs(stretch.ohms[stretch.inside]).min())
    ohms = least * (10.0 ** (LOSSES_DB / 20.0) - 1.0)
    ohms = ohms[: max(int(np.searchsorted(ohms, stretch.most_ohm)), 1)]
    course = added_ohms(stretch)
    bands, ends = stretch.bands()
    added = ohms[:, None, None] * course[None]
    whole = 20.0 * np.log10(np.abs(stretch.ohms / (stretch.ohms + added)))
    found = whole[:, :, None, :] * bands[None, None]
    chosen = 1.0 + (np.arange(course.shape[0]) > 0)[None, :, None] + ends[None, None, :]
    shape = found.shape[:3]
    return (
        found.reshape(-1, found.shape[-1]),
        np.broadcast_to(ohms[:, None, None], shape).ravel(),
        np.broadcast_to(chosen, shape).ravel(),
    )


def courses(stretch: Stretch) -> Float64s:
    """How the loss grows with the drive, re that at the highest, (P, D)."""
    below = (stretch.gain_db - stretch.gain_db[-1]) / 20.0
    found = 10.0 ** (np.array(POWERS)[:, None] * below[None])
    return np.asarray((found - found[:, :1]) / (1.0 - found[:, :1]))
