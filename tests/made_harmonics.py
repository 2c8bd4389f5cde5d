"""Recordings of a sweep through a memoryless polynomial and a filter, from closed forms alone.

cos^k φ = 2^(1−k) Σ_m C(k, m) cos (k − 2m)φ (the power identities): what the polynomial adds at n times the
frequency is known exactly, so that each order is written as a sine of n times the sweep's phase, and leaves
out what a recorder's filter takes away above half the sample rate. Then one filter colours all orders.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
import numpy.typing as npt
import scipy.signal

Float64s = npt.NDArray[np.float64]

RATE = 48_000
#: The recorder passes what lies below.
PASSES_HZ = 23_500.0


def harmonic_amplitudes(coefficients: dict[int, float], amplitude: float, highest: int) -> Float64s:
    """Amplitudes of orders 0 to `highest` of Σ a_k x^k for x = A cos φ, with their signs."""
    found = np.zeros(highest + 1)
    for power, factor in coefficients.items():
        for m in range(power + 1):
            found[abs(power - 2 * m)] += factor * amplitude**power * comb(power, m) / 2.0**power
    return found


@dataclass(frozen=True)
class PolynomialLoudspeaker:
    """y = g ∗ Σ a_k x^k: `coefficients` a_k by k, and a filter g as second-order sections."""

    coefficients: dict[int, float]
    sections: Float64s | None = None
    highest: int = 10

    def orders(self, amplitude: float) -> Float64s:
        return harmonic_amplitudes(self.coefficients, amplitude, self.highest)

    def gain(self, frequency_hz: Float64s) -> Float64s:
        if self.sections is None:
            return np.ones(frequency_hz.shape)
        _, response = scipy.signal.sosfreqz(self.sections, frequency_hz, fs=RATE)
        return np.abs(response)

    def recorded(
        self,
        start_hz: float,
        rate_s: float,
        duration_s: float,
        amplitude: float,
        *,
        silence: tuple[float, float],
        turn: float = 0.0,
    ) -> Float64s:
        """sin(2π·f1·L·exp(t/L) + turn) at an amplitude, as recorded between two silences, in s."""
        t = np.arange(int(duration_s * RATE)) / RATE
        phase = 2.0 * np.pi * start_hz * rate_s * np.exp(t / rate_s) + turn - np.pi / 2.0
        frequency = start_hz * np.exp(t / rate_s)
        sound = np.zeros(t.size)
        for order, factor in enumerate(self.orders(amplitude)):
            if order > 0 and factor != 0.0:
                edge = np.clip((PASSES_HZ - order * frequency) / 500.0, 0.0, 1.0)
                sound += factor * np.sin(0.5 * np.pi * edge) ** 2 * np.cos(order * phase)
        before, after = (np.zeros(int(s * RATE)) for s in silence)
        whole = np.r_[before, sound, after]
        return whole if self.sections is None else np.asarray(scipy.signal.sosfilt(self.sections, whole))
