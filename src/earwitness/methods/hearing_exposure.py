"""Hearing exposure: how long a level may last in a day, and what several make together.

NIOSH Publication No. 98-126 (1998), chapter 1: the recommended exposure limit (read in part: the table of
times). Directive 2003/10/EC, article 3: action values and limit of the daily exposure level, which counts
equal energy (read in part: the text of the article). Levels are A-weighted, in dB re 20 µPa, where the ear
is. Neither protects everybody.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: NIOSH 98-126: criterion level, time at it, and the level that halves the time.
NIOSH_CRITERION_DB: Final = 85.0
NIOSH_CRITERION_H: Final = 8.0
NIOSH_EXCHANGE_DB: Final = 3.0
#: Directive 2003/10/EC, art. 3: daily exposure levels over eight hours, and peaks of the lower action value.
EU_LOWER_ACTION_DB: Final = 80.0
EU_UPPER_ACTION_DB: Final = 85.0
EU_LIMIT_DB: Final = 87.0
EU_LOWER_ACTION_PEAK_PA: Final = 112.0
WORKING_DAY_H: Final = 8.0


def niosh_hours_a_day(level_db: npt.ArrayLike) -> Floats:
    """Hours a day at a steady level by NIOSH: T = 8/2^((L−85)/3).

    Parameters
    ----------
    level_db
        A-weighted level, any shape.

    Returns
    -------
    array
        Hours, same shape. 94 dB gives one hour.
    """
    excess = np.asarray(level_db, dtype=np.float64) - NIOSH_CRITERION_DB
    return np.asarray(NIOSH_CRITERION_H * 2.0 ** (-excess / NIOSH_EXCHANGE_DB))


def niosh_dose(level_db: npt.ArrayLike, hours: npt.ArrayLike) -> float:
    """The part of a day's recommended exposure that levels use up, each for its hours: Σ C/T, 1 is all of it.

    Parameters
    ----------
    level_db, hours
        A-weighted levels and how long each lasts; same shape.
    """
    return float(np.sum(np.asarray(hours, dtype=np.float64) / niosh_hours_a_day(level_db)))


def eu_hours_a_day(level_db: npt.ArrayLike, limit_db: float = EU_LIMIT_DB) -> Floats:
    """Hours a day at a steady level until the daily exposure level is `limit_db`: 8·10^(−(L − limit)/10).

    94 dB gives 96 min up to the limit of 87 dB. Same shape as `level_db`.
    """
    excess = np.asarray(level_db, dtype=np.float64) - limit_db
    return np.asarray(WORKING_DAY_H * 10.0 ** (-excess / 10.0))


def daily_exposure_level_db(level_db: npt.ArrayLike, hours: npt.ArrayLike) -> float:
    """The daily exposure level L_EX,8h of levels, each for its hours: 10·lg(Σ t·10^(L/10) / 8 h)."""
    energy = np.asarray(hours, dtype=np.float64) * 10.0 ** (np.asarray(level_db, dtype=np.float64) / 10.0)
    return float(10.0 * np.log10(np.sum(energy) / WORKING_DAY_H))
