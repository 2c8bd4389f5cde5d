"""What a moving-coil driver does at large signal: its parameters as they depend on where its coil is.

The equations are those of the moving coil with parameters that depend on its displacement x (outward):

    u = R i + d/dt(n(x) φ) + Bl(x) dx/dt,   φ = (Z_L/s)(n(x) i)
    force = Bl(x) i − (K(x) − K(0)) x + n'(x) φ i

Z_L is the coil's impedance without its resistance, eddy currents and all, and n² = Le(x)/Le(0). The same n
carries current, flux and force, so that no energy comes out of it: for Z_L = sL the last term is ½ i² dLe/dx,
the reluctance force (Kaizer, JAES 35 (6), 1987; recalled). The forms of Bl, K and Le over x are defined here:
they stay physical at any x. A hard contact is a spring after Hertz, its force rising as the power 3/2 of how
deep the coil is in it (Landau & Lifshitz, *Theory of Elasticity*, section 9; recalled).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.virtual.arrays import Floats

#: The power with which the force of a contact rises (Hertz).
CONTACT_POWER: Final = 1.5


@dataclass(frozen=True, slots=True)
class LargeSignal:
    """How a driver's parameters change with its displacement, re those at rest; all lengths in metres.

    Attributes
    ----------
    force_half_m, force_offset_m
        Bl(x) = Bl·b(x)/b(0), b(x) = 1/(1 + ((x − offset)/half)²): half its maximum that far from its middle.
    stiffness_double_m, stiffness_offset_m
        K(x) = K·k(x)/k(0), k(x) = 1 + ((x − offset)/double)²: twice its minimum that far from its middle.
    inductance_fall, inductance_reach_m
        Le(x) = Le·(1 − fall·tanh(x/reach)): falls as the coil moves outward.
    contact_m, contact_stiffness
        A hard contact: from there outward (inward where negative) a spring of so many N/m, taken at 0.1 mm
        deep, meets the coil. None where there is nothing to hit.
    """

    force_half_m: float = math.inf
    force_offset_m: float = 0.0
    stiffness_double_m: float = math.inf
    stiffness_offset_m: float = 0.0
    inductance_fall: float = 0.0
    inductance_reach_m: float = math.inf
    contact_m: float | None = None
    contact_stiffness: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.inductance_fall) < 1.0:
            raise ValueError(f"inductance_fall is {self.inductance_fall:g}; it lies between -1 and 1")
        if self.contact_m == 0.0:
            raise ValueError("contact_m is 0, where the coil rests; put it to one side, in metres")

    def force_share(self, x: Floats) -> Floats:
        """Bl(x)/Bl(0)."""
        rest = 1.0 + (self.force_offset_m / self.force_half_m) ** 2
        return np.asarray(rest / (1.0 + ((x - self.force_offset_m) / self.force_half_m) ** 2))

    def force_area(self, x: Floats) -> Floats:
        """The integral of Bl(x)/Bl(0) from 0 to x, metres: the flux that motion alone sweeps, re Bl(0)."""
        if math.isinf(self.force_half_m):
            return np.asarray(x)
        half, offset = self.force_half_m, self.force_offset_m
        swept = np.arctan((x - offset) / half) + math.atan(offset / half)
        return np.asarray((1.0 + (offset / half) ** 2) * half * swept)

    def stiffness_share(self, x: Floats) -> Floats:
        """K(x)/K(0)."""
        rest = 1.0 + (self.stiffness_offset_m / self.stiffness_double_m) ** 2
        return np.asarray((1.0 + ((x - self.stiffness_offset_m) / self.stiffness_double_m) ** 2) / rest)

    @property
    def bends_flux(self) -> bool:
        """Whether the inductance depends on the displacement."""
        return bool(self.inductance_fall) and math.isfinite(self.inductance_reach_m)

    def flux_turns(self, x: Floats) -> tuple[Floats, Floats]:
        """n(x) = √(Le(x)/Le(0)), and its slope, 1/m."""
        along = np.tanh(x / self.inductance_reach_m)
        turns = np.sqrt(1.0 - self.inductance_fall * along)
        slope = -self.inductance_fall * (1.0 - along**2) / (2.0 * self.inductance_reach_m * turns)
        return turns, slope

    def contact_force(self, x: Floats) -> Floats:
        """Of the hard contact on the coil, N, against the displacement."""
        if self.contact_m is None:
            return np.zeros_like(x)
        side = math.copysign(1.0, self.contact_m)
        deep = np.maximum(side * x - abs(self.contact_m), 0.0)
        return np.asarray(-side * self.contact_stiffness * deep**CONTACT_POWER / 1e-4**0.5)
