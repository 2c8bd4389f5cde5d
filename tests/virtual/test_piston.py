"""A piston in a plane against published directivities, the closed form on its axis, and brute force."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.virtual.piston import baffled, rays_needed

Floats = npt.NDArray[np.floating]

FOLDER = Path(__file__).parents[1] / "reference"
REFERENCE: dict[str, Any] = tomllib.loads((FOLDER / "virtual_radiation.toml").read_text(encoding="utf-8"))
PHYSICS: dict[str, Any] = tomllib.loads((FOLDER / "virtual_physics.toml").read_text(encoding="utf-8"))
FAR_M = 1e4


def mean(radius_m: float, aside: Floats, height: Floats, wavenumber: float, count: int) -> Floats:
    """Magnitude of the mean, shape (M,)."""
    flight = np.hypot(aside, height)
    return np.abs(baffled(radius_m, aside, height, np.array([wavenumber]), flight, count=count)[:, 0])


@pytest.mark.parametrize("row", REFERENCE["piston"]["rows"], ids=lambda row: f"ka{row['ka']}")
def test_directivity_in_a_baffle(row: dict[str, Any]) -> None:
    angle = np.radians([0.0, *REFERENCE["piston"]["angles_deg"]])
    found = mean(
        0.05, FAR_M * np.sin(angle), FAR_M * np.cos(angle), row["ka"] / 0.05, rays_needed(1.0, row["ka"])
    )
    level = 20.0 * np.log10(found[1:] / found[0])
    np.testing.assert_allclose(level, row["level_db"], atol=6e-4)


@pytest.mark.parametrize("row", REFERENCE["keele"]["rows"], ids=lambda row: f"ka{row['ka']}")
def test_near_and_far_on_axis(row: dict[str, Any]) -> None:
    radius, wavenumber = 0.08, row["ka"] / 0.08
    near, far = mean(radius, np.zeros(2), np.array([1e-9, 100.0]), wavenumber, 64)
    estimate = near * radius / (2.0 * 100.0)
    assert 20.0 * np.log10(estimate / far) == pytest.approx(row["error_db"], abs=8e-4)


def test_a_gap_in_front_of_the_piston() -> None:
    """A microphone 0.11 radii away reads less than at the face by √(1 + z²) − z."""
    gap = PHYSICS["near_field"]["gap_in_radii"]
    face, before = mean(0.1, np.zeros(2), np.array([1e-9, 0.1 * gap]), 0.01, 64)
    assert 20.0 * np.log10(before / face) == pytest.approx(PHYSICS["near_field"]["gap_db"], abs=1e-3)


@pytest.mark.parametrize("row", PHYSICS["pair"]["rows"], ids=lambda row: f"{row['frequency_hz']}Hz")
def test_a_pair_of_pistons(row: dict[str, Any]) -> None:
    """The table's angles hold for c = 343.2 m/s and point sources."""
    wavenumber = np.array([2.0 * np.pi * row["frequency_hz"] / 343.2])
    angle = np.radians([0.0, row["minus_6_db_deg"], row["null_deg"]])
    height, across = FAR_M * np.cos(angle), FAR_M * np.sin(angle)
    half = PHYSICS["pair"]["spacing_m"] / 2.0
    each = [
        baffled(0.001, np.abs(across + side), height, wavenumber, np.full(3, FAR_M), count=8)[:, 0]
        for side in (half, -half)
    ]
    both = each[0] + each[1]
    level = 20.0 * np.log10(np.abs(both[1:] / both[0]))
    assert level[0] == pytest.approx(-6.0206, abs=1e-3)
    assert level[1] < -80.0


@settings(max_examples=40, deadline=None)
@given(aside=st.floats(0.0, 0.5), height=st.floats(0.02, 0.5), wavenumber=st.floats(0.1, 150.0))
def test_rays_agree_with_a_grid_on_the_disc(aside: float, height: float, wavenumber: float) -> None:
    radius = 0.06
    nodes, weights = np.polynomial.legendre.leggauss(40)
    distance = radius * np.sqrt((nodes + 1.0) / 2.0)
    turn = (np.arange(120) + 0.5) * 2.0 * np.pi / 120
    across = distance[:, None] * np.cos(turn) - aside
    along = np.hypot(np.hypot(across, distance[:, None] * np.sin(turn)), height)
    grid = np.sum(weights[:, None] / 2.0 / 120 * np.exp(-1j * wavenumber * along) / along)
    rays = baffled(
        radius, np.array([aside]), np.array([height]), np.array([wavenumber]), np.zeros(1), count=400
    )[0, 0]
    assert abs(rays - grid) < 2e-4 / np.hypot(aside, height)
