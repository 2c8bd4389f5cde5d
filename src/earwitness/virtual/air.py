"""Air: how fast sound travels in it, and how heavy it is."""

from __future__ import annotations

from dataclasses import dataclass

#: Standard atmosphere in pascals and the specific gas constant of dry air in J/(kg K).
ATMOSPHERE_PA = 101_325.0
GAS_CONSTANT = 287.05


@dataclass(frozen=True, slots=True)
class Air:
    """Dry air at standard pressure, without absorption.

    Speed of sound 331.3·√(1 + t/273.15) m/s and density p/(R·T): common practice; at 20 °C 343.2146 m/s and
    1.20412 kg/m³.
    """

    temperature_c: float = 20.0

    @property
    def speed(self) -> float:
        """Speed of sound in m/s."""
        return float(331.3 * (1.0 + self.temperature_c / 273.15) ** 0.5)

    @property
    def density(self) -> float:
        """Density in kg/m³."""
        return ATMOSPHERE_PA / (GAS_CONSTANT * (self.temperature_c + 273.15))
