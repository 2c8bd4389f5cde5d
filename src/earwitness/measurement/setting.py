"""What all recordings of a case share once they are read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from earwitness.measurement.absorption import Absorption
from earwitness.measurement.calibration import Calibration


@dataclass(frozen=True)
class Setting:
    """The grid (F,), the speed of sound in m/s, the recording chain's calibration, and what the air absorbs.

    Without an absorption nothing is added to levels, and nothing is unsure of it.
    """

    frequency_hz: npt.NDArray[np.float64]
    speed_m_s: float
    calibration: Calibration
    absorption: Absorption | None = None
