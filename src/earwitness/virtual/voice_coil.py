"""A voice coil at rest: its resistance, and an inductance that eddy currents take part of its reactance from.

Currents in the pole piece make the inductance of a coil fall and its loss rise with frequency: over the upper
bands it is a semi-inductance, K√(jω), half resistance and half reactance (Vanderkooy, JAES 37 (3), 1989). In
parallel with it lie the inductance of the flux through the pole piece and the resistance of a shorting ring;
in series, that of the flux through air alone (Thorborg & Unruh, JAES 56 (9), 2008). Both recalled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Complexes, Frequencies


@dataclass(frozen=True, slots=True)
class VoiceCoil:
    """The electrical impedance of a coil that doesn't move: Rₑ + jωLₑ + (K√(jω) ∥ jωL₂ ∥ R₂).

    Attributes
    ----------
    resistance_ohm
        Rₑ.
    inductance_h
        Lₑ, of the flux that passes through no metal.
    semi_inductance
        K in Ω·√s; 0 leaves the whole bracket out.
    core_inductance_h
        L₂, of the flux through the pole piece, which rules at low frequencies.
    ring_ohm
        R₂, of a shorting ring, which rules at high frequencies.
    """

    resistance_ohm: float
    inductance_h: float = 0.0
    semi_inductance: float = 0.0
    core_inductance_h: float = math.inf
    ring_ohm: float = math.inf

    @property
    def settles(self) -> bool:
        """Whether its flux comes to rest under a steady current: Z/(jω) has a limit at 0 Hz."""
        return not self.semi_inductance or math.isfinite(self.core_inductance_h)

    def impedance(self, frequencies: Frequencies) -> Complexes:
        """Ohms, shape (F,), f > 0."""
        s = 2j * np.pi * frequencies
        straight = self.resistance_ohm + s * self.inductance_h
        if not self.semi_inductance:
            return straight
        admittance = 1.0 / (self.semi_inductance * np.sqrt(s)) + 1.0 / self.ring_ohm
        return np.asarray(straight + 1.0 / (admittance + self._core_admittance(s)))

    def _core_admittance(self, s: Complexes) -> Complexes:
        return np.zeros_like(s) if math.isinf(self.core_inductance_h) else 1.0 / (s * self.core_inductance_h)
