"""Passive filters: parts in series and across, with the drivers as their load.

Each step of a ladder is a chain matrix, [U₁, I₁] = [[a, b], [c, d]]·[U₂, I₂]: [[1, z], [0, 1]] for an
impedance in series, [[1, 0], [1/z, 1]] for one across; their product is the ladder's (two-port theory; common
practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats


@dataclass(frozen=True, slots=True)
class Step:
    """A resistor, a coil and a capacitor in series with each other, placed in the signal's way or across it.

    What is 0 is left out. `beside_ohm` is a resistor in parallel with the three. A coil's own resistance
    belongs to `resistance_ohm`.
    """

    placed: Literal["series", "across"]
    resistance_ohm: float = 0.0
    inductance_h: float = 0.0
    capacitance_f: float = 0.0
    beside_ohm: float = 0.0

    def __post_init__(self) -> None:
        if not (self.resistance_ohm or self.inductance_h or self.capacitance_f):
            raise ValueError("a step of a ladder needs a resistance, an inductance or a capacitance")

    def impedance(self, frequencies: Floats) -> Complexes:
        """Ohms, shape (F,), f > 0."""
        s = 2j * np.pi * frequencies
        total = self.resistance_ohm + s * self.inductance_h
        if self.capacitance_f:
            total = total + 1.0 / (s * self.capacitance_f)
        return np.asarray(total * self.beside_ohm / (total + self.beside_ohm) if self.beside_ohm else total)


@dataclass(frozen=True, slots=True)
class Ladder:
    """Steps from the amplifier to the driver; without any, a wire."""

    steps: tuple[Step, ...] = ()

    def chain(self, frequencies: Floats) -> Complexes:
        """The chain matrix, shape (F, 2, 2), f > 0; its determinant is 1."""
        total = np.zeros((len(frequencies), 2, 2), dtype=np.complex128)
        total[:, [0, 1], [0, 1]] = 1.0
        for step in self.steps:
            matrix = np.zeros_like(total)
            matrix[:, [0, 1], [0, 1]] = 1.0
            impedance = step.impedance(frequencies)
            if step.placed == "series":
                matrix[:, 0, 1] = impedance
            else:
                matrix[:, 1, 0] = 1.0 / impedance
            total = total @ matrix
        return total


#: No filter at all.
WIRE = Ladder()
