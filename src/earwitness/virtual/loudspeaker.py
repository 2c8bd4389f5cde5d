"""A loudspeaker: drivers behind crossover branches, in the caps of one cabinet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.crossover import Branch
from earwitness.virtual.parts import Driver
from earwitness.virtual.radiator import Cap, SphericalCabinet


@dataclass(frozen=True, slots=True)
class Way:
    """One driver, its branch of the crossover, and its cap in the cabinet."""

    name: str
    driver: Driver
    branch: Branch
    cap: Cap


@dataclass(frozen=True, slots=True)
class Loudspeaker:
    """A passive loudspeaker on a spherical cabinet.

    Points are metres from the reference point, the foremost point of the cabinet: x forward, y to the
    loudspeaker's left, z up.
    """

    cabinet_diameter_m: float
    ways: tuple[Way, ...]

    @property
    def cabinet(self) -> SphericalCabinet:
        """The sphere with every way's cap in it."""
        return SphericalCabinet(self.cabinet_diameter_m, tuple(way.cap for way in self.ways))

    def volume_velocities(self, frequencies: Floats, air: Air) -> Complexes:
        """Volume velocity of each way for each volt at the terminals, m³/s/V; shape (C, F), f > 0."""
        return np.stack(
            [
                way.branch.transfer(frequencies) * way.driver.volume_velocity(frequencies, air)
                for way in self.ways
            ]
        )

    def pressure(self, points: Floats, frequencies: Floats, drive: float, air: Air) -> Complexes:
        """Sound pressure at points (D, 3) for `drive` volts RMS at the terminals.

        Returns
        -------
        Shape (D, F), Pa RMS: 20 lg(|p|/20 µPa) is the sound pressure level. Phase follows e^(+jωt) and holds
        the time of flight.
        """
        transfer = self.cabinet.transfer(points, frequencies, air)
        velocity = drive * self.volume_velocities(frequencies, air)
        return np.asarray(np.einsum("cdf,cf->df", transfer, velocity))

    def way(self, name: str) -> int:
        """Number of the way called `name`."""
        return [way.name for way in self.ways].index(name)
