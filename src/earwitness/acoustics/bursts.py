"""Shaped tone bursts through a response, over cycles of their own frequency.

A burst is e^(j2πft)·exp(−(c/σ)²/2), c = f·t its time in cycles: of all shapes it spreads least over time and
frequency together. Its envelope falls by 20 dB in σ·√(2·ln 10) cycles, its spectrum at f(1 + x) is
exp(−(2πσx)²/2). What comes out of a response H is its complex demodulation at f,

    e(c) = √(2π)·σ·∫ H(f(1 + x))·exp(−(2πσx)²/2)·e^(j2πxc) dx,

which on a grid of log frequency is one matrix for all f. Source: defined here.

A resonance of quality Q falls by 27.29/Q dB to the cycle (8.686·πf/Q dB/s), by 20 dB in 0.733·Q cycles.
"""

from __future__ import annotations

from math import log
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating]
Complexes = npt.NDArray[np.complexfloating]
Bools = npt.NDArray[np.bool_]

#: σ of the burst, in cycles.
BURST_CYCLES: Final = 1.0
#: Its envelope has fallen by 20 dB after so many: a fall sooner than that can't be seen.
BURST_FALL_CYCLES: Final = BURST_CYCLES * (2.0 * log(10.0)) ** 0.5
#: The burst's spectrum is taken as far as it is within so many dB of its middle.
BURST_SPAN_DB: Final = -40.0


def burst_reach(points_per_octave: float) -> tuple[int, int]:
    """How many points of a grid of log frequency below and above its middle a burst's spectrum takes up."""
    half = np.sqrt(-2.0 * np.log(10.0 ** (BURST_SPAN_DB / 20.0))) / (2.0 * np.pi * BURST_CYCLES)
    below, above = np.log2(1.0 - half), np.log2(1.0 + half)
    return int(np.ceil(-below * points_per_octave)), int(np.ceil(above * points_per_octave))


def burst_response(
    response: npt.ArrayLike,
    centres: npt.NDArray[np.intp],
    points_per_octave: float,
    cycles: Floats,
    since_cycles: npt.ArrayLike = 0.0,
) -> Complexes:
    """Demodulated bursts that have passed a response, shape (..., B, C), 1 at its peak for a response of 1.

    The magnitude is the envelope; the phase turns where what rings has another frequency than the burst.

    Parameters
    ----------
    response
        Complex, shape (..., F), on a grid of log frequency.
    centres
        Shape (B,): the grid points of the bursts; `burst_reach` must fit about each.
    cycles
        Shape (C,): times from the middle of the burst, in cycles of its own frequency.
    since_cycles
        Shape (..., B): what is added to these times, each burst its own.
    """
    low, high = burst_reach(points_per_octave)
    offset = np.arange(-low, high + 1)
    ratio = 2.0 ** (offset / points_per_octave)
    shape = np.exp(-0.5 * (2.0 * np.pi * BURST_CYCLES * (ratio - 1.0)) ** 2) * ratio
    # The sum stands for the integral; a response of 1 comes out as 1.
    weights = shape / shape.sum()
    kernel = weights[:, None] * np.exp(2j * np.pi * np.multiply.outer(ratio - 1.0, cycles))
    since = np.asarray(since_cycles, dtype=np.float64)[..., None]
    about = np.asarray(response)[..., centres[:, None] + offset] * np.exp(2j * np.pi * since * (ratio - 1.0))
    return np.asarray(about @ kernel)


def envelope_peak(envelope: Floats) -> Floats:
    """Where envelopes (..., C) are greatest, in points and parts of one by a parabola, shape (...)."""
    at = np.clip(np.argmax(envelope, axis=-1), 1, envelope.shape[-1] - 2)[..., None]
    before, here, after = (np.take_along_axis(envelope, at + i, axis=-1)[..., 0] for i in (-1, 0, 1))
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / np.where(bend < 0.0, bend, -np.inf)
    return np.asarray(at[..., 0] + shift)


def last_above(envelope_db: Floats, heard: Bools, threshold_db: float, step: float) -> Floats:
    """Where envelopes (..., C) are last above a threshold, from their first point on, in units of `step`.

    Only what is `heard` (..., C), an unbroken stretch from the first point, counts. Linear between points.
    NaN where an envelope is still above at the end of that stretch.
    """
    above = (envelope_db > threshold_db) & heard
    count = envelope_db.shape[-1]
    last = count - 1 - np.argmax(above[..., ::-1], axis=-1)
    following = np.minimum(last + 1, count - 1)
    here, there = (np.take_along_axis(envelope_db, i[..., None], axis=-1)[..., 0] for i in (last, following))
    told = np.take_along_axis(heard, following[..., None], axis=-1)[..., 0] & (following > last)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = (here - threshold_db) / (here - there)
    return np.where(told, (last + part) * step, np.nan)
