"""Hearing exposure: how long a level may last in a day, by NIOSH Publication No. 98-126 (1998), chapter 1.

The recommended exposure limit (read in part: the table of times). Levels are A-weighted, in dB re 20 µPa,
where the ear is. It doesn't protect everybody.
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
