"""What moves in the wall of a box: cones, air in ports, passive radiators, and panels that shouldn't.

Each is one or several bodies. A body has one velocity, a mechanical impedance against it, and an area by
which it pushes air out through one or more openings. All of them are in the same equations (`enclosure`), so
that a panel's resonance or a bending cone acts back on everything else as it does in a box.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.special import jv

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Frequencies
from earwitness.virtual.heating import Heating
from earwitness.virtual.interior import Opening
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.port_noise import PortNoise
from earwitness.virtual.voice_coil import VoiceCoil

#: End corrections in radii: free (Levine & Schwinger, Phys. Rev. 73, 383 (1948)) and flanged (Nomura,
#: Yamamura & Inawashiro, J. Phys. Soc. Japan 15, 510 (1960)); both recalled.
FREE_END = 0.6133
FLANGED_END = 0.8217
#: Attenuation in a smooth pipe of radius a: about 3·10⁻⁵ √f/a nepers a metre (Fletcher & Rossing, *The
#: Physics of Musical Instruments*, 8.2; recalled), √f in √Hz, a in metres.
WALL_LOSS = 3.0e-5


@dataclass(frozen=True, slots=True)
class Body:
    """One velocity.

    `impedance` is mechanical, N s/m, shape (F,), without what couples it to others; `areas` says by opening
    how much air it pushes out, m²; `emitted` is the share of that air that arrives outside, shape (F,) or 1.
    """

    name: str
    impedance: Complexes
    areas: Mapping[str, float]
    emitted: Complexes | float = 1.0


def resonant(mass_kg: float, frequency_hz: float, q: float, frequencies: Frequencies) -> Complexes:
    """Mechanical impedance m (s + ω₀/Q + ω₀²/s) of a mass on a spring, shape (F,), f > 0."""
    s, omega = 2j * np.pi * frequencies, 2.0 * np.pi * frequency_hz
    return np.asarray(mass_kg * (s + omega / q + omega**2 / s))


@dataclass(frozen=True, slots=True)
class Bending:
    """A resonance of a cone that bends: a mode of its own beside the piston's.

    A free cone's motion is that of a piston plus modes that leave its centre of mass where it is. Each is a
    mass on a spring that the coil drives with the same force as the piston; its velocity is counted at the
    coil. `mass_share` is its modal mass re the moving mass, `area_share` the air it moves re the piston's:
    negative where most of the cone moves against the coil. Both are large, since a coil sits where a cone
    that bends hardly moves. Under one force the piston's volume velocity is multiplied by 1 +
    (area_share/mass_share)·f²/(f² − f₀² − j f f₀/Q): a peak with a dip below it, or above it where the share
    is negative. In the driver, the coil's braking and the suspension act on the mode too, and lower its Q.
    """

    name: str
    frequency_hz: float
    q: float
    mass_share: float
    area_share: float


@dataclass(frozen=True, slots=True)
class DriveUnit:
    """A moving-coil driver, without its box.

    Attributes
    ----------
    opening
        Where it is; its name is the driver's.
    coil, force_factor
        Bl in N/A.
    mass_kg
        Moving mass with its air load.
    stiffness, damping
        Of the suspension, N/m and kg/s.
    diameter_m
        Effective diameter: the piston that moves as much air.
    bending
        The resonances of its cone.
    large_signal
        How its parameters depend on its displacement; None for a linear driver.
    heating
        How its coil warms; None where it doesn't. It needs large-signal facts, be they empty.
    """

    opening: Opening
    coil: VoiceCoil
    force_factor: float
    mass_kg: float
    stiffness: float
    damping: float
    diameter_m: float
    bending: tuple[Bending, ...] = ()
    large_signal: LargeSignal | None = None
    heating: Heating | None = None

    @property
    def name(self) -> str:
        """The opening's."""
        return self.opening.name

    @property
    def area_m2(self) -> float:
        """Effective area."""
        return math.pi * self.diameter_m**2 / 4.0

    @property
    def resonance_hz(self) -> float:
        """In free air."""
        return math.sqrt(self.stiffness / self.mass_kg) / (2.0 * math.pi)

    @property
    def electrical_q(self) -> float:
        """Quality factor at the free resonance by the coil's resistance alone."""
        loss = self.force_factor**2 / self.coil.resistance_ohm
        return math.sqrt(self.stiffness * self.mass_kg) / loss

    def equivalent_volume(self, air: Air) -> float:
        """The volume of air as stiff as its suspension, m³: ρc²S²/K."""
        return air.density * air.speed**2 * self.area_m2**2 / self.stiffness

    def bodies(self, frequencies: Frequencies) -> tuple[Body, ...]:
        """The piston, whose name is the driver's, and the modes of its cone."""
        s = 2j * np.pi * frequencies
        piston = Body(self.name, s * self.mass_kg, {self.name: self.area_m2})
        modes = (
            Body(
                mode.name,
                resonant(mode.mass_share * self.mass_kg, mode.frequency_hz, mode.q, frequencies),
                {self.name: mode.area_share * self.area_m2},
            )
            for mode in self.bending
        )
        return (piston, *modes)

    def link(self, frequencies: Frequencies) -> Complexes:
        """Mechanical impedance between coil and frame: suspension and the coil's own braking, (F,), N s/m."""
        s = 2j * np.pi * frequencies
        brake = self.force_factor**2 / self.coil.impedance(frequencies)
        return np.asarray(self.damping + self.stiffness / s + brake)


@dataclass(frozen=True, slots=True)
class Port:
    """A round pipe from the box to the outside, flanged there and free inside.

    With `resonant` it is a pipe in which the sound takes its time: it resonates near every half wave, damped
    by its walls and by what it radiates, 1 − J₁(2ka)/ka of ρc/S as a piston in a baffle (Kinsler; recalled).
    Without, it is the same air as one lump, as the theory of vented boxes has it.
    """

    opening: Opening
    diameter_m: float
    length_m: float
    resonant: bool = True
    noise: PortNoise | None = None

    @property
    def name(self) -> str:
        """The opening's."""
        return self.opening.name

    @property
    def area_m2(self) -> float:
        """Cross-section."""
        return math.pi * self.diameter_m**2 / 4.0

    @property
    def ends_m(self) -> float:
        """Length that both end corrections add."""
        return (FREE_END + FLANGED_END) * self.diameter_m / 2.0

    def half_wave_hz(self, air: Air) -> float:
        """The first resonance of the pipe: half a wave between its ends."""
        return air.speed / (2.0 * (self.length_m + self.ends_m))

    def tuning_hz(self, volume_m3: float, air: Air) -> float:
        """Resonance of the port's air, as one lump, on a volume of air: c/2π · √(S/(V·l))."""
        return (
            air.speed
            / (2.0 * math.pi)
            * math.sqrt(self.area_m2 / (volume_m3 * (self.length_m + self.ends_m)))
        )

    def bodies(self, frequencies: Frequencies, air: Air, resistance: float) -> tuple[Body, ...]:
        """Its air at the inner end; `resistance` is acoustic, Pa s/m³, at that end."""
        s = 2j * np.pi * frequencies
        characteristic = air.density * air.speed / self.area_m2
        outer = s * air.density * FLANGED_END * self.diameter_m / 2.0 / self.area_m2
        inner = s * air.density * FREE_END * self.diameter_m / 2.0 / self.area_m2 + resistance
        if self.resonant:
            size = 2.0 * np.pi * frequencies / air.speed * self.diameter_m / 2.0
            outer = outer + characteristic * (1.0 - jv(1, 2.0 * size) / size)
            loss = WALL_LOSS * np.sqrt(frequencies) / (self.diameter_m / 2.0)
            turn = (s / air.speed + loss) * self.length_m
            emitted = 1.0 / (np.cosh(turn) + outer / characteristic * np.sinh(turn))
            pipe = (outer * np.cosh(turn) + characteristic * np.sinh(turn)) * emitted
        else:
            emitted = np.ones_like(s)
            pipe = outer + s * air.density * self.length_m / self.area_m2
        impedance = (inner + pipe) * self.area_m2**2
        return (Body(self.name, impedance, {self.name: self.area_m2}, emitted),)

    @classmethod
    def tuned(cls, opening: Opening, diameter_m: float, tuning_hz: float, volume_m3: float, air: Air) -> Port:
        """The port of that diameter that tunes a volume as a lump.

        Raises
        ------
        ValueError
            Where the ends alone are longer than the port may be.
        """
        area = math.pi * diameter_m**2 / 4.0
        whole = area / volume_m3 * (air.speed / (2.0 * math.pi * tuning_hz)) ** 2
        length = whole - (FREE_END + FLANGED_END) * diameter_m / 2.0
        if length <= 0.0:
            raise ValueError(
                f"a port of {diameter_m:g} m can't tune {volume_m3:g} m³ to {tuning_hz:g} Hz; make it wider"
            )
        return cls(opening, diameter_m, length)


@dataclass(frozen=True, slots=True)
class Mouth:
    """An opening with the area by which a resonator pushes air out through it; negative where it sucks."""

    opening: Opening
    area_m2: float


@dataclass(frozen=True, slots=True)
class Resonator:
    """A mass on a spring in the wall of the box: a passive radiator, a panel, or a cavity with a mouth.

    The box's pressure drives it at each of its mouths. Where it carries a driver, the driver's force on its
    own frame drives it too: `carries` says by driver how far the frame moves when the resonator does, in its
    own measure. Mouths of opposite sign make a panel that moves in halves.
    """

    name: str
    kind: Literal["passive radiator", "panel", "cavity"]
    mouths: tuple[Mouth, ...]
    mass_kg: float
    frequency_hz: float
    q: float
    carries: Mapping[str, float] = field(default_factory=dict)

    def bodies(self, frequencies: Frequencies) -> tuple[Body, ...]:
        """The one mass."""
        areas = {mouth.opening.name: mouth.area_m2 for mouth in self.mouths}
        return (Body(self.name, resonant(self.mass_kg, self.frequency_hz, self.q, frequencies), areas),)
