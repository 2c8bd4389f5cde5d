"""Radiators: round caps that move on a rigid sphere, by the exact series.

Time dependence is e^(+jωt). A cap of half-angle θ₀ on a sphere of radius a moves radially with velocity U;
then (Morse & Ingard, *Theoretical Acoustics*, 1968, section 7.2, there with e^(−iωt); recalled)

    p(r, γ) = −jρcU Σ uₙ hₙ(kr)/hₙ'(ka) Pₙ(cos γ),   uₙ = [Pₙ₋₁(cos θ₀) − Pₙ₊₁(cos θ₀)]/2,   u₀ = (1 − cos
    θ₀)/2

with spherical Hankel functions of the second kind and γ the angle at the sphere's centre between cap and
listener. It holds at every distance outside the sphere, diffraction round the cabinet included.

The quotients come by recursion, since the functions themselves overflow: Rₙ(x) = hₙ/hₙ₋₁ climbs stably by
Rₙ₊₁ = (2n+1)/x − 1/Rₙ from R₁ = 1/x + j, hₙ(kr)/hₙ(ka) is the running product of Rₙ(kr)/Rₙ(ka), and
hₙ'(ka)/hₙ(ka) = n/ka − Rₙ₊₁(ka).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats

#: What is left of the largest term when the series ends.
TRUNCATION = 1e-12
#: More terms than this mean a point within a ten-thousandth of the radius above the surface.
MOST_TERMS = 300_000
#: Frequencies that share a number of terms.
BLOCK = 64


@dataclass(frozen=True, slots=True)
class Cap:
    """A round radiator flush with the sphere.

    Its place is the direction of its centre from the sphere's: azimuth counter-clockwise from above,
    elevation up. `diameter_m` is that of its rim.
    """

    diameter_m: float
    elevation_deg: float
    azimuth_deg: float = 0.0

    @property
    def direction(self) -> Floats:
        """Unit vector from the sphere's centre, shape (3,)."""
        azimuth, elevation = np.radians([self.azimuth_deg, self.elevation_deg])
        flat = np.cos(elevation)
        return np.array([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)])


@dataclass(frozen=True, slots=True)
class SphericalCabinet:
    """A rigid sphere with caps in it. The origin of points is its foremost point, x forward."""

    diameter_m: float
    caps: tuple[Cap, ...]

    @property
    def radius_m(self) -> float:
        """Radius of the sphere."""
        return self.diameter_m / 2.0

    @property
    def radiators(self) -> tuple[Cap, ...]:
        """The caps, as every cabinet calls what moves in it."""
        return self.caps

    @property
    def centre(self) -> Floats:
        """The sphere's centre, shape (3,)."""
        return np.array([-self.radius_m, 0.0, 0.0])

    def distance_m(self, points: Floats) -> Floats:
        """Distance of points (D, 3) from the sphere's centre, shape (D,)."""
        return np.asarray(np.linalg.norm(points - self.centre, axis=-1))

    def flight_m(self, points: Floats) -> Floats:
        """What is divided out before interpolation over frequency: the way to the surface, shape (D,)."""
        return self.distance_m(points) - self.radius_m

    def in_front_of(self, radiator: int, gap_m: float) -> Floats:
        """The point `gap_m` in front of a cap's centre, shape (3,)."""
        return self.centre + (self.radius_m + gap_m) * self.caps[radiator].direction

    def transfer(self, points: Floats, frequencies: Floats, air: Air) -> Complexes:
        """Pressure at points outside the sphere, as `loudspeaker.Cabinet.transfer` has it."""
        sight = points - self.centre
        distance = np.linalg.norm(sight, axis=-1)
        cosines = np.stack([(sight / distance[:, None]) @ cap.direction for cap in self.caps])
        half_angles = np.arcsin([cap.diameter_m / self.diameter_m for cap in self.caps])
        areas = 2.0 * np.pi * self.radius_m**2 * (1.0 - np.cos(half_angles))
        wavenumbers = 2.0 * np.pi * frequencies / air.speed
        order = np.argsort(wavenumbers)
        series = np.empty((len(self.caps), len(points), len(frequencies)), dtype=np.complex128)
        for start in range(0, len(order), BLOCK):
            block = order[start : start + BLOCK]
            series[..., block] = cap_series(
                wavenumbers[block], self.radius_m, distance, cosines, np.asarray(half_angles)
            )
        return -1j * air.density * air.speed * series / areas[:, None, None]


def terms_needed(largest_ka: float, nearest_ratio: float) -> int:
    """Number of terms after which the series has converged.

    Terms beyond n = ka fall as (a/r)ⁿ; the cube root covers the transition between the two.
    """
    if nearest_ratio <= 1.0:
        raise ValueError("a point lies inside the cabinet or on its surface; move it outside")
    tail = np.log(1.0 / TRUNCATION) / np.log(nearest_ratio)
    terms = int(np.ceil(largest_ka + 5.0 * np.cbrt(largest_ka) + tail)) + 2
    if terms > MOST_TERMS:
        raise ValueError("a point lies too close to the cabinet's surface; move it outward")
    return terms


def cap_series(
    wavenumbers: Floats, radius_m: float, distance_m: Floats, cosines: Floats, half_angles: Floats
) -> Complexes:
    """The sum Σ uₙ hₙ(kr)/hₙ'(ka) Pₙ(cos γ) for caps on one sphere.

    Parameters
    ----------
    wavenumbers
        Shape (F,), 1/m.
    radius_m
        Radius a of the sphere.
    distance_m
        Shape (D,): distance r of each point from its centre.
    cosines
        Shape (C, D): cos γ for each cap and point.
    half_angles
        Shape (C,), radians.

    Returns
    -------
    Shape (C, D, F).
    """
    ka = wavenumbers * radius_m
    kr = distance_m[:, None] * wavenumbers
    climb_a, climb_r = 1.0 / ka + 1j, 1.0 / kr + 1j
    quotient = (radius_m / distance_m)[:, None] * np.exp(-1j * (kr - ka))
    rim = np.cos(half_angles)
    rim_before, rim_here = np.ones_like(rim), np.ones_like(rim)
    before, here = np.zeros_like(cosines), np.ones_like(cosines)
    total = np.zeros((len(cosines), *kr.shape), dtype=np.complex128)
    for n in range(terms_needed(float(ka.max()), float(distance_m.min() / radius_m))):
        rim_after = ((2 * n + 1) * rim * rim_here - n * rim_before) / (n + 1)
        share = (rim_before - rim_after) / 2.0
        term = quotient / (n / ka - climb_a)
        total += (share[:, None] * here)[..., None] * term
        before, here = here, ((2 * n + 1) * cosines * here - n * before) / (n + 1)
        rim_before, rim_here = rim_here, rim_after
        quotient *= climb_r / climb_a
        climb_a = (2 * n + 3) / ka - 1.0 / climb_a
        climb_r = (2 * n + 3) / kr - 1.0 / climb_r
    return total
