"""A loudspeaker: a source, which says how much air moves, in a cabinet, which says what that sounds like.

Points are metres from the reference point on the front: x forward, y to the loudspeaker's left, z up. The
radiators of the cabinet are those of the source, in the same order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.source import Source


class Cabinet(Protocol):
    """A rigid body with radiators in it."""

    @property
    def radiators(self) -> Sequence[object]:
        """They, in order."""

    def transfer(self, points: Floats, frequencies: Floats, air: Air) -> Complexes:
        """Pressure at points (D, 3) for each unit of each radiator's volume velocity.

        Shape (C, D, F), Pa/(m³/s), e^(+jωt), time of flight included; frequencies (F,), above 0 Hz.
        """

    def flight_m(self, points: Floats) -> Floats:
        """The length whose time of flight is divided out before interpolation over frequency, shape (D,)."""

    def in_front_of(self, radiator: int, gap_m: float) -> Floats:
        """The point `gap_m` in front of a radiator's centre, shape (3,)."""


@dataclass(frozen=True, slots=True)
class Loudspeaker:
    """A source whose radiators sit in a cabinet.

    Raises
    ------
    ValueError
        Where one has more radiators than the other.
    """

    source: Source
    cabinet: Cabinet

    def __post_init__(self) -> None:
        names, places = self.source.radiators, len(self.cabinet.radiators)
        if len(names) != places:
            raise ValueError(f"each radiator has a place: {places} in the cabinet for {', '.join(names)}")

    def volume_velocities(self, frequencies: Floats, air: Air) -> Complexes:
        """Of each radiator for each volt at the terminals, m³/s/V; shape (C, F), f > 0."""
        return self.source.volume_velocities(frequencies, air)

    def impedance(self, frequencies: Floats, air: Air) -> Complexes:
        """At the terminals, ohms, shape (F,), f > 0; ValueError where a branch is an ideal filter."""
        return self.source.impedance(frequencies, air)

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

    def in_front_of(self, radiator: str, gap_m: float) -> Floats:
        """The point `gap_m` in front of the centre of the radiator of that name, shape (3,).

        Raises
        ------
        ValueError
            Where there is no such radiator; the message lists those there are.
        """
        names = self.source.radiators
        if radiator not in names:
            raise ValueError(f"no radiator is called {radiator}; there are: {', '.join(names)}")
        return self.cabinet.in_front_of(names.index(radiator), gap_m)

    def without(self, *faults: str) -> Loudspeaker:
        """The same loudspeaker in which these faults of its source don't sound."""
        return replace(self, source=self.source.without(*faults))
