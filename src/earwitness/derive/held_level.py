"""A series of drives in third octaves, for what holds its level down (`acoustics.held_level`)."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise
from earwitness.acoustics.harmonics import COVERAGE_FACTOR
from earwitness.acoustics.held_level import Losses
from earwitness.derive.distortion import HIGHEST_HZ, drives_db
from earwitness.derive.distortion_spread import mean_noise_db
from earwitness.methods.iec_61260 import band_edges_hz, mid_frequency_hz
from earwitness.records.distortion import LevelSeries
from earwitness.records.grid import Floats

#: Third octaves from 315 Hz, above what a driver's motion takes, to 12.5 kHz, by their number from 1 kHz.
BANDS: Final = tuple(range(-5, 12))
ORDER: Final = 3


def losses_of(series: LevelSeries) -> tuple[Floats, Losses] | None:
    """Middles of the bands that are valid at every drive (B,), and what the series has there.

    None where they are fewer than one, or part of the band between them isn't valid.
    """
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    low, high = band_edges_hz(BANDS, 3)
    inside = (f >= low[:, None]) & (f < high[:, None])
    heard = series.valid[:, 0] & (np.abs(series.pressure[:, 0]) > 0.0)
    whole = inside.any(axis=1) & (heard.all(axis=0) | ~inside).all(axis=1)
    told = np.flatnonzero(whole)
    if not told.size or told.size != told[-1] - told[0] + 1:
        return None
    inside, middle = inside[told], mid_frequency_hz(BANDS, 3)[told]
    power = np.abs(series.pressure[:, 0]).astype(np.float64) ** 2
    level = 10.0 * np.log10((power @ inside.T) / inside.sum(axis=1))
    gain = drives_db(series)
    spread = np.array(
        [[_or_none(mean_noise_db(series, row, band)) for band in inside] for row in range(gain.size)]
    )
    third, bound = _third(series, inside)
    change = level - level[:1] - gain[:, None]
    plain = [np.asarray(one, dtype=np.float64) for one in (gain, change, spread, third)]
    return middle, Losses(plain[0][1:], plain[1][1:], plain[2][1:], plain[2][0], plain[3], bound)


def _or_none(spread_db: float | None) -> float:
    """An uncertainty that isn't known stands for one that tells nothing, 3 dB."""
    return 3.0 if spread_db is None else spread_db


def _third(series: LevelSeries, inside: npt.NDArray[np.bool_]) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The third harmonic at the highest drive re the fundamental, as it went into the loudspeaker, (B,).

    Both are divided by the linear response at their own frequencies, the fundamental at the lowest drive.
    """
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    bands = inside.shape[0]
    if ORDER not in series.order:
        return np.full(bands, np.nan), np.zeros(bands, dtype=np.bool_)
    column = series.order.index(ORDER)
    linear = np.abs(series.pressure[0, 0]).astype(np.float64)
    known = series.valid[0, 0] & (linear > 0.0) & series.valid[-1, column] & series.valid[-1, 0]
    known &= (ORDER * f <= HIGHEST_HZ) & (ORDER * f <= f[-1])
    log = np.log(np.where(linear > 0.0, linear, 1.0))
    carried = np.exp(2.0 * (log - np.interp(np.log(ORDER * f), np.log(f), log)))
    found = np.abs(series.pressure[-1, column]).astype(np.float64) ** 2 * carried
    added = np.where(known, series.noise_power[-1, column], 0.0) * carried
    whole = np.abs(series.pressure[-1, 0]).astype(np.float64) ** 2
    used = inside & known & np.isfinite(added)
    found, added, whole = ((np.where(used, one, 0.0)).sum(axis=1) for one in (found, added, whole))
    told = (used.sum(axis=1) == inside.sum(axis=1)) & (whole > 0.0)
    hidden = noise.hides(found, added)
    below = (np.sqrt(found) + COVERAGE_FACTOR * np.sqrt(0.5 * added)) ** 2
    power = np.where(hidden, below, np.maximum(found - added, 0.0))
    ratio = np.sqrt(power / np.where(told, whole, 1.0))
    return np.where(told, ratio, np.nan), np.asarray(told & hidden)
