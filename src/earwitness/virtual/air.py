"""Air: how fast sound travels in it, how heavy it is, and what it absorbs on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Floats

#: Standard atmosphere in pascals and the specific gas constant of dry air in J/(kg K).
ATMOSPHERE_PA = 101_325.0
GAS_CONSTANT = 287.05
#: Kelvins: at 0 °C, reference of the absorption, triple point of water.
ICE_K, REFERENCE_K, TRIPLE_POINT_K = 273.15, 293.15, 273.16


@dataclass(frozen=True, slots=True)
class Air:
    """Air at standard pressure, without absorption where no humidity is stated.

    Speed of sound 331.3·√(1 + t/273.15) m/s and density p/(R·T), both of dry air: common practice; at 20 °C
    343.2146 m/s and 1.20412 kg/m³.
    """

    temperature_c: float = 20.0
    humidity_percent: float | None = None

    @property
    def speed(self) -> float:
        """Speed of sound in m/s."""
        return float(331.3 * (1.0 + self.temperature_c / ICE_K) ** 0.5)

    @property
    def density(self) -> float:
        """Density in kg/m³."""
        return ATMOSPHERE_PA / (GAS_CONSTANT * (self.temperature_c + ICE_K))

    def absorption_db(self, frequencies: Floats) -> Floats:
        """Attenuation of a pure tone in dB for each metre, shape (F,).

        ISO 9613-1:1993, equations 3 to 5 and B.3 (recalled): at 20 °C, 50 % and 10 kHz 0.1588 dB/m. Its
        tables end at 10 kHz; above, it is the formula.
        """
        if self.humidity_percent is None:
            return np.zeros(len(frequencies))
        kelvins = self.temperature_c + ICE_K
        warmth = kelvins / REFERENCE_K
        saturation = 10.0 ** (4.6151 - 6.8346 * (TRIPLE_POINT_K / kelvins) ** 1.261)
        water = self.humidity_percent * saturation
        oxygen = 24.0 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
        nitrogen = warmth**-0.5 * (9.0 + 280.0 * water * np.exp(-4.170 * (warmth ** (-1.0 / 3.0) - 1.0)))
        squared = frequencies**2
        relaxation = 0.01275 * np.exp(-2239.1 / kelvins) / (oxygen + squared / oxygen)
        relaxation += 0.1068 * np.exp(-3352.0 / kelvins) / (nitrogen + squared / nitrogen)
        return np.asarray(8.686 * squared * (1.84e-11 * warmth**0.5 + warmth**-2.5 * relaxation))
