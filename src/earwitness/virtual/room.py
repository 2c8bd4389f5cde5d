"""A rectangular room: its surfaces, and the mirror images in which the loudspeaker sees the microphone.

Places are metres in the room's own coordinates: origin where the reference point stands while the loudspeaker
faces the microphone, x from there towards the microphone ("ahead"), y to the left, z up.

A plane surface is a mirror: the sound that reaches the microphone by way of it is what the loudspeaker alone
would send to the microphone's image, times the surface's reflection coefficient (Allen & Berkley, JASA 65
(4), 1979; recalled). That is exact for rigid walls and a source without a body; here the loudspeaker's body
doesn't scatter what comes back to it. Absorption is given by octaves as tables have it; from it follows a
reflection coefficient of magnitude √(1 − α), alike at all angles, with the phase that belongs to that
magnitude (minimum phase), so that no reflection comes before its time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Final, Literal

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats

Side = Literal["ahead", "behind", "left", "right", "ceiling", "floor"]
#: For each side, the axis of its normal, and on which end of the axis it lies.
SIDES: Final[dict[Side, tuple[int, int]]] = {
    "ahead": (0, 1),
    "behind": (0, -1),
    "left": (1, 1),
    "right": (1, -1),
    "ceiling": (2, 1),
    "floor": (2, -1),
}
#: Octaves for which absorption is stated; beyond the ends it stays as it is there.
OCTAVES_HZ: Final = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)
#: Even grid on which the phase of a reflection is found: 8 Hz apart up to 65 kHz.
GRID_HZ, GRID_STEPS = 8.0, 2**13
#: The least reflection coefficient in magnitude, that a logarithm may be taken: −80 dB.
LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Surface:
    """One of the room's surfaces, `distance_m` from where the reference point stands.

    `reflection` is the reflection coefficient of sound pressure at all frequencies; where `absorption` is
    given, the absorption coefficients (of power, 0 to 1) of the six octaves from 125 Hz to 4 kHz, those rule.
    """

    side: Side
    distance_m: float
    reflection: float = 1.0
    absorption: tuple[float, float, float, float, float, float] | None = None

    def __post_init__(self) -> None:
        shares = self.absorption or (1.0 - self.reflection**2,)
        if self.distance_m <= 0.0 or min(shares) < 0.0 or max(shares) > 1.0:
            raise ValueError(
                f"the {self.side} is at a distance above 0, reflects between -1 and 1, and absorbs 0 to 1"
            )

    @property
    def place_m(self) -> float:
        """Its coordinate on the axis of its normal."""
        return SIDES[self.side][1] * self.distance_m

    def transfer(self, frequencies: Floats) -> Complexes:
        """Reflection coefficient of sound pressure, shape (F,), f > 0."""
        if self.absorption is None:
            return np.full(len(frequencies), self.reflection, dtype=np.complex128)
        grid = GRID_HZ * np.arange(GRID_STEPS + 1)
        octaves = np.log(np.maximum(grid, GRID_HZ))
        absorbed = np.interp(octaves, np.log(OCTAVES_HZ), self.absorption)
        response = minimum_phase(np.sqrt(np.maximum(1.0 - absorbed, LEAST**2)))
        real, imaginary = (np.interp(frequencies, grid, part) for part in (response.real, response.imag))
        return np.asarray(real + 1j * imaginary)


def minimum_phase(magnitude: Floats) -> Complexes:
    """The transfer function of minimum phase with a magnitude on an even grid from 0 Hz, both ends included.

    By the folded cepstrum (Oppenheim & Schafer, *Discrete-Time Signal Processing*; recalled). Shape (G,).
    """
    cepstrum = np.fft.irfft(np.log(magnitude))
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2.0
    cepstrum[half + 1 :] = 0.0
    return np.asarray(np.exp(np.fft.rfft(cepstrum)))


@dataclass(frozen=True, slots=True)
class Image:
    """The microphone as one or several mirrors show it: the surfaces met, and where it seems to be (D, 3)."""

    met: tuple[Surface, ...]
    places: Floats

    def gain(self, frequencies: Floats) -> Complexes:
        """Product of the reflection coefficients, shape (F,)."""
        total = np.ones(len(frequencies), dtype=np.complex128)
        for surface in self.met:
            total *= surface.transfer(frequencies)
        return total


@dataclass(frozen=True, slots=True)
class Room:
    """Up to six surfaces; without any, a free field.

    `order` is how many reflections a path may have. `ambient_pa` is the RMS of the background noise, which
    has equal power in every octave.
    """

    surfaces: tuple[Surface, ...] = ()
    order: int = 1
    ambient_pa: float = 0.0

    def __post_init__(self) -> None:
        sides = [surface.side for surface in self.surfaces]
        if len(set(sides)) < len(sides):
            raise ValueError(f"a room has each side once: {', '.join(sides)}")

    def surface(self, side: Side) -> Surface | None:
        """The surface on a side, where there is one."""
        return next((surface for surface in self.surfaces if surface.side == side), None)

    def images(self, places: Floats) -> list[Image]:
        """The microphone at places (D, 3) itself, then its images, those of fewer reflections first."""
        found = [
            Image(tuple(s for met, _ in trips for s in met), np.stack([u for _, u in trips], axis=-1))
            for trips in product(*(self._on_axis(axis, places[:, axis]) for axis in range(3)))
            if sum(len(met) for met, _ in trips) <= self.order
        ]
        return sorted(found, key=lambda image: len(image.met))

    def _on_axis(self, axis: int, along: Floats) -> Iterator[tuple[tuple[Surface, ...], Floats]]:
        """Images on one axis: by no surface, or by its surfaces in turn, starting with either."""
        yield (), along
        pair = [surface for surface in self.surfaces if SIDES[surface.side][0] == axis]
        for first in pair:
            second = next((surface for surface in pair if surface is not first), None)
            met: tuple[Surface, ...] = ()
            place, turn = along, first
            for _ in range(self.order):
                met = (*met, turn)
                place = 2.0 * turn.place_m - place
                yield met, place
                if second is None:
                    break
                turn = second if turn is first else first
