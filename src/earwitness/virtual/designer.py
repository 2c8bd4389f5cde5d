"""Drive units from what a designer asks for: sensitivity, resonance, quality factors, size.

In half space a driver's level in its pass band is that of an acceleration Bl·U/(Rₑ·M) of its area S: p =
ρ S Bl U/(2π Rₑ M) at 1 m. With Bl² = 2π f M Rₑ/Q (Small, JAES 20 (10), 1972; recalled) mass and force factor
follow from level, resonance, electrical Q and resistance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from earwitness.virtual.air import Air

#: A watt into eight ohms, and the threshold of hearing.
DRIVE_V, REFERENCE_PA = 2.83, 20e-6
BENCH: Final = Air(20.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """What a drive unit shall be.

    `level_db` is its pass band's for 2.83 V at 1 m in half space; `semi_inductance` (Ω·√s) and `inductance_h`
    its coil's.
    """

    diameter_m: float
    resonance_hz: float
    electrical_q: float
    mechanical_q: float
    level_db: float
    resistance_ohm: float = 5.6
    semi_inductance: float = 0.0
    inductance_h: float = 0.0

    @property
    def area_m2(self) -> float:
        """Of the piston."""
        return math.pi * self.diameter_m**2 / 4.0

    @property
    def mass_kg(self) -> float:
        """Moving mass."""
        pressure = REFERENCE_PA * 10.0 ** (self.level_db / 20.0)
        reach = BENCH.density * self.area_m2 * DRIVE_V / (2.0 * math.pi * pressure)
        return float(reach**2) * 2.0 * math.pi * self.resonance_hz / (self.electrical_q * self.resistance_ohm)

    @property
    def force_factor(self) -> float:
        """Bl."""
        omega = 2.0 * math.pi * self.resonance_hz
        return math.sqrt(omega * self.mass_kg * self.resistance_ohm / self.electrical_q)

    @property
    def total_q(self) -> float:
        """Electrical and mechanical losses together."""
        return 1.0 / (1.0 / self.electrical_q + 1.0 / self.mechanical_q)

    @property
    def equivalent_volume_m3(self) -> float:
        """The volume of air as stiff as the suspension, ρc²S²/K."""
        stiffness = (2.0 * math.pi * self.resonance_hz) ** 2 * self.mass_kg
        return BENCH.density * BENCH.speed**2 * self.area_m2**2 / stiffness

    def values(self) -> dict[str, Any]:
        """The part's values as a scenario's document has them."""
        omega = 2.0 * math.pi * self.resonance_hz
        coil = {"resistance_ohm": self.resistance_ohm}
        if self.inductance_h:
            coil["inductance_h"] = self.inductance_h
        if self.semi_inductance:
            coil["semi_inductance"] = self.semi_inductance
        return {
            "diameter_m": self.diameter_m,
            "coil": coil,
            "force_factor": self.force_factor,
            "mass_kg": self.mass_kg,
            "stiffness": omega**2 * self.mass_kg,
            "damping": omega * self.mass_kg / self.mechanical_q,
        }
