"""How a voice coil warms, and what that does to its resistance.

The coil's rise over the day's air is the sum of two, each with its own thermal resistance and time constant:
the coil's over its magnet, seconds, and the magnet's over the air, many minutes. Each follows the power lost
in the coil as the voltage of a resistor and a capacitor in parallel follows a current (Button, JAES 40 (1/2),
1992; recalled). The coil's resistance rises with it, by 0.00393 of that at 20 °C a kelvin for copper and
0.00403 for aluminium (handbooks, recalled); the day's resistance stands for that at 20 °C.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from earwitness.virtual.arrays import Floats

#: Of the resistance, a kelvin, at 20 °C.
PER_KELVIN: Final = {"copper": 0.00393, "aluminium": 0.00403}
#: Temperatures move from step to step of so many seconds: a coil's time constant is hundreds of them.
STEP_S: Final = 0.002

#: Kelvins: the coil's over the magnet, and the magnet's over the air.
Rise = tuple[float, float]
COLD: Final[Rise] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Heating:
    """Thermal resistances in kelvins a watt and time constants in seconds, of coil and of magnet."""

    coil_k_per_w: float
    coil_s: float
    magnet_k_per_w: float
    magnet_s: float
    wire: Literal["copper", "aluminium"] = "copper"

    def __post_init__(self) -> None:
        if not 100.0 * STEP_S <= self.coil_s < self.magnet_s:
            raise ValueError(
                f"coil_s is {self.coil_s:g}: it is at least {100.0 * STEP_S:g} s, and less than magnet_s"
            )

    def resistance_share(self, kelvins: Floats | float) -> Floats:
        """R(T)/R(20 °C) for a rise of the whole coil."""
        return np.asarray(1.0 + PER_KELVIN[self.wire] * np.asarray(kelvins))

    def rises(self, current: Floats, ohms: float, rate_hz: float, start: Rise) -> tuple[Floats, Rise]:
        """The coil's whole rise over time under a current (N,), kelvins (N,), and both rises at its end."""
        block = max(1, round(STEP_S * rate_hz))
        steps = math.ceil(len(current) / block)
        square = np.add.reduceat(current**2, np.arange(steps) * block) / block
        fall = [math.exp(-block / rate_hz / each) for each in (self.coil_s, self.magnet_s)]
        coil, magnet = start
        alpha, whole = PER_KELVIN[self.wire], np.empty(steps + 1)
        for step, each in enumerate(square.tolist()):
            whole[step] = coil + magnet
            power = each * ohms * (1.0 + alpha * (coil + magnet))
            coil = fall[0] * coil + (1.0 - fall[0]) * self.coil_k_per_w * power
            magnet = fall[1] * magnet + (1.0 - fall[1]) * self.magnet_k_per_w * power
        whole[steps] = coil + magnet
        places = np.arange(len(current)) / block
        return np.interp(places, np.arange(steps + 1), whole), (coil, magnet)

    def cooled(self, rise: Rise, seconds: float) -> Rise:
        """What is left of both rises after a pause."""
        return rise[0] * math.exp(-seconds / self.coil_s), rise[1] * math.exp(-seconds / self.magnet_s)

    def settled(self, square_a2: float, ohms: float) -> float:
        """The rise that an unchanging mean square of the current comes to, kelvins.

        T = R_th·P and P = I²R(1 + αT), so T = R_th I²R/(1 − α R_th I²R).

        Raises
        ------
        ValueError
            Where it comes to no end: a current so large that the growing resistance feeds the heat.
        """
        watts_cold = square_a2 * ohms
        thermal = self.coil_k_per_w + self.magnet_k_per_w
        held = 1.0 - PER_KELVIN[self.wire] * thermal * watts_cold
        if held <= 0.0:
            raise ValueError("the coil warms without end at this current; lower it")
        return thermal * watts_cold / held
