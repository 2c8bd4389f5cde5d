"""Hearing exposure: how long a level may last in a day or a week, by published limits.

NIOSH Publication No. 98-126 (1998), chapter 1: recommended exposure limit (read in part: the table of times).
29 CFR 1910.95 (OSHA), table G-16: permissible exposure limit (read in part).
Directive 2003/10/EC, article 3: exposure limit value (read in part).
ITU-T H.870 (2018; WHO-ITU): adults, mode 1 (second-hand).

All levels are A-weighted, in dB re 20 µPa, where the ear is. None of them protects everybody.
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

#: 29 CFR 1910.95, table G-16.
OSHA_CRITERION_DB: Final = 90.0
OSHA_CRITERION_H: Final = 8.0
OSHA_EXCHANGE_DB: Final = 5.0

#: Directive 2003/10/EC, article 3: daily exposure level, equal energy.
EU_LIMIT_DB: Final = 87.0
EU_LIMIT_H: Final = 8.0

#: ITU-T H.870, adults: weekly dose, equal energy.
WHO_ADULT_DB: Final = 80.0
WHO_ADULT_H: Final = 40.0


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
    return _exchange(level_db, NIOSH_CRITERION_DB, NIOSH_CRITERION_H, NIOSH_EXCHANGE_DB)


def osha_hours_a_day(level_db: npt.ArrayLike) -> Floats:
    """Hours a day by 29 CFR 1910.95, table G-16: T = 8/2^((L−90)/5); same shape as `level_db`."""
    return _exchange(level_db, OSHA_CRITERION_DB, OSHA_CRITERION_H, OSHA_EXCHANGE_DB)


def eu_hours_a_day(level_db: npt.ArrayLike) -> Floats:
    """Hours a day until the limit of Directive 2003/10/EC, equal energy; same shape as `level_db`."""
    return _equal_energy(level_db, EU_LIMIT_DB, EU_LIMIT_H)


def who_adult_hours_a_week(level_db: npt.ArrayLike) -> Floats:
    """Hours a week by ITU-T H.870 for adults: T = 40·10^(−(L−80)/10); same shape as `level_db`."""
    return _equal_energy(level_db, WHO_ADULT_DB, WHO_ADULT_H)


def _exchange(level_db: npt.ArrayLike, criterion_db: float, hours: float, exchange_db: float) -> Floats:
    excess = np.asarray(level_db, dtype=np.float64) - criterion_db
    return np.asarray(hours * 2.0 ** (-excess / exchange_db))


def _equal_energy(level_db: npt.ArrayLike, limit_db: float, hours: float) -> Floats:
    excess = np.asarray(level_db, dtype=np.float64) - limit_db
    return np.asarray(hours * 10.0 ** (-excess / 10.0))
