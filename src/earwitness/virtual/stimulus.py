"""The stimulus: a synchronised exponential sweep, or any samples.

x(t) = sin(2π f₁ L e^(t/L)) with L = round(f₁ T / ln(f₂/f₁))/f₁, so that f₁L is a whole number and the n-th
harmonic leads the fundamental by exactly L ln n (Novak, Lotton, Simon, JAES 63 (10), 2015; recalled; Farina,
AES preprint 5093, 2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from earwitness.virtual.arrays import Floats


class Stimulus(Protocol):
    """What is played."""

    @property
    def peak(self) -> float:
        """The amplitude, re full scale, at which a steady sine would have the stated drive."""

    def samples(self) -> Floats:
        """The samples re full scale, shape (N,)."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """A sweep from `first_hz` to `last_hz` that lasts about `wanted_s`.

    `peak` is its amplitude re digital full scale; the fades are halves of a Hann window.
    """

    first_hz: float
    last_hz: float
    wanted_s: float
    peak: float
    sample_rate_hz: int
    fade_in_s: float = 0.1
    fade_out_s: float = 0.005

    def __post_init__(self) -> None:
        if not 0.0 < self.first_hz < self.last_hz <= self.sample_rate_hz / 2.0:
            raise ValueError("a sweep rises from first_hz to last_hz, half the sample rate at most")

    @property
    def rate_s(self) -> float:
        """L: the time in which the frequency grows by the factor e."""
        cycles = round(self.first_hz * self.wanted_s / np.log(self.last_hz / self.first_hz))
        if cycles < 1:
            raise ValueError("the sweep is too short for its first frequency; make it longer")
        return float(cycles / self.first_hz)

    @property
    def duration_s(self) -> float:
        """T: how long it really lasts."""
        return float(self.rate_s * np.log(self.last_hz / self.first_hz))

    def lead_s(self, order: int) -> float:
        """How far the response of a harmonic leads the linear one after deconvolution."""
        return float(self.rate_s * np.log(order))

    def samples(self) -> Floats:
        """The sweep re full scale, shape (N,), not to be written to."""
        return _sweep(self)


@lru_cache(maxsize=4)
def _sweep(sweep: Sweep) -> Floats:
    """Its samples, once for all takes."""
    count = int(np.floor(sweep.duration_s * sweep.sample_rate_hz))
    time = np.arange(count) / sweep.sample_rate_hz
    wave = sweep.peak * np.sin(2.0 * np.pi * sweep.first_hz * sweep.rate_s * np.exp(time / sweep.rate_s))
    fade_in = np.clip(time / sweep.fade_in_s, 0.0, 1.0)
    fade_out = np.clip((time[-1] - time) / sweep.fade_out_s, 0.0, 1.0)
    faded = np.asarray(wave * np.sin(np.pi / 2 * fade_in) ** 2 * np.sin(np.pi / 2 * fade_out) ** 2)
    faded.flags.writeable = False
    return faded


@dataclass(frozen=True, slots=True)
class Samples:
    """Any stimulus: its samples re full scale, shape (N,), at the chain's rate."""

    values: Floats

    @property
    def peak(self) -> float:
        """Its largest magnitude."""
        return float(np.max(np.abs(self.values)))

    def samples(self) -> Floats:
        """They."""
        return self.values
