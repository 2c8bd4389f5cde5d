"""The air in a box: a spring for everything that opens into it, and the standing waves that make it more.

In a box with rigid walls the pressure at one place for a volume velocity that enters at another is a sum over
the box's modes (Morse & Ingard, *Theoretical Acoustics*, 1968, section 9.4; recalled):

    z(x, y) = (ρc²/V) Σ ψₙ(x) ψₙ(y) / Λₙ · s / (s² + s ωₙ/Qₙ + ωₙ²),   s = jω

with ψₙ a product of cosines, and Λₙ the mean of ψₙ² over the box. The mode n = 0 has ωₙ = 0: it is the box's
compliance V/(ρc²), in series with the resistance of whatever absorbs in it. Only the standing waves that are
named are added to it, so that each can be left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Frequencies

Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Opening:
    """A place in the wall of a box: outside it radiates, inside it feels the box's pressure.

    `inside` is where it lies in the box, in shares of depth (0 at the rear), width (0 at the right) and
    height (0 at the bottom).
    """

    name: str
    inside: Place = (1.0, 0.5, 0.5)


@dataclass(frozen=True, slots=True)
class StandingWave:
    """One mode of a rectangular box: half waves along depth, width and height, and its quality factor."""

    name: str
    half_waves: tuple[int, int, int]
    q: float

    def shape(self, place: Place) -> float:
        """ψ at a place: 1 in the corner where all shares are 0."""
        return float(np.prod(np.cos(np.pi * np.multiply(self.half_waves, place))))

    @property
    def mean_square(self) -> float:
        """Λ: one half for each direction in which it waves."""
        return float(0.5 ** np.count_nonzero(self.half_waves))


@dataclass(frozen=True, slots=True)
class Interior:
    """The air in a box.

    Attributes
    ----------
    volume_m3
        Net volume.
    size_m
        Depth, width and height inside, for the standing waves.
    waves
        The standing waves that aren't damped away.
    """

    volume_m3: float
    size_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    waves: tuple[StandingWave, ...] = ()

    def __post_init__(self) -> None:
        if self.waves and min(self.size_m) <= 0.0:
            raise ValueError(
                "standing waves need the size of the box: depth, width and height inside, in metres"
            )

    def compliance(self, air: Air) -> float:
        """V/(ρc²) in m³/Pa."""
        return self.volume_m3 / (air.density * air.speed**2)

    def wave_hz(self, wave: StandingWave, air: Air) -> float:
        """Frequency of a standing wave: c/2 times the length of the vector of half waves a metre."""
        return float(air.speed / 2.0 * np.linalg.norm(np.divide(wave.half_waves, self.size_m)))

    def impedance(
        self, openings: Sequence[Opening], frequencies: Frequencies, air: Air, absorption: float = 0.0
    ) -> Complexes:
        """Pressure at each opening for the volume velocity that enters at each other.

        Parameters
        ----------
        openings
            O of them.
        frequencies
            Shape (F,), f > 0.
        air
            The air in the box.
        absorption
            Acoustic resistance in series with the compliance, Pa s/m³.

        Returns
        -------
        Shape (F, O, O), Pa s/m³, symmetric.
        """
        s = 2j * np.pi * frequencies
        compliance = self.compliance(air)
        places = len(openings)
        total = np.empty((len(frequencies), places, places), dtype=np.complex128)
        total[:] = (absorption + 1.0 / (s * compliance))[:, None, None]
        for wave in self.waves:
            omega = 2.0 * np.pi * self.wave_hz(wave, air)
            shape = np.array([wave.shape(opening.inside) for opening in openings])
            swing = s / (s**2 + s * omega / wave.q + omega**2) / (compliance * wave.mean_square)
            total += swing[:, None, None] * np.outer(shape, shape)
        return total
