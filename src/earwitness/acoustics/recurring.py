"""Whether what comes again each period (`recurrence`) counts as seen."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

#: Something is seen where neighbouring periods are so much alike, and it is so strong re the whole sound, dB.
ALIKE: Final = 0.6
PART_DB: Final = -38.0
#: All above the tenth order is so much over what sounds without a sweep, dB.
OVER_NOISE_DB: Final = 3.0


def seen(
    alike: npt.ArrayLike, part_db: npt.ArrayLike, rest_db: npt.ArrayLike, noise_db: npt.ArrayLike | None
) -> npt.NDArray[np.bool_]:
    """In which bands (B,) something comes again each period.

    By how much neighbouring periods are `alike`, and by levels re the whole sound: of what comes again, of
    all above the low orders, and of what sounds without a sweep, where that is known.
    """
    over = np.inf if noise_db is None else np.asarray(rest_db) - np.asarray(noise_db)
    return (np.asarray(alike) >= ALIKE) & (np.asarray(part_db) >= PART_DB) & (over >= OVER_NOISE_DB)
