"""Levels and signal to noise of reduced responses in bands, and what they say of takes among others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.noise import LEAST_SNR_DB
from earwitness.methods.iec_61260 import (
    HELD_PART,
    OCTAVES,
    band_edges_hz,
    band_levels_db,
    inside,
    mid_frequency_hz,
)
from earwitness.records.responses import Responses
from earwitness.records.takes import Orbit
from earwitness.records.uncertainty import ComponentName

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Takes side by side have alike phases here; every so many points of the grid tell enough.
POLARITY_HZ: Final = (200.0, 1_000.0)
POLARITY_STEP: Final = 8
#: Takes less alike than this (cosine of the angle between them), or less against each other, tell nothing.
ALIKE: Final = 0.5
#: Neighbours on an orbit lie no further apart.
BESIDE_DEG: Final = 15.0
#: Noise's standard uncertainty in dB times 10^(SNR/20): 20/ln 10·√½ (`acoustics.noise`).
NOISE_FACTOR_DB: Final = 20.0 / float(np.log(10.0)) * float(np.sqrt(0.5))


def octave_middles_hz() -> Float64s:
    """Exact mid-band frequencies of `OCTAVES`, shape (B,)."""
    return mid_frequency_hz(OCTAVES, 1)


def octave_levels_db(responses: Responses) -> Float64s:
    """Levels of all takes in octaves, dB re 1 Pa per unit of drive, shape (T, B)."""
    power = np.nan_to_num(np.abs(responses.pressure).astype(np.float64)) ** 2
    return levels_in_octaves_db(power, responses.valid, responses.frequency_hz)


def levels_in_octaves_db(power: Float64s, valid: Bools, frequency_hz: npt.ArrayLike) -> Float64s:
    """Mean levels of power (T, F) in octaves, dB, shape (T, B); NaN where too little of one is valid."""
    return band_levels_db(power, valid, frequency_hz, OCTAVES, 1)


def signal_to_noise_db(responses: Responses) -> Float64s:
    """Signal to noise of all takes in octaves, after the gate, dB, shape (T, B); NaN where it can't be told.

    Of what noise hides (a point that isn't valid where most takes are) it is taken as the 10 dB that would
    have made it valid, so the value is at most what it says. Bands are means of noise re signal.
    """
    spread = responses.components.get(ComponentName.NOISE)
    rows, bands = len(responses.takes), inside(responses.frequency_hz, OCTAVES, 1).astype(np.float64)
    if spread is None or not rows:
        return np.full((rows, len(OCTAVES)), np.nan)
    valid = np.asarray(responses.valid)
    alive: Bools = np.asarray(valid.any(axis=-1))
    usual: Bools = np.greater(valid.sum(axis=0), 0.5 * alive.sum())
    ratio = (np.asarray(spread, dtype=np.float64) / NOISE_FACTOR_DB) ** 2
    hidden = usual & ~valid & alive[:, None]
    ratio = np.where(hidden, 10.0 ** (-LEAST_SNR_DB / 10.0), np.where(valid, ratio, np.nan))
    known = np.isfinite(ratio)
    count = known @ bands.T
    total = np.where(known, ratio, 0.0) @ bands.T
    with np.errstate(divide="ignore", invalid="ignore"):
        found = -10.0 * np.log10(total / count)
    return np.where((count >= HELD_PART * bands.sum(axis=-1)) & (total > 0.0), found, np.nan)


def noise_of_levels_db(responses: Responses) -> Float64s:
    """Standard uncertainty by noise of the octave levels, dB, shape (T, B); 0 where noise can't be told.

    Over a band of width W a gate of T lets pass some WT values that are independent.
    """
    spread = responses.components.get(ComponentName.NOISE)
    rows = len(responses.takes)
    if spread is None:
        return np.zeros((rows, len(OCTAVES)))
    low, high = band_edges_hz(OCTAVES, 1)
    bands = inside(responses.frequency_hz, OCTAVES, 1).astype(np.float64)
    square = np.nan_to_num(np.asarray(spread, dtype=np.float64)) ** 2
    rms = np.sqrt(square @ bands.T / np.maximum(bands.sum(axis=-1), 1.0))
    values = np.maximum(np.asarray(responses.gate_s)[:, None] * (high - low), 1.0)
    return np.asarray(rms / np.sqrt(values))


def upside_down(responses: Responses) -> tuple[list[int], bool, Float64s]:
    """Rows whose polarity is the opposite of most, whether polarity could be told at all, and by what.

    The last, (T,), is how each take runs with those beside it, these put upright: 1 alike, −1 against them,
    NaN where it can't be told.

    Takes that lie side by side on an orbit, repeats, and both orbits where they meet have alike phases below
    1 kHz once the time of flight is off; a take that runs against its neighbours is upside down.
    """
    f = np.asarray(responses.frequency_hz)
    band = np.flatnonzero((f >= POLARITY_HZ[0]) & (f <= POLARITY_HZ[1]))[::POLARITY_STEP]
    told = [
        i
        for i, take in enumerate(responses.takes)
        if take.key.direction and responses.has_phase[i] and responses.valid[i, band].sum() > band.size // 4
    ]
    found = np.full(len(responses.takes), np.nan)
    if len(told) < 2:
        return [], False, found
    at = np.ix_(np.asarray(told), band)
    pressure = np.where(np.asarray(responses.valid)[at], np.asarray(responses.pressure)[at], 0.0)
    norm = np.linalg.norm(pressure, axis=-1)
    alike = np.real(pressure @ pressure.conj().T) / np.maximum(np.outer(norm, norm), 1e-30)
    near = _side_by_side(responses, told) & (np.abs(alike) > ALIKE)
    sign, told_signs = np.zeros(len(told), dtype=int), 0
    for start in range(len(told)):
        if sign[start] or not near[start].any():
            continue
        sign[start], queue = 1, [start]
        group = [start]
        while queue:
            here = queue.pop()
            for there in np.flatnonzero(near[here] & (sign == 0)).tolist():
                sign[there] = sign[here] * (1 if alike[here, there] > 0.0 else -1)
                queue.append(there)
                group.append(there)
        told_signs += len(group)
        if sign[group].sum() < 0:
            sign[group] *= -1
    beside = near & (sign != 0)
    count = beside.sum(axis=1)
    mean = (np.where(beside, alike, 0.0) @ sign) / np.maximum(count, 1)
    found[told] = np.where((count > 0) & (sign != 0), mean, np.nan)
    return [told[k] for k in np.flatnonzero(sign < 0)], told_signs > 1, found


def _side_by_side(responses: Responses, rows: Sequence[int]) -> Bools:
    """Which of the takes are neighbours: 15° apart at most on one orbit, or one direction of both."""
    directions = [d for i in rows if (d := responses.takes[i].key.direction)]
    angle = np.array([d.angle_deg for d in directions])
    orbit = np.array([list(Orbit).index(d.orbit) for d in directions])
    apart = np.abs((angle[:, None] - angle + 180.0) % 360.0 - 180.0)
    same = orbit[:, None] == orbit
    meeting = (apart == 0.0) & np.isin(angle, (0.0, 180.0))[:, None]
    near = np.asarray((same & (apart <= BESIDE_DEG)) | meeting)
    np.fill_diagonal(near, False)
    return near
