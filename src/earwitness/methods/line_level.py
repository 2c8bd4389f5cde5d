"""Levels of analogue lines: dBu, decibels re the voltage that gives one milliwatt in 600 ohms.

The reference of 1 mW in 600 Ω is common practice in audio; its voltage, √(0.001·600) =
0.774597 V, is computed.
"""

from __future__ import annotations

import math
from typing import Final

#: The volts RMS of 0 dBu.
ZERO_DBU_V: Final = math.sqrt(1e-3 * 600.0)


def volts_of_dbu(level_dbu: float) -> float:
    """Volts RMS of a level: +4 dBu are 1.228 V."""
    return ZERO_DBU_V * math.pow(10.0, level_dbu / 20.0)


def dbu_of_volts(volts: float) -> float:
    """The level of volts RMS: 1 V is 2.218 dBu."""
    return 20.0 * math.log10(volts / ZERO_DBU_V)
