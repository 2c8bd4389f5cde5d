"""Caps on a rigid sphere against published directivities, limits and another way to sum the series."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from earwitness.virtual.air import Air
from earwitness.virtual.radiator import Cap, SphericalCabinet, cap_series, terms_needed

Floats = npt.NDArray[np.floating]

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)
AIR = Air(20.0)
FAR_M = 1e6


def one_cap(radius_m: float, half_angle_deg: float) -> SphericalCabinet:
    rim_m = 2.0 * radius_m * np.sin(np.radians(half_angle_deg))
    return SphericalCabinet(2.0 * radius_m, (Cap(float(rim_m), 0.0),))


def in_plane(cabinet: SphericalCabinet, angles_deg: Floats, distance_m: float = FAR_M) -> Floats:
    """Points round the sphere's centre in the horizontal plane."""
    angle = np.radians(angles_deg)
    return cabinet.centre + distance_m * np.stack(
        [np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=-1
    )


def level(cabinet: SphericalCabinet, angles_deg: Floats, frequency_hz: float) -> Floats:
    """Far-field level re the direction of 0 degrees, dB."""
    points = in_plane(cabinet, np.concatenate([[0.0], angles_deg]))
    pressure = np.abs(cabinet.transfer(points, np.array([frequency_hz]), AIR).sum(axis=0)[:, 0])
    return np.asarray(20.0 * np.log10(pressure[1:] / pressure[0]))


def frequency_of(ka: float, radius_m: float) -> float:
    return ka * AIR.speed / (2.0 * np.pi * radius_m)


@pytest.mark.parametrize("row", REFERENCE["cap"]["rows"], ids=lambda row: f"ka{row['ka']}")
def test_directivity_of_a_cap(row: dict[str, Any]) -> None:
    cabinet = one_cap(0.14, REFERENCE["cap"]["half_angle_deg"])
    frequency = frequency_of(row["ka"], 0.14)
    angles = np.array(REFERENCE["cap"]["angles_deg"], dtype=np.float64)
    np.testing.assert_allclose(level(cabinet, angles, frequency), row["level_db"], atol=1e-4)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    power = 10.0 ** (level(cabinet, np.degrees(np.arccos(nodes)), frequency) / 10.0)
    index = -10.0 * np.log10(np.sum(weights * power) / 2.0)
    assert index == pytest.approx(row["index_db"], abs=1e-4)


def direct_sum(ka: float, kr: float, cosine: float, half_angle: float, terms: int) -> complex:
    """The series with the Hankel functions of scipy themselves; overflows for many terms."""
    n = np.arange(terms)
    rim = np.cos(half_angle)
    share = (eval_legendre(np.abs(n - 1), rim) - eval_legendre(n + 1, rim)) / 2.0
    share[0] = (1.0 - rim) / 2.0
    outer = spherical_jn(n, kr) - 1j * spherical_yn(n, kr)
    slope = spherical_jn(n, ka, derivative=True) - 1j * spherical_yn(n, ka, derivative=True)
    return complex(np.sum(share * outer / slope * eval_legendre(n, cosine)))


@settings(max_examples=60, deadline=None)
@given(
    ka=st.floats(0.05, 30.0),
    reach=st.floats(1.5, 50.0),
    cosine=st.floats(-1.0, 1.0),
    half_angle=st.floats(0.01, 1.0),
)
def test_the_recursion_agrees_with_hankel_functions(
    ka: float, reach: float, cosine: float, half_angle: float
) -> None:
    found = cap_series(np.array([ka]), 1.0, np.array([reach]), np.array([[cosine]]), np.array([half_angle]))[
        0, 0, 0
    ]
    terms = min(terms_needed(ka, reach), 60 + int(ka))
    scale = abs(direct_sum(ka, ka * reach, 1.0, half_angle, terms))
    assert abs(found - direct_sum(ka, ka * reach, cosine, half_angle, terms)) < 1e-6 * scale


@pytest.mark.parametrize("ka", [0.3, 1.0, 4.0, 12.0])
def test_energy_through_a_far_sphere_is_what_the_cap_gives_off(ka: float) -> None:
    """Morse & Ingard 7.2 (recalled): <|p|²> = (ka)² Σ uₙ² Re(j hₙ/hₙ')/(2n+1), the work at the surface."""
    cabinet = one_cap(0.14, 20.0)
    nodes, weights = np.polynomial.legendre.leggauss(160)
    points = in_plane(cabinet, np.degrees(np.arccos(nodes)))
    wavenumber = np.array([ka / 0.14])
    distance = np.linalg.norm(points - cabinet.centre, axis=-1)
    series = cap_series(wavenumber, 0.14, distance, nodes[None, :], np.radians([20.0]))[0, :, 0]
    far = np.sum(weights * np.abs(series) ** 2) / 2.0 * (ka * FAR_M / 0.14) ** 2
    n = np.arange(40 + int(ka))
    rim = np.cos(np.radians(20.0))
    share = (eval_legendre(np.abs(n - 1), rim) - eval_legendre(n + 1, rim)) / 2.0
    share[0] = (1.0 - rim) / 2.0
    here = spherical_jn(n, ka) - 1j * spherical_yn(n, ka)
    slope = spherical_jn(n, ka, derivative=True) - 1j * spherical_yn(n, ka, derivative=True)
    surface = ka**2 * np.sum(share**2 * np.real(-1j * here / slope) / (2 * n + 1))
    assert far == pytest.approx(surface, rel=1e-9)


@pytest.mark.parametrize("row", REFERENCE["piston"]["rows"], ids=lambda row: f"ka{row['ka']}")
def test_a_cap_on_a_huge_sphere_is_a_piston_in_a_baffle(row: dict[str, Any]) -> None:
    """A sphere a hundred times as large as the cap: what is left of its curvature is under 1 % of 6 dB."""
    cabinet = one_cap(10.0, float(np.degrees(np.arcsin(0.05 / 10.0))))
    frequency = frequency_of(row["ka"], 0.05)
    assert level(cabinet, np.array([30.0]), frequency)[0] == pytest.approx(row["at_30_db"], abs=0.03)
    edge = brentq(
        lambda angle: level(cabinet, np.array([angle]), frequency)[0] + 20.0 * np.log10(2.0), 5.0, 60.0
    )
    assert edge == pytest.approx(row["minus_6_db_deg"], rel=2e-3)


@pytest.mark.parametrize("row", REFERENCE["pair"]["rows"], ids=lambda row: f"{row['frequency_hz']}Hz")
def test_two_small_caps_on_a_huge_sphere_are_a_pair(row: dict[str, Any]) -> None:
    """The table's angles hold for c = 343.2 m/s."""
    tilt = float(np.degrees(np.arcsin(REFERENCE["pair"]["spacing_m"] / 2.0 / 10.0)))
    cabinet = SphericalCabinet(20.0, (Cap(0.02, 0.0, tilt), Cap(0.02, 0.0, -tilt)))
    frequency = row["frequency_hz"] * AIR.speed / 343.2
    around = row["null_deg"] + np.linspace(-1.0, 1.0, 401)
    null = around[np.argmin(level(cabinet, around, frequency))]
    assert null == pytest.approx(row["null_deg"], abs=0.02)
    at_edge = level(cabinet, np.array([row["minus_6_db_deg"]]), frequency)[0]
    assert at_edge == pytest.approx(-6.0206, abs=0.05)


@pytest.mark.parametrize("row", REFERENCE["near_field"]["rows"], ids=lambda row: f"{row['radius_m']}m")
def test_near_and_far_into_half_space(row: dict[str, Any]) -> None:
    """A piston in a ball of 60 m, close by: the ball is a wall. Keele holds for low ka and r much over a."""
    ball_m, radius_m = 30.0, row["radius_m"]
    cabinet = SphericalCabinet(2.0 * ball_m, (Cap(2.0 * radius_m, 0.0),))
    gap = REFERENCE["near_field"]["gap_in_radii"] * radius_m
    points = np.stack([cabinet.in_front_of(0, gap), cabinet.in_front_of(0, row["distance_m"])])
    pressure = np.abs(cabinet.transfer(points, np.array([100.0]), AIR)[0, :, 0])
    ratio = 20.0 * np.log10(pressure[1] / pressure[0]) + REFERENCE["near_field"]["gap_db"]
    assert ratio == pytest.approx(row["half_space_db"], abs=0.05)


@pytest.mark.parametrize("row", REFERENCE["near_field"]["rows"], ids=lambda row: f"{row['radius_m']}m")
def test_near_and_far_into_full_space(row: dict[str, Any]) -> None:
    """On a ball that is small for the wave the far field is 6 dB less than in front of a wall.

    The ball holds the near pressure down a little: by Neumann's function on a sphere's surface, (1/4πR)
    [1/sin(γ/2) − ln(1 + 1/sin(γ/2))] (textbook), integrated over a small cap, by (a/4R)(ln(2R/a) + 1/2).
    """
    radius_m = row["radius_m"]
    ball_m = 50.0 * radius_m
    cabinet = SphericalCabinet(2.0 * ball_m, (Cap(2.0 * radius_m, 0.0),))
    gap = REFERENCE["near_field"]["gap_in_radii"]
    points = np.stack(
        [cabinet.in_front_of(0, gap * radius_m), cabinet.centre + np.array([20_000.0, 0.0, 0.0])]
    )
    pressure = np.abs(cabinet.transfer(points, np.array([0.01]), AIR)[0, :, 0]) * [1.0, 20_000.0]
    held_back = radius_m / (4.0 * ball_m) * (np.log(2.0 * ball_m / radius_m) + 0.5)
    held_back /= np.sqrt(1.0 + gap**2) - gap
    ratio = 20.0 * np.log10(pressure[1] / pressure[0] * (1.0 - held_back))
    assert ratio + REFERENCE["near_field"]["gap_db"] == pytest.approx(row["full_space_db"], abs=0.01)


def test_a_far_cap_at_low_frequency_is_a_point_source() -> None:
    """p = jωρQ e^(−jkr)/(4πr) with time of flight from the surface (any textbook)."""
    cabinet = one_cap(0.14, 20.0)
    frequency = np.array([5.0])
    pressure = cabinet.transfer(in_plane(cabinet, np.array([90.0]), 500.0), frequency, AIR)[0, 0, 0]
    omega = 2.0 * np.pi * 5.0
    expected = 1j * omega * AIR.density / (4.0 * np.pi * 500.0) * np.exp(-1j * omega * 500.0 / AIR.speed)
    assert pressure == pytest.approx(expected, rel=1e-3)


def test_caps_radiate_towards_their_own_side() -> None:
    cabinet = SphericalCabinet(0.28, (Cap(0.05, 0.0, 40.0), Cap(0.05, 40.0)))
    left, up = cabinet.centre + 2.0 * np.array([[0.77, 0.64, 0.0], [0.77, 0.0, 0.64]])
    mirror = np.array([[1.0, -1.0, 1.0], [1.0, 1.0, -1.0]])
    points = np.concatenate([[left, up], [left, up] * mirror])
    strength = np.abs(cabinet.transfer(points, np.array([8000.0]), AIR)[:, :, 0])
    assert strength[0, 0] > 3.0 * strength[0, 2]
    assert strength[1, 1] > 3.0 * strength[1, 3]
    assert strength[0, 0] == pytest.approx(strength[1, 1], rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(
    gap_m=st.floats(0.004, 2.0),
    angle_deg=st.floats(0.0, 180.0),
    frequency=st.floats(15.0, 22_000.0),
)
def test_sorting_and_blocks_change_nothing(gap_m: float, angle_deg: float, frequency: float) -> None:
    cabinet = one_cap(0.14, 22.0)
    points = in_plane(cabinet, np.array([angle_deg]), 0.14 + gap_m)
    crowd = np.concatenate([np.linspace(20_000.0, 20.0, 150), [frequency]])
    alone = cabinet.transfer(points, np.array([frequency]), AIR)[0, 0, 0]
    among = cabinet.transfer(points, crowd, AIR)[0, 0, -1]
    loudest = np.abs(cabinet.transfer(in_plane(cabinet, np.zeros(1), 0.14 + gap_m), crowd[-1:], AIR)).max()
    assert abs(alone - among) < 1e-8 * loudest


def test_points_on_or_in_the_cabinet_are_refused() -> None:
    cabinet = one_cap(0.14, 20.0)
    for inside in (np.zeros((1, 3)), np.array([[-0.1, 0.0, 0.0]])):
        with pytest.raises(ValueError, match="outside"):
            cabinet.transfer(inside, np.array([100.0]), AIR)
    with pytest.raises(ValueError, match="too close"):
        cabinet.transfer(np.array([[1e-6, 0.0, 0.0]]), np.array([100.0]), AIR)
