"""A loudspeaker as a source: how much air each of its radiators moves for a volt, and what load it is.

Boxes with their drivers (`enclosure`) behind the branches of a crossover (`network`). Drivers in one box feel
each other, and so do branches through them: with the drivers' admittance Y, seen from the ends of the
branches, and each branch's chain matrix [[a, b], [c, d]], the voltages U at the drivers follow from (diag a +
diag b · Y) U = H.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.enclosure import Enclosure, Fault, Motion
from earwitness.virtual.interior import Opening
from earwitness.virtual.network import Branch


@dataclass(frozen=True, slots=True)
class Output:
    """What a source does for a volt at its terminals.

    Attributes
    ----------
    volume_velocity
        Outward at each radiator, m³/s/V, shape (C, F).
    displacement
        Outward, of each driver's coil against its frame, m/V, shape (D, F).
    voltage
        At each driver's terminals, V/V, shape (D, F).
    current
        Into each driver, A/V, shape (D, F).
    """

    volume_velocity: Complexes
    displacement: Complexes
    voltage: Complexes
    current: Complexes


@dataclass(frozen=True, slots=True)
class Source:
    """Enclosures behind branches, whose names all differ.

    Raises
    ------
    ValueError
        Where a driver hangs on no branch or on two, or a name occurs twice.
    """

    enclosures: tuple[Enclosure, ...]
    branches: tuple[Branch, ...]

    def __post_init__(self) -> None:
        fed = [name for branch in self.branches for name in branch.drivers]
        if sorted(fed) != sorted(self.drivers):
            there, hung = ", ".join(self.drivers), ", ".join(fed)
            raise ValueError(f"each driver hangs on one branch: there are {there}; on branches are {hung}")
        for names in (self.radiators, self.fault_names):
            if len(set(names)) < len(names):
                raise ValueError(f"each radiator and each fault has a name of its own: {', '.join(names)}")

    @property
    def openings(self) -> tuple[Opening, ...]:
        """All radiators, box by box."""
        return tuple(opening for enclosure in self.enclosures for opening in enclosure.openings)

    @property
    def radiators(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(opening.name for opening in self.openings)

    @property
    def drivers(self) -> tuple[str, ...]:
        """Names of the drivers, box by box."""
        return tuple(unit.name for enclosure in self.enclosures for unit in enclosure.drive_units)

    def faults(self, air: Air) -> tuple[Fault, ...]:
        """What `without` can leave out, box by box."""
        return tuple(fault for enclosure in self.enclosures for fault in enclosure.faults(air))

    def ringing(self, name: str, air: Air) -> tuple[float, float]:
        """Frequency, Hz, and Q with which a fault dies away in its box; see `Enclosure.ringing`."""
        ((enclosure, fault),) = [
            (enclosure, fault)
            for enclosure in self.enclosures
            for fault in enclosure.faults(air)
            if fault.name == name
        ]
        return enclosure.ringing(fault, air)

    @property
    def fault_names(self) -> tuple[str, ...]:
        """Theirs, which don't depend on the air."""
        return tuple(fault.name for fault in self.faults(Air()))

    def without(self, *names: str) -> Source:
        """The same source in which these faults don't sound; its radiators keep their order.

        Raises
        ------
        ValueError
            Where there is no such fault; the message lists those there are.
        """
        unknown = set(names) - set(self.fault_names)
        if unknown:
            known = ", ".join(self.fault_names) or "none"
            raise ValueError(f"no fault is called {', '.join(sorted(unknown))}; there are: {known}")
        return replace(self, enclosures=tuple(enclosure.without(*names) for enclosure in self.enclosures))

    def output(self, frequencies: Floats, air: Air) -> Output:
        """Everything for a volt at the terminals, at frequencies (F,), f > 0."""
        motions = [enclosure.motion(frequencies, air) for enclosure in self.enclosures]
        admittance = self.admittance(motions)
        voltage = self.wiring @ self._solve(frequencies, admittance)
        current = np.einsum("def,ef->df", admittance, voltage)
        volume, displacement, start = [], [], 0
        for motion in motions:
            count = motion.admittance.shape[0]
            own = voltage[start : start + count]
            volume.append(np.einsum("odf,df->of", motion.volume_velocity, own))
            displacement.append(np.einsum("edf,df->ef", motion.displacement, own))
            start += count
        return Output(np.concatenate(volume), np.concatenate(displacement), voltage, current)

    def volume_velocities(self, frequencies: Floats, air: Air) -> Complexes:
        """Outward at each radiator for each volt at the terminals, m³/s/V, shape (C, F), f > 0."""
        return self.output(frequencies, air).volume_velocity

    def impedance(self, frequencies: Floats, air: Air) -> Complexes:
        """At the terminals, all branches in parallel, ohms, shape (F,), f > 0.

        Raises
        ------
        ValueError
            Where a branch is ideal: an active loudspeaker is no load.
        """
        if any(branch.ideal for branch in self.branches):
            raise ValueError("a source with ideal filters is no load; give its branches ladders of parts")
        output = self.output(frequencies, air)
        total = np.zeros(len(frequencies), dtype=np.complex128)
        for branch in self.branches:
            members = [self.drivers.index(name) for name in branch.drivers]
            chain = branch.ladder.chain(frequencies)
            into_load = output.current[members].sum(axis=0)
            total += branch.polarity * (
                chain[:, 1, 0] * output.voltage[members[0]] + chain[:, 1, 1] * into_load
            )
        return np.asarray(1.0 / total)

    @property
    def wiring(self) -> Floats:
        """1 where a driver (row) hangs on a branch (column)."""
        return np.array([[float(name in way.drivers) for way in self.branches] for name in self.drivers])

    def admittance(self, motions: list[Motion]) -> Complexes:
        """Of all drivers, shape (D, D, F): blocks, since boxes don't feel each other."""
        drivers, bins = len(self.drivers), motions[0].admittance.shape[-1]
        total = np.zeros((drivers, drivers, bins), dtype=np.complex128)
        start = 0
        for motion in motions:
            end = start + len(motion.admittance)
            total[start:end, start:end] = motion.admittance
            start = end
        return total

    def _solve(self, frequencies: Floats, admittance: Complexes) -> Complexes:
        """Voltage at the end of each branch, shape (B, F)."""
        drive = np.stack([branch.transfer(frequencies) for branch in self.branches])
        if not any(branch.ladder.steps for branch in self.branches):
            return drive
        chains = np.stack([branch.ladder.chain(frequencies) for branch in self.branches], axis=1)
        seen = np.einsum("db,def,ec->fbc", self.wiring, admittance, self.wiring)
        matrix = chains[:, :, 0, 1, None] * seen
        own = np.arange(len(self.branches))
        matrix[:, own, own] += chains[:, :, 0, 0]
        return np.asarray(np.linalg.solve(matrix, drive.T[..., None])[..., 0].T)
