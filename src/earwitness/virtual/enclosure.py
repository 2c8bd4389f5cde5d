"""Drivers, ports and resonators on one box of air: one set of linear equations.

Each body k has a velocity vₖ. With its own impedance zₖ, the areas A by which bodies push air out through
openings, the box's impedance Z between openings (`interior`), and for each driver j the velocity gⱼᵀv of its
coil against its frame, which its suspension and its own braking Lⱼ resist,

    (diag z + A Z Aᵀ + Σⱼ gⱼ Lⱼ gⱼᵀ) v = Σⱼ gⱼ (Bl)ⱼ/Zₑⱼ · Uⱼ

gⱼ is 1 for the driver's piston and the modes of its cone, and minus what a resonator carries of it. The
matrix is symmetric (reciprocity), and its real part is never negative (nothing in a box gives power). For one
driver on one volume this is the closed box of Small (JAES 20 (10), 1972), and with a port the vented box of
Thiele (JAES 19 (5), 1971) and Small (JAES 21 (5), 1973), losses as there; recalled. The reaction of the air
outside is part of masses and end corrections; the power radiated, less than two hundredths of the whole, is
drawn from the pipes of ports alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats, Frequencies
from earwitness.virtual.bodies import Body, DriveUnit, Port, Resonator
from earwitness.virtual.interior import Interior, Opening

#: A standing wave without resonance. What is left of it is slow: the mass of air that moves about in the box.
STUFFED_Q = 0.5
#: Newton's method for how a fault rings: a pipe's start, a start beside the own pole, and the most steps.
UNKNOWN_Q = 10.0
OFF_THE_POLE = 1.002
ITERATIONS = 60


@dataclass(frozen=True, slots=True)
class Losses:
    """What a box loses, as quality factors at one frequency, that of its tuning (Small 1973; recalled).

    `leak` is a resistance that bypasses the box's compliance C, Q = ωRC; `absorption` one in series with it,
    Q = 1/(ωRC); `port` one in series with the air of all ports together, Q = 1/(ωRC).
    """

    at_hz: float
    leak: float = math.inf
    absorption: float = math.inf
    port: float = math.inf

    def resistances(self, compliance: float) -> tuple[float, float, float]:
        """Of leak, absorption and all ports together, Pa s/m³."""
        reactance = 1.0 / (2.0 * math.pi * self.at_hz * compliance)
        return self.leak * reactance, reactance / self.absorption, reactance / self.port


LOSSLESS = Losses(1.0)


@dataclass(frozen=True, slots=True)
class Motion:
    """How everything in a box moves: one driver at a time has a volt, the others are shorted.

    Attributes
    ----------
    volume_velocity
        Outward through each opening, m³/s/V, shape (O, D, F).
    displacement
        Of each driver's coil against its frame, m/V, shape (D, D, F): the moving driver first.
    admittance
        Current into each driver for a volt at each, A/V, shape (D, D, F), symmetric.
    velocity
        Of each body, m/s/V, shape (B, D, F).
    """

    volume_velocity: Complexes
    displacement: Complexes
    admittance: Complexes
    velocity: Complexes


@dataclass(frozen=True, slots=True)
class Fault:
    """What sounds in a box though it shouldn't, as it was put there.

    Frequency and quality factor are its own: the box and the driver that it meets shift them
    (`Enclosure.ringing`). `q` is None for a pipe, which takes it from its walls and its radiation.
    `radiators` names the openings where it comes out.
    """

    name: str
    kind: Literal["bending", "standing wave", "pipe", "panel", "cavity"]
    radiators: tuple[str, ...]
    frequency_hz: float
    q: float | None


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A box with everything in its walls.

    `silent` names what doesn't sound though it has its place, so that with and without can be compared. Modes
    of cones and resonators stand still; pipes of ports (by the port's name) are lumps of air; standing waves
    are damped to `STUFFED_Q`, since the slow part of them belongs to the box's tuning whether they sound or
    not. A leak radiates where the first driver does, round whose edge it is taken to be.
    """

    interior: Interior
    drive_units: tuple[DriveUnit, ...]
    ports: tuple[Port, ...] = ()
    resonators: tuple[Resonator, ...] = ()
    losses: Losses = LOSSLESS
    silent: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        carried = {name for resonator in self.resonators for name in resonator.carries}
        unknown = carried - {unit.name for unit in self.drive_units}
        if unknown:
            raise ValueError(
                f"no driver of this box is called {', '.join(sorted(unknown))}; a resonator carries it"
            )
        moving = [unit.name for unit in self.drive_units] + [port.name for port in self.ports]
        moving += [resonator.name for resonator in self.resonators]
        moving += [mode.name for unit in self.drive_units for mode in unit.bending]
        moving += [wave.name for wave in self.interior.waves]
        if len(set(moving)) < len(moving):
            raise ValueError(f"each part, mode and wave of a box has a name of its own: {', '.join(moving)}")

    @property
    def openings(self) -> tuple[Opening, ...]:
        """Drivers, ports, then the mouths of resonators: the radiators, in this order."""
        mouths = (mouth.opening for resonator in self.resonators for mouth in resonator.mouths)
        return (*(unit.opening for unit in self.drive_units), *(port.opening for port in self.ports), *mouths)

    def faults(self, air: Air) -> tuple[Fault, ...]:
        """What `without` can leave out: all but passive radiators, which are meant."""
        found = [
            Fault(mode.name, "bending", (unit.name,), mode.frequency_hz, mode.q)
            for unit in self.drive_units
            for mode in unit.bending
        ]
        everywhere = tuple(opening.name for opening in self.openings)
        for wave in self.interior.waves:
            frequency = self.interior.wave_hz(wave, air)
            found.append(Fault(wave.name, "standing wave", everywhere, frequency, wave.q))
        pipes = (port for port in self.ports if port.resonant)
        found += (Fault(port.name, "pipe", (port.name,), port.half_wave_hz(air), None) for port in pipes)
        for part in self.resonators:
            if part.kind != "passive radiator":
                mouths = tuple(mouth.opening.name for mouth in part.mouths)
                found.append(Fault(part.name, part.kind, mouths, part.frequency_hz, part.q))
        return tuple(found)

    def without(self, *names: str) -> Enclosure:
        """The same box in which these faults don't sound; openings keep their order."""
        return replace(self, silent=self.silent | set(names))

    def ringing(self, fault: Fault, air: Air) -> tuple[float, float]:
        """Frequency, Hz, and quality factor with which a fault dies away in this box, its drivers shorted.

        A zero of the equations' determinant over complex frequency s, f₀ = |s|/2π and Q = −|s|/(2 Re s), by
        Newton's method from the fault's own. What a passive crossover does to the braking isn't in it.

        Raises
        ------
        ValueError
            Where the fault is damped so far that it doesn't ring.
        """
        omega = 2.0 * math.pi * fault.frequency_hz
        s = omega * complex(-0.5 / (fault.q or UNKNOWN_Q), 1.0) * OFF_THE_POLE
        for _ in range(ITERATIONS):
            h = 1e-5 * abs(s)
            here, above, below = self._characteristic(np.array([s, s + h, s - h]), air)
            step = here * 2.0 * h / (above - below)
            s -= step
            if abs(step) < 1e-10 * abs(s):
                break
        if not (s.real < 0.0 < s.imag):
            raise ValueError(f"{fault.name} doesn't ring in this box")
        return abs(s) / (2.0 * math.pi), -abs(s) / (2.0 * s.real)

    def _characteristic(self, s: Complexes, air: Air) -> Complexes:
        """The determinant without its poles, which are the standing waves' and the pipes' own."""
        frequencies = s / (2j * math.pi)
        bodies = self.bodies(frequencies, air)
        value = np.linalg.det(self._matrix(bodies, frequencies, air))
        for wave in self.interior.waves:
            omega = 2.0 * math.pi * self.interior.wave_hz(wave, air)
            value = value * (s**2 + s * omega / wave.q + omega**2)
        for body in bodies:
            value = value / body.emitted
        return np.asarray(value)

    def bodies(self, frequencies: Frequencies, air: Air) -> tuple[Body, ...]:
        """All that moves, frequencies (F,), f > 0."""
        leak, _, port_loss = self.losses.resistances(self.interior.compliance(air))
        each = port_loss * len(self.ports)
        bodies = [body for unit in self.drive_units for body in unit.bodies(frequencies)]
        for port in self.ports:
            sounding = replace(port, resonant=port.resonant and port.name not in self.silent)
            bodies += sounding.bodies(frequencies, air, each)
        for resonator in self.resonators:
            bodies += resonator.bodies(frequencies)
        if math.isfinite(leak):
            first = self.drive_units[0]
            resistance = np.full(len(frequencies), leak * first.area_m2**2, dtype=np.complex128)
            bodies.append(Body("leak", resistance, {first.name: first.area_m2}))
        tuned = {port.name for port in self.ports}
        return tuple(body for body in bodies if body.name not in self.silent - tuned)

    def motion(self, frequencies: Floats, air: Air) -> Motion:
        """Solve for frequencies (F,), f > 0."""
        bodies = self.bodies(frequencies, air)
        grips = self._grips(bodies)
        coil = np.stack([unit.coil.impedance(frequencies) for unit in self.drive_units])
        factor = np.array([unit.force_factor for unit in self.drive_units])[:, None]
        matrix = self._matrix(bodies, frequencies, air)
        force = grips * np.moveaxis(factor / coil, 0, -1)[:, None, :]
        velocity = np.moveaxis(np.linalg.solve(matrix, force), 0, -1)
        emitted = np.stack([np.broadcast_to(body.emitted, frequencies.shape) for body in bodies])
        volume_velocity = np.einsum("bo,bf,bdf->odf", self._areas(bodies), emitted, velocity)
        relative = np.einsum("bj,bdf->jdf", grips, velocity)
        identity = np.eye(len(self.drive_units))[..., None]
        admittance = (identity - factor[:, None] * relative) / coil[:, None]
        return Motion(volume_velocity, relative / (2j * np.pi * frequencies), admittance, velocity)

    def _matrix(self, bodies: tuple[Body, ...], frequencies: Frequencies, air: Air) -> Complexes:
        """What the bodies' velocities meet, N s/m, shape (F, B, B)."""
        grips = self._grips(bodies)
        link = np.stack([unit.link(frequencies) for unit in self.drive_units])
        matrix = self._air_load(bodies, frequencies, air) + np.einsum("bj,jf,cj->fbc", grips, link, grips)
        own = np.arange(len(bodies))
        matrix[:, own, own] += np.stack([body.impedance for body in bodies], axis=-1)
        return np.asarray(matrix)

    def _areas(self, bodies: tuple[Body, ...]) -> Floats:
        names = [opening.name for opening in self.openings]
        return np.array([[body.areas.get(name, 0.0) for name in names] for body in bodies])

    def _air_load(self, bodies: tuple[Body, ...], frequencies: Frequencies, air: Air) -> Complexes:
        areas = self._areas(bodies)
        _, absorption, _ = self.losses.resistances(self.interior.compliance(air))
        waves = tuple(
            replace(wave, q=STUFFED_Q) if wave.name in self.silent else wave for wave in self.interior.waves
        )
        inside = replace(self.interior, waves=waves)
        return areas @ inside.impedance(self.openings, frequencies, air, absorption) @ areas.T

    def _grips(self, bodies: tuple[Body, ...]) -> Floats:
        grips = np.zeros((len(bodies), len(self.drive_units)))
        carried = {resonator.name: resonator.carries for resonator in self.resonators}
        for j, unit in enumerate(self.drive_units):
            cone = {unit.name, *(mode.name for mode in unit.bending)}
            for b, body in enumerate(bodies):
                grips[b, j] = float(body.name in cone) - carried.get(body.name, {}).get(unit.name, 0.0)
        return grips
