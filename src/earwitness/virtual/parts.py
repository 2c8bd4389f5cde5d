"""A driver in a sealed box: an electro-mechanical system of the second order.

Time dependence is e^(+jωt). The circuit is the classic one (Small, "Closed-box loudspeaker systems", JAES 20
(10), 1972; recalled): a voice coil of resistance and inductance, coupled by the force factor to a mass on the
spring of suspension and enclosed air. Air load is part of the moving mass, box losses are part of the
mechanical resistance, and everything is linear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats


@dataclass(frozen=True, slots=True)
class Driver:
    """A moving-coil driver in a sealed volume.

    Attributes
    ----------
    resistance_ohm, inductance_h
        Voice coil.
    force_factor
        Bl in N/A.
    mass_kg
        Moving mass with its air load.
    stiffness
        Suspension in N/m.
    damping
        Mechanical resistance in kg/s.
    diameter_m
        Effective diameter: the piston that moves as much air.
    volume_m3
        Enclosed volume behind it.
    """

    resistance_ohm: float
    force_factor: float
    mass_kg: float
    stiffness: float
    damping: float
    diameter_m: float
    volume_m3: float
    inductance_h: float = 0.0

    @property
    def area_m2(self) -> float:
        """Effective area."""
        return float(np.pi * (self.diameter_m / 2.0) ** 2)

    def total_stiffness(self, air: Air) -> float:
        """Stiffness of suspension and enclosed air together, N/m: K + ρc²S²/V."""
        return self.stiffness + air.density * air.speed**2 * self.area_m2**2 / self.volume_m3

    def resonance_hz(self, air: Air) -> float:
        """Resonance in the box."""
        return float(np.sqrt(self.total_stiffness(air) / self.mass_kg) / (2.0 * np.pi))

    def total_q(self, air: Air) -> float:
        """Total quality factor in the box, driven from a source without resistance."""
        loss = self.damping + self.force_factor**2 / self.resistance_ohm
        return float(np.sqrt(self.total_stiffness(air) * self.mass_kg) / loss)

    def volume_velocity(self, frequencies: Floats, air: Air) -> Complexes:
        """Volume velocity for each volt at the terminals, m³/s/V, positive outward; shape (F,), f > 0."""
        mechanical = self._mechanical(frequencies, air)
        electrical = self._electrical(frequencies)
        return self.area_m2 * self.force_factor / (electrical * mechanical + self.force_factor**2)

    def impedance(self, frequencies: Floats, air: Air) -> Complexes:
        """Electrical impedance at the terminals in ohms; shape (F,), f > 0."""
        return self._electrical(frequencies) + self.force_factor**2 / self._mechanical(frequencies, air)

    def _electrical(self, frequencies: Floats) -> Complexes:
        return self.resistance_ohm + 2j * np.pi * frequencies * self.inductance_h

    def _mechanical(self, frequencies: Floats, air: Air) -> Complexes:
        s = 2j * np.pi * frequencies
        return self.damping + s * self.mass_kg + self.total_stiffness(air) / s
