"""A round piston in a rigid plane: what it sends to any point, near or far, as a bundle of rays.

In polar coordinates (m, ψ) about the point's foot on the plane the integral over the disc has a closed form
along m, since R² = m² + h² makes m dm = R dR:

    ∫∫ e^(−jkR)/R dS = ∫ [e^(−jkR₁(ψ)) − e^(−jkR₂(ψ))]/(jk) dψ

where R₁ and R₂ are the distances at which the ray ψ enters and leaves the disc. What is left is one smooth
integral over ψ. It needs no grid on the disc, has no singularity at the surface, and gives each ray's
direction, which a diffracting edge needs (Stepanishen, JASA 49 (5), 1971, has the same geometry in the time
domain; derived).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats

#: Rays beyond those that the piston's size in wavelengths asks for.
FEWEST_RAYS = 8


@dataclass(frozen=True, slots=True)
class Rays:
    """Rays from points to a disc, all of shape (M, J).

    `turn` is the angle to the disc's centre about the foot, between `turn_low` and `turn_high`; `weight` the
    integration weight in radians; `near` and `far` the distances at which a ray enters and leaves the disc.
    """

    turn: Floats
    turn_low: Floats
    turn_high: Floats
    weight: Floats
    near: Floats
    far: Floats

    def strength(self, wavenumbers: Floats, flight: Floats) -> Complexes:
        """Each ray's share of ∫ e^(−jk(R − flight))/R dS; wavenumbers (F,), flight (M,) -> (M, J, F)."""
        middle = (self.near + self.far) / 2.0 - flight[:, None]
        half = (self.far - self.near) / 2.0
        phase = np.exp(-1j * middle[..., None] * wavenumbers)
        return np.asarray(
            phase * (2.0 * self.weight * half)[..., None] * np.sinc(half[..., None] * wavenumbers / np.pi)
        )


def rays_needed(radius_m: float, wavenumber: float) -> int:
    """Rays that resolve a disc at a wavenumber: its radius as a phase, and some more."""
    return FEWEST_RAYS + int(np.ceil(0.7 * wavenumber * radius_m))


def rays_to(radius_m: float, aside: Floats, height: Floats, count: int) -> Rays:
    """Rays to a disc from points `aside` (M,) from its axis and `height` (M,) above its plane.

    From beside the disc they lie at the nodes of Gauss and Chebyshev (second kind) across it, which suit
    chords that vanish like a square root at the rim; from above it they go all round.
    """
    shape = (len(aside), count)
    turn, low, high, weight, enter, leave = (np.empty(shape) for _ in range(6))
    out = aside > radius_m
    if out.any():
        away = aside[out, None]
        angle = np.arange(1, count + 1) * np.pi / (count + 1)
        turn[out] = np.arcsin(radius_m / away * np.cos(angle))
        low[out] = np.arcsin(radius_m / away * np.cos(angle + np.pi / (2 * count + 2)))
        high[out] = np.arcsin(radius_m / away * np.cos(angle - np.pi / (2 * count + 2)))
        weight[out] = np.pi / (count + 1) * np.sin(angle) * radius_m / away / np.cos(turn[out])
        enter[out] = away * np.cos(turn[out]) - radius_m * np.sin(angle)
        leave[out] = away * np.cos(turn[out]) + radius_m * np.sin(angle)
    if not out.all():
        away = aside[~out, None]
        turn[~out] = (np.arange(count) + 0.5) * 2.0 * np.pi / count
        low[~out], high[~out] = turn[~out] - np.pi / count, turn[~out] + np.pi / count
        weight[~out] = 2.0 * np.pi / count
        enter[~out] = 0.0
        across = away * np.sin(turn[~out])
        leave[~out] = away * np.cos(turn[~out]) + np.sqrt(radius_m**2 - across**2)
    up = height[:, None]
    return Rays(turn, low, high, weight, np.hypot(enter, up), np.hypot(leave, up))


def baffled(
    radius_m: float, aside: Floats, height: Floats, wavenumbers: Floats, flight: Floats, *, count: int
) -> Complexes:
    """Mean of e^(−jk(R − flight))/R over a disc, for points beside and above it.

    In an infinite rigid baffle the pressure for a volume velocity Q is jωρQ/(2π) times it. Shape (M, F).
    """
    rays = rays_to(radius_m, aside, height, count)
    return np.asarray(rays.strength(wavenumbers, flight).sum(axis=1) / (np.pi * radius_m**2))
