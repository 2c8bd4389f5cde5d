"""What figures of distortion and output are unsure by.

Errors that all takes share (the microphone's, the gate's, the splice's, the level's, those of the air) act on
a level at its own frequency: order n of f is wrong as the response is at n·f, its fundamental as that at f.
So an error of the level alone leaves distortion as it is, and the change of level is free of all of them.
Noise is each recording's own; between two drives that were measured another monotone curve through the same
points tells what isn't known. Components are uncorrelated (JCGM 100, 5.1.2; recalled).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.acoustics.harmonics import FUNDAMENTAL_S
from earwitness.derive.distortion import HIGHEST_HZ
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.distortion import LevelSeries
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.uncertainty import SHARING, ComponentName

#: Draws (N, F) of the error of the response on axis by component, dB; None where nobody stated it.
Draws = Mapping[ComponentName, Floats | None]
Components = dict[ComponentName, float | None]

NO_DRAWS: Final[Draws] = {}
#: Components of the free field alone.
_OF_THE_FREE_FIELD: Final = (ComponentName.GATE, ComponentName.SPLICE, ComponentName.SEPARATION)


def shared(draws: Draws) -> Draws:
    """The components that act on all takes alike."""
    return {name: found for name, found in draws.items() if SHARING[name].over_takes}


def distortion_errors_db(
    series: LevelSeries, row: int, draws: Draws
) -> Mapping[ComponentName, Floats | None]:
    """Errors of the total distortion at one drive by component, dB, (N, F)."""
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    power = np.abs(series.pressure[row]).astype(np.float64) ** 2
    orders = np.array(series.order)
    used = series.valid[row] & (np.multiply.outer(orders, f) <= HIGHEST_HZ) & (orders > 1)[:, None]
    power = np.where(used, np.maximum(power - np.nan_to_num(series.noise_power[row]), 0.0), 0.0)
    total = power.sum(axis=0)
    share = power / np.where(total > 0.0, total, 1.0)
    found: dict[ComponentName, Floats | None] = {}
    for name, error in draws.items():
        if error is None:
            found[name] = None
            continue
        carried = series.free_field if name in _OF_THE_FREE_FIELD else np.ones(used.shape, dtype=np.bool_)
        own = -np.where(carried[0], error, 0.0)
        for order, part, free in zip(series.order, share, carried, strict=True):
            if part.any():
                own += part * np.where(free, _raised(error, order), 0.0)
        found[name] = own
    return found


def band_errors_db(draws: Draws, inside: Bools) -> Mapping[ComponentName, Floats | None]:
    """Errors of the mean level over the points `inside` (F,), dB, (N,)."""
    return {
        name: None if error is None else np.asarray(error[:, inside].mean(axis=1))
        for name, error in draws.items()
    }


def in_sensitivity_band(frequency_hz: Floats) -> Bools:
    """Points of the mean level at which figures are stated, (F,)."""
    low, high = SENSITIVITY_BAND_HZ
    return np.asarray((frequency_hz >= low) & (frequency_hz <= high))


def mean_noise_db(series: LevelSeries, row: int, inside: Bools) -> float | None:
    """Standard uncertainty of the fundamental's mean level over points `inside`, by noise, dB.

    The window begins where the response arrives: in phase with it, noise is alike over half the reciprocal of
    the window's length.
    """
    f = np.asarray(series.frequency_hz, dtype=np.float64)[inside]
    power = np.abs(series.pressure[row, 0, inside]).astype(np.float64) ** 2
    added = np.asarray(series.noise_power[row, 0, inside], dtype=np.float64)
    if not np.isfinite(added).all() or not power.sum() > 0.0:
        return None
    alike = np.maximum(1.0, POINTS_PER_OCTAVE * np.log2(1.0 + 0.5 / (FUNDAMENTAL_S * f)))
    variance = np.sum((2.0 * power * added + added**2) * np.minimum(alike, f.size))
    return float(10.0 / np.log(10.0) * np.sqrt(variance) / power.sum())


def deviation(error: Floats | None) -> float | None:
    """Standard deviation of draws (N,); None where not stated."""
    return None if error is None else float(np.std(error, ddof=1))


def _raised(error: Floats, order: int) -> Floats:
    """Draws (N, F) at n times each frequency of the grid, to the nearest point; the last one beyond it."""
    steps = round(POINTS_PER_OCTAVE * np.log2(order))
    places = np.minimum(np.arange(error.shape[1]) + steps, error.shape[1] - 1)
    return np.asarray(error[:, places])
