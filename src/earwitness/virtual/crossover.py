"""A two-way crossover: Linkwitz-Riley of the fourth order, with pad, shelf, delay and polarity for each way.

The fourth-order Linkwitz-Riley filter is a Butterworth filter of the second order, twice (Linkwitz, JAES 24
(1), 1976; recalled): low and high pass are in phase everywhere and their sum has level 0 dB at every
frequency. Each way is a voltage transfer function; what the network does to the source's load isn't modelled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats


def low_pass(frequencies: Floats, corner_hz: float) -> Complexes:
    """Fourth-order Linkwitz-Riley low pass, −6 dB at the corner; shape (F,)."""
    s = 1j * frequencies / corner_hz
    return np.asarray(1.0 / (1.0 + np.sqrt(2.0) * s + s**2) ** 2)


def high_pass(frequencies: Floats, corner_hz: float) -> Complexes:
    """Fourth-order Linkwitz-Riley high pass, −6 dB at the corner; shape (F,)."""
    s = 1j * frequencies / corner_hz
    return np.asarray(s**4 / (1.0 + np.sqrt(2.0) * s + s**2) ** 2)


@dataclass(frozen=True, slots=True)
class Shelf:
    """A first-order shelf that falls by `depth_db` on its way up, half of it at `centre_hz`."""

    centre_hz: float
    depth_db: float

    def transfer(self, frequencies: Floats) -> Complexes:
        """Voltage transfer, 1 at low frequencies; shape (F,)."""
        spread = 10.0 ** (self.depth_db / 40.0)
        s = 1j * frequencies / self.centre_hz
        return np.asarray((1.0 + s / spread) / (1.0 + s * spread))


@dataclass(frozen=True, slots=True)
class Branch:
    """What lies between the terminals and one driver.

    `delay_s` stands for the depth at which a driver sits, or for an all-pass ladder; `polarity` is +1 or −1.
    """

    passes: Literal["low", "high"]
    corner_hz: float
    pad_db: float = 0.0
    delay_s: float = 0.0
    polarity: int = 1
    shelves: tuple[Shelf, ...] = ()

    def transfer(self, frequencies: Floats) -> Complexes:
        """Voltage at the driver for each volt at the terminals; shape (F,)."""
        cut = low_pass if self.passes == "low" else high_pass
        gain = self.polarity * 10.0 ** (-self.pad_db / 20.0)
        factors = [cut(frequencies, self.corner_hz), *(s.transfer(frequencies) for s in self.shelves)]
        delay = np.exp(-2j * np.pi * frequencies * self.delay_s)
        return np.asarray(gain * delay * np.prod(factors, axis=0))
