"""Glasberg and Moore, Hearing Research 47 (1990) 103: auditory filters and what a sound excites in them.

A filter about f_c passes the power W(g) = (1 + p·g)·e^(−p·g), g = |f − f_c|/f_c, with p = 4·f_c/ERB on both
sides for a sound of 51 dB an ERB. With its level the lower side gets wider: p falls by 0.35·(p/p(1 kHz)) a
decibel; the upper side stays. The excitation is the power that each filter passes. All recalled; held against
integrals of W and against thresholds that were computed apart from this.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.sources import Source, Standing

Float64s = npt.NDArray[np.float64]

#: ERB = 24.7·(4.37·f/kHz + 1) Hz, and the number of ERBs below f, 21.4·lg(4.37·f/kHz + 1).
LEAST_ERB_HZ: Final = 24.7
PER_KILOHERTZ: Final = 4.37
NUMBER_FACTOR: Final = 21.4
#: The level an ERB at which filters are symmetric, and how p falls above it, per decibel, at 1 kHz.
SYMMETRIC_DB: Final = 51.0
SLOPE_PER_DB: Final = 0.35
#: Levels an ERB to which the law is taken; beyond them that of the nearer end holds.
LEVELS_DB: Final = (20.0, 100.0)

SOURCE: Final = Source("Glasberg and Moore, Hearing Research 47", "1990", "p. 103", Standing.RECALLED)


def erb_hz(centre_hz: npt.ArrayLike) -> Float64s:
    """Equivalent rectangular bandwidth, Hz. Worked number: 132.6 Hz at 1 kHz."""
    kilohertz = np.asarray(centre_hz, dtype=np.float64) / 1000.0
    return np.asarray(LEAST_ERB_HZ * (PER_KILOHERTZ * kilohertz + 1.0))


def erb_number(frequency_hz: npt.ArrayLike) -> Float64s:
    """How many ERBs lie below a frequency. Worked number: 15.62 at 1 kHz."""
    kilohertz = np.asarray(frequency_hz, dtype=np.float64) / 1000.0
    return np.asarray(NUMBER_FACTOR * np.log10(PER_KILOHERTZ * kilohertz + 1.0))


def frequency_of_hz(number: npt.ArrayLike) -> Float64s:
    """The frequency below which so many ERBs lie: `erb_number` turned round."""
    return np.asarray(
        1000.0 * (10.0 ** (np.asarray(number, dtype=np.float64) / NUMBER_FACTOR) - 1.0) / PER_KILOHERTZ
    )


def filters(
    centre_hz: npt.ArrayLike, frequency_hz: npt.ArrayLike, level_db: npt.ArrayLike = SYMMETRIC_DB
) -> Float64s:
    """The share of power that K filters pass at F frequencies, shape (K, F); 1 at the centre.

    Parameters
    ----------
    centre_hz, frequency_hz
        Shapes (K,) and (F,).
    level_db
        One level, or (F,): that of the sound in an ERB about each frequency, dB SPL; it sets how far the
        sound spreads upward, into filters whose lower side it falls on.
    """
    centre = np.atleast_1d(np.asarray(centre_hz, dtype=np.float64))[:, None]
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    away = (frequency - centre) / centre
    p = 4.0 * centre / erb_hz(centre)
    at_1k = 4.0 * 1000.0 / float(erb_hz(1000.0))
    over = np.clip(np.asarray(level_db, dtype=np.float64), *LEVELS_DB) - SYMMETRIC_DB
    slope = np.where(away < 0.0, p - SLOPE_PER_DB * (p / at_1k) * over, p)
    reach = slope * np.abs(away)
    return np.asarray((1.0 + reach) * np.exp(-reach))


def excitation(power: Float64s, passed: Float64s) -> Float64s:
    """Power that each filter passes, shape (..., K).

    Parameters
    ----------
    power
        Shape (..., F): power of the sound at each frequency, or in each step of a grid.
    passed
        Shape (K, F), of `filters`.
    """
    return np.asarray(power @ passed.T)
