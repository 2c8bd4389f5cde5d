"""Boundary elements against the exact series for a cap on a sphere, and against their own energy."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.boundary import Solved, ball, solve
from earwitness.virtual.radiator import cap_series

RADIUS_M, RIM_DEG = 0.14, 20.0
INSIDE = RADIUS_M * np.random.default_rng(3).uniform(-0.5, 0.5, (20, 3))


def solved(ka: float, step_m: float) -> Solved:
    """A ball whose cap moves radially, with unit volume velocity."""
    surface = ball(RADIUS_M, RIM_DEG, step_m)
    radial = surface.middles / np.linalg.norm(surface.middles, axis=1)[:, None]
    moves = radial[:, 0] > np.cos(np.radians(RIM_DEG))
    velocity = np.where(moves, np.sum(radial * surface.normals, axis=1), 0.0)
    return solve(surface, velocity / np.sum(velocity * surface.areas), ka / RADIUS_M, INSIDE)


def error_db(ka: float, step_m: float) -> float:
    """Largest difference from the series at 2 m where it is within 15 dB of its maximum."""
    angle = np.radians(np.arange(0.0, 181.0, 15.0))
    points = 2.0 * np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=-1)
    cap_m2 = 2.0 * np.pi * RADIUS_M**2 * (1.0 - np.cos(np.radians(RIM_DEG)))
    series = cap_series(
        np.array([ka / RADIUS_M]),
        RADIUS_M,
        np.full(len(angle), 2.0),
        np.cos(angle)[None],
        np.radians([RIM_DEG]),
    )[0, :, 0]
    exact = -series / (ka / RADIUS_M * cap_m2)
    loud = np.abs(exact) > np.abs(exact).max() * 10.0 ** (-15.0 / 20.0)
    return float(np.max(np.abs(20.0 * np.log10(solved(ka, step_m).at(points)[loud] / exact[loud]))))


@pytest.mark.parametrize("ka", [1.0, 2.0, np.pi, 4.4934], ids=["1", "2", "first inner resonance", "second"])
def test_a_cap_on_a_sphere(ka: float) -> None:
    """Morse & Ingard 7.2 (recalled) by `radiator`, itself tested against published values."""
    coarse, fine = error_db(ka, 0.04), error_db(ka, 0.028)
    # Flat elements with one pressure each err by the square of their size in wavelengths.
    assert fine < 0.02 + 0.035 * ka**2
    assert fine < 0.65 * coarse


def test_energy() -> None:
    """What the surface does to the air goes through a far sphere: Re ∫ p v* dS = ∫ |p|²/(ρc) dS."""
    ka, far_m = 2.0, 40.0
    there = solved(ka, 0.03)
    work = np.sum(np.real(1j * ka / RADIUS_M * there.pressure) * there.velocity * there.surface.areas)
    nodes, weights = np.polynomial.legendre.leggauss(24)
    points = far_m * np.stack([nodes, np.sqrt(1.0 - nodes**2), np.zeros_like(nodes)], axis=-1)
    flow = 2.0 * np.pi * far_m**2 * np.sum(weights * np.abs(ka / RADIUS_M * there.at(points)) ** 2)
    assert flow == pytest.approx(work, rel=0.01)
