"""The air between loudspeaker and microphone."""

from __future__ import annotations

from typing import Final

import numpy as np

#: Speed of sound that is used where nobody stated a temperature.
UNSTATED_SPEED_M_S: Final = 343.2


def speed_of_sound_m_s(temperature_c: float | None) -> float:
    """Speed of sound in dry air, m/s.

    331.3·√(1 + t/273.15) with t in °C (common practice): 343.21 m/s at 20 °C. 343.2 m/s where no
    temperature is stated, which the caller has to say.
    """
    if temperature_c is None:
        return UNSTATED_SPEED_M_S
    return float(331.3 * np.sqrt(1.0 + temperature_c / 273.15))
