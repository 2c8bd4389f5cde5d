"""Crossovers: what lies between the terminals and each driver, as ideal filters or as a real ladder of parts.

Ideal filters are voltage transfer functions of s = jω/ω₀, as an active crossover has them. A Butterworth
filter of order n has its poles spread evenly over the left half of the unit circle; a Linkwitz-Riley filter
of order 2n is a Butterworth filter of order n, twice (Linkwitz, JAES 24 (1), 1976). Low and high pass
together have level 0 dB at every frequency for Linkwitz-Riley (of orders 2, 6 … with one polarity turned) and
for Butterworth of odd orders (of order 3 with either polarity). All recalled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.ladder import WIRE, Ladder


class Section(Protocol):
    """Anything with a voltage transfer function."""

    def transfer(self, frequencies: Floats) -> Complexes:
        """Volts out for each volt in, shape (F,)."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A low or high pass."""

    passes: Literal["low", "high"]
    family: Literal["butterworth", "linkwitz_riley"]
    order: int
    corner_hz: float

    def __post_init__(self) -> None:
        if self.order < 1 or (self.family == "linkwitz_riley" and self.order % 2):
            raise ValueError(
                f"there is no {self.family} filter of order {self.order}; Linkwitz-Riley orders are even"
            )

    def transfer(self, frequencies: Floats) -> Complexes:
        """1 in its pass band; at the corner −3.01 dB (Butterworth) or −6.02 dB (Linkwitz-Riley)."""
        s = 1j * frequencies / self.corner_hz
        twice = self.family == "linkwitz_riley"
        order = self.order // 2 if twice else self.order
        below = np.ones_like(s) if order % 2 == 0 else 1.0 + s
        for k in range(order // 2):
            below = below * (1.0 + 2.0 * np.sin(np.pi * (2 * k + 1) / (2 * order)) * s + s**2)
        above = np.ones_like(s) if self.passes == "low" else s**self.order
        return np.asarray(above / below**2 if twice else above / below)


@dataclass(frozen=True, slots=True)
class Bell:
    """A peak or, with a negative gain, a notch: (s² + g s/Q + 1)/(s² + s/Q + 1), g = 10^(gain/20)."""

    centre_hz: float
    gain_db: float
    q: float

    def transfer(self, frequencies: Floats) -> Complexes:
        """1 far from its centre."""
        s = 1j * frequencies / self.centre_hz
        gain = 10.0 ** (self.gain_db / 20.0)
        return np.asarray((s**2 + gain * s / self.q + 1.0) / (s**2 + s / self.q + 1.0))


@dataclass(frozen=True, slots=True)
class Shelf:
    """A first-order shelf that falls by `depth_db` on its way up, half of it at `centre_hz`."""

    centre_hz: float
    depth_db: float

    def transfer(self, frequencies: Floats) -> Complexes:
        """1 at low frequencies."""
        spread = 10.0 ** (self.depth_db / 40.0)
        s = 1j * frequencies / self.centre_hz
        return np.asarray((1.0 + s / spread) / (1.0 + s * spread))


@dataclass(frozen=True, slots=True)
class AllPass:
    """Level 0 dB everywhere and a falling phase: of the first order without `q`, of the second with it."""

    centre_hz: float
    q: float | None = None

    def transfer(self, frequencies: Floats) -> Complexes:
        """Turns by half its full 180 or 360 degrees at its centre."""
        s = 1j * frequencies / self.centre_hz
        if self.q is None:
            return np.asarray((1.0 - s) / (1.0 + s))
        return np.asarray((s**2 - s / self.q + 1.0) / (s**2 + s / self.q + 1.0))


@dataclass(frozen=True, slots=True)
class Branch:
    """One way of a crossover: sections, then a ladder, then one driver or several in parallel.

    Attributes
    ----------
    drivers
        Names of the drivers at its end, all at the same voltage: two make a pair.
    sections
        Ideal filters; none for a passive branch.
    ladder
        Parts between an amplifier and the drivers, which are its load; empty for a wire.
    pad_db
        How much less than the terminals' voltage the pass band gets.
    delay_s
        Of the signal.
    polarity
        +1 or −1.
    """

    drivers: tuple[str, ...]
    sections: tuple[Section, ...] = ()
    ladder: Ladder = WIRE
    pad_db: float = 0.0
    delay_s: float = 0.0
    polarity: Literal[1, -1] = 1

    @property
    def ideal(self) -> bool:
        """Whether it does what no passive part does, so that it has no load of its own."""
        return bool(self.sections or self.pad_db or self.delay_s)

    def transfer(self, frequencies: Floats) -> Complexes:
        """Volts before the ladder for each volt at the terminals, polarity included, shape (F,)."""
        gain = self.polarity * 10.0 ** (-self.pad_db / 20.0)
        total = gain * np.exp(-2j * np.pi * frequencies * self.delay_s)
        for section in self.sections:
            total = total * section.transfer(frequencies)
        return np.asarray(total)
