"""ISO 9613-1:1993: what air absorbs of sound on its way. Recalled; held against ISO 9613-2:1996, table 2."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: Reference temperature and triple point of water.
REFERENCE_K: Final = 293.15
TRIPLE_POINT_K: Final = 273.16

SOURCE: Final = Source("ISO 9613-1", "1993", "6.2, equations 3 to 5", Standing.RECALLED)


def absorption_db_per_m(frequency_hz: Floats, temperature_c: float, humidity_percent: float) -> Floats:
    """Attenuation of pure tones at standard pressure, dB/m, shape (F,).

    Equations 3 and 4 give the relaxation frequencies of oxygen and nitrogen, 5 the attenuation, B.3 the molar
    concentration of water. Worked number: 0.1588 dB/m at 10 kHz, 20 °C and 50 % relative humidity. Known to
    ±10 % where the standard's tables reach, to 10 kHz; above that it is the formula.
    """
    kelvin = temperature_c + 273.15
    warmth = kelvin / REFERENCE_K
    saturated = 10.0 ** (4.6151 - 6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261)
    water = humidity_percent * saturated
    oxygen = 24.0 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
    nitrogen = warmth**-0.5 * (9.0 + 280.0 * water * np.exp(-4.170 * (warmth ** (-1.0 / 3.0) - 1.0)))
    f2 = np.square(frequency_hz)
    by_oxygen = 0.01275 * np.exp(-2239.1 / kelvin) / (oxygen + f2 / oxygen)
    by_nitrogen = 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen + f2 / nitrogen)
    classical = 1.84e-11 * np.sqrt(warmth)
    return np.asarray(8.686 * f2 * (classical + warmth**-2.5 * (by_oxygen + by_nitrogen)))
