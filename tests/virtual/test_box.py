"""A box's edges: limits, continuity, reciprocity, energy, convergence, and boundary elements."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.virtual import boundary
from earwitness.virtual.air import Air
from earwitness.virtual.box import (
    PLAIN,
    BoxCabinet,
    RoundRadiator,
    straight,
)
from earwitness.virtual.cascade import diffracted
from earwitness.virtual.piston import baffled
from earwitness.virtual.web import Web

Floats = npt.NDArray[np.floating]
Complexes = npt.NDArray[np.complexfloating]

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_radiation.toml").read_text(encoding="utf-8")
)
AIR = Air(20.0)
BOX = BoxCabinet(0.16, 0.26, 0.2, (RoundRadiator(0.05, 0.03, 0.015),), 0.05)
TWO_WAY = BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.13, -0.09), RoundRadiator(0.025, 0.05)), 0.05)
ROUNDED = replace(TWO_WAY, edge_radius_m=0.02)


def orbits(step_deg: float, distance_m: float) -> Floats:
    """Points round the reference point, horizontally and then vertically."""
    angle = np.radians(np.arange(-180.0 + step_deg, 181.0, step_deg))
    along, across, aside = distance_m * np.cos(angle), distance_m * np.sin(angle), np.zeros_like(angle)
    flat = np.stack([along, across, aside], axis=-1)
    return np.concatenate([flat, flat[:, [0, 2, 1]]])


def decibel(value: Complexes | Floats) -> Floats:
    return np.asarray(20.0 * np.log10(np.abs(value)))


def free(frequencies: Floats, distance_m: Floats | float) -> Floats:
    """A point source without a box: ωρ/(4πr)."""
    return np.asarray(AIR.density * frequencies / 2.0 / distance_m)


def test_at_low_frequency_a_box_is_not_there() -> None:
    points = orbits(15.0, 300.0)
    gain = decibel(TWO_WAY.transfer(points, np.array([0.5]), AIR)[:, :, 0] / free(np.array([0.5]), 300.0))
    # Exactly above and below, in the very plane of the front, the sum over nodes converges slowest.
    assert np.max(np.abs(gain)) < 0.2
    assert np.median(np.abs(gain)) < 0.02


def test_baffle_step() -> None:
    """From full space to half space: 6.02 dB, once the ripple of the edges has been averaged out."""
    frequencies = np.concatenate([[3.0], np.arange(6000.0, 20_000.0, 20.0)])
    cabinet = BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.008, 0.031, 0.017),), 0.05)
    points = np.array([[40.0, 0.0, 0.0], [40.0, 3.0, 2.0]])
    gain = np.abs(cabinet.transfer(points, frequencies, AIR)[0] / free(frequencies, 40.0))
    step = 20.0 * np.log10(np.mean(gain[:, 1:], axis=1) / gain[:, 0])
    np.testing.assert_allclose(step, REFERENCE["baffle"]["step_db"], atol=0.06)


@pytest.mark.parametrize("frequency", [200.0, 1000.0, 3000.0, 6000.0])
def test_no_jump_where_faces_go_out_of_sight(frequency: float) -> None:
    """Each order jumps at the planes of the faces; their sum must not."""
    low, high = TWO_WAY.corners()
    across = 1e-4
    points = []
    for axis in range(3):
        for wall in (low[axis], high[axis]):
            for place in ((1.1, 0.3), (-0.7, 1.2)):
                point = np.insert(np.array(place), axis, wall)
                points += [point - across * np.eye(3)[axis], point + across * np.eye(3)[axis]]
    pressure = TWO_WAY.transfer(np.array(points), np.array([frequency]), AIR)[:, :, 0]
    loudest = np.abs(TWO_WAY.transfer(np.array([[1.2, 0.0, 0.0]]), np.array([frequency]), AIR)[:, :, 0])
    jump = np.abs(pressure[:, 1::2] - pressure[:, ::2]) / loudest
    assert jump.max() < 0.012


@pytest.mark.parametrize(
    ("here", "there"),
    [
        (RoundRadiator(0.006, 0.04, 0.02), RoundRadiator(0.006, -0.07, -0.03)),
        (RoundRadiator(0.006, 0.04, 0.02), RoundRadiator(0.006, -0.02, -0.06, "left")),
        (RoundRadiator(0.006, 0.04, 0.02), RoundRadiator(0.006, 0.03, -0.01, "back")),
        (RoundRadiator(0.006, -0.03, 0.02, "top"), RoundRadiator(0.006, -0.09, -0.05, "right")),
    ],
    ids=["one face", "round an edge", "front to back", "top to right"],
)
def test_reciprocity(here: RoundRadiator, there: RoundRadiator) -> None:
    cabinet = BoxCabinet(0.2, 0.3, 0.25, (here, there))
    frequencies = np.array([100.0, 500.0, 1500.0, 4000.0])
    points = np.stack([cabinet.in_front_of(1, 1e-5), cabinet.in_front_of(0, 1e-5)])
    pressure = cabinet.transfer(points, frequencies, AIR)
    np.testing.assert_allclose(decibel(pressure[0, 0] / pressure[1, 1]), 0.0, atol=0.25)


@pytest.mark.parametrize("frequency", [150.0, 600.0, 1500.0, 3000.0])
def test_energy(frequency: float) -> None:
    """What a small piston does to the air goes through a far sphere: Re p(0)/2 = ∫ |p|²/(2ρc) dS."""
    cabinet = BoxCabinet(0.16, 0.26, 0.2, (RoundRadiator(0.004, 0.03, 0.015),), 0.05)
    far_m = 30.0
    nodes, weights = np.polynomial.legendre.leggauss(20)
    turn = (np.arange(36) + 0.37) * 2.0 * np.pi / 36
    flat = np.sqrt(1.0 - nodes[:, None] ** 2)
    points = far_m * np.stack(
        [flat * np.cos(turn), flat * np.sin(turn), np.broadcast_to(nodes[:, None], (20, 36))], axis=-1
    ).reshape(-1, 3)
    strength = np.abs(cabinet.transfer(points, np.array([frequency]), AIR)[0, :, 0]).reshape(20, 36) ** 2
    flow = far_m**2 * np.sum(weights * strength.sum(axis=1)) * 2.0 * np.pi / 36 / (AIR.density * AIR.speed)
    near = cabinet.transfer(cabinet.in_front_of(0, 1e-5)[None], np.array([frequency]), AIR)[0, 0, 0]
    assert flow == pytest.approx(near.real, rel=0.012)


def total(
    cabinet: BoxCabinet, points: Floats, frequency: float, orders: int | Sequence[int], density: float
) -> Complexes:
    """Mean of e^(−jkR)/R with the box, for another number of nodes and orders; (C, D)."""
    wavenumbers = np.array([2.0 * np.pi * frequency / AIR.speed])
    body, discs = cabinet.body(), cabinet.discs()
    web = Web.on(body, float(wavenumbers[0]), density)
    flight, all_points = np.zeros(len(points)), np.ones(len(points), dtype=bool)
    each = [orders] * len(discs) if isinstance(orders, int) else orders
    field = diffracted(web, discs, points, wavenumbers, flight, orders=each, shaded=all_points)
    lit = [straight(body, disc, points, wavenumbers, flight) for disc in discs]
    return np.asarray((field + np.stack(lit))[:, :, 0])


def off_the_mark(found: Complexes, right: Complexes) -> float:
    """Largest difference in dB where the pressure is within 15 dB of each radiator's maximum; (C, D) both."""
    loud = np.abs(right) > np.abs(right).max(axis=1, keepdims=True) * 10.0 ** (-15.0 / 20.0)
    assert loud.sum() >= 4
    return float(np.max(np.abs(decibel(found[loud] / right[loud]))))


@pytest.mark.parametrize("cabinet", [TWO_WAY, ROUNDED], ids=["sharp", "rounded"])
@pytest.mark.parametrize(
    "frequency", [30.0, 300.0, 1000.0, 2900.0, 6400.0, 9100.0, 10_400.0, 12_000.0, 20_000.0]
)
def test_convergence(cabinet: BoxCabinet, frequency: float) -> None:
    """Twice as many edge sources, or one order more, change less than 0.1 dB within 15 dB of the maximum."""
    points = orbits(10.0, 1.3) + np.array([-0.1, 0.003, 0.004])
    orders = cabinet.followed(frequency, AIR)
    plain = total(cabinet, points, frequency, orders, 1.0)
    assert off_the_mark(total(cabinet, points, frequency, orders, 2.0), plain) < 0.1
    more = [order + 1 for order in orders]
    assert off_the_mark(total(cabinet, points, frequency, more, 1.0), plain) < 0.1


@pytest.mark.slow
@pytest.mark.parametrize("cabinet", [TWO_WAY, ROUNDED], ids=["sharp", "rounded"])
def test_everything_that_saves_time_together(cabinet: BoxCabinet) -> None:
    """On the grid, with its orders, against more of both: 0.15 dB within 15 dB of the maximum."""
    points = orbits(10.0, 2.0) + np.array([-0.1, 0.003, 0.004])
    frequencies = np.arange(20.0, 22_000.0, 20.0)
    found = cabinet.transfer(points, frequencies, AIR)
    for number, orders in (
        (2, 9),
        (14, 9),
        (70, 9),
        (120, 7),
        (200, 6),
        (332, 5),
        (450, 4),
        (640, 3),
        (950, 3),
    ):
        turn = 1j * frequencies[number] * AIR.density / 2.0
        right = turn * total(cabinet, points, float(frequencies[number]), orders, 1.3)
        assert off_the_mark(found[..., number], right) < 0.15


def test_peaks_between_nodes_are_held() -> None:
    """Close to the plane of a bevel the number of nodes doesn't matter, odd or even."""
    angle = np.radians(np.array([129.0, 130.0, 130.5, 131.0, 134.9]))
    points = 1.3 * np.stack([np.cos(angle), np.full(5, 0.002), np.sin(angle)], axis=-1)
    right = total(ROUNDED, points, 300.0, 5, 2.5)
    for density in (1.0, 1.17, 1.3, 1.6):
        assert off_the_mark(total(ROUNDED, points, 300.0, 5, density), right) < 0.05


def test_a_rounding_that_vanishes() -> None:
    """Less and less is left of it, about in proportion: the sharp box is its limit."""
    points = orbits(20.0, 1.3)
    sharp = BOX.transfer(points, np.array([1500.0]), AIR)[:, :, 0]
    loud, soft = (
        off_the_mark(
            replace(BOX, edge_radius_m=radius).transfer(points, np.array([1500.0]), AIR)[..., 0], sharp
        )
        for radius in (0.02, 0.005)
    )
    assert soft < 0.12
    assert loud > 2.5 * soft


@pytest.mark.parametrize(("above_hz", "sine"), PLAIN)
def test_what_is_left_out_in_front_at_high_frequency_is_little(above_hz: float, sine: float) -> None:
    """On both sides of the limit, at the lowest frequency at which it counts."""
    low, high = np.arcsin(sine) + np.array([-0.04, 0.04])
    frequency = np.array([above_hz + 1.0])
    for angle, limit in ((low, 1e-5), (high, 0.005)):
        points = 3.0 * np.array([[np.sin(angle), np.cos(angle), 0.01], [np.sin(angle), 0.01, np.cos(angle)]])
        found = TWO_WAY.transfer(points, frequency, AIR)[1:, :, 0]
        whole = 1j * frequency / 2.0 * AIR.density * total(TWO_WAY, points, float(frequency[0]), 2, 1.0)[1:]
        on_axis = np.abs(TWO_WAY.transfer(np.array([[3.0, 0.0, 0.05]]), frequency, AIR)[1, 0, 0])
        assert np.max(np.abs(found - whole)) < limit * on_axis


@pytest.mark.parametrize("gap_m", [1e-3, 1e-5])
def test_a_radiator_that_all_but_touches_an_edge(gap_m: float) -> None:
    """Reciprocity with a small one on another face."""
    near = RoundRadiator(0.01, 0.05, 0.1 - 0.005 - gap_m)
    cabinet = BoxCabinet(0.2, 0.3, 0.25, (near, RoundRadiator(0.004, 0.0, -0.1, "right")))
    points = np.stack([cabinet.in_front_of(1, 1e-5), cabinet.in_front_of(0, 1e-5)])
    frequencies = np.array([300.0, 2000.0])
    there, back = cabinet.transfer(points, frequencies, AIR)[[0, 1], [0, 1]]
    # The other way the pressure is heard at the middle of the large one alone.
    np.testing.assert_allclose(decibel(there / back), 0.0, atol=0.3)


@pytest.mark.parametrize("cabinet", [TWO_WAY, ROUNDED], ids=["sharp", "rounded"])
@pytest.mark.parametrize("point", [(-2.0, 0.0, 0.0), (0.0, 2.0, 0.0), (-0.28, 0.0, 1.5), (-0.1, 0.1, 1.0)])
def test_points_on_symmetry_and_on_planes(cabinet: BoxCabinet, point: tuple[float, float, float]) -> None:
    """Straight behind, in the front's, back's and side's plane: as beside it."""
    points = np.array(point) + 1e-3 * np.array([[0.0, 0.0, 0.0], [1.0, 0.4, 0.7], [-1.0, -0.4, -0.7]])
    for frequency in (100.0, 1200.0):
        on, one, other = np.abs(cabinet.transfer(points, np.array([frequency]), AIR)[1, :, 0])
        assert abs(decibel(2.0 * on / (one + other))) < 0.1


def elements(cabinet: BoxCabinet, points: Floats, frequency: float, step_m: float) -> Complexes:
    """Pressure for unit volume velocity of the first radiator, by boundary elements of that size, (D,)."""
    surface, moves = boundary.box(cabinet.body(), cabinet.discs()[0], step_m)
    low, high = cabinet.corners()
    inside = low + (high - low) * np.random.default_rng(1).uniform(0.1, 0.9, (25, 3))
    velocity = moves / np.sum(moves * surface.areas)
    there = boundary.solve(surface, velocity, 2.0 * np.pi * frequency / AIR.speed, inside)
    return np.asarray(there.at(points) * 2j * np.pi * frequency * AIR.density)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("frequency", "radius_m", "step_m"),
    [
        *((f, r, 0.03) for f in (100.0, 700.0, 1400.0, 2000.0) for r in (0.0, 0.03)),
        # Flat elements with one pressure each err by 0.9 dB at 21 mm here, and less the smaller they are.
        (4000.0, 0.0, 0.0125),
    ],
)
def test_boundary_elements_agree(frequency: float, radius_m: float, step_m: float) -> None:
    """Within 0.5 dB where the pressure is within 15 dB of its maximum."""
    cabinet = replace(BOX, edge_radius_m=radius_m)
    points = np.concatenate([orbits(15.0, 1.0), [[0.01, 0.015, 0.03], [0.05, 0.03, 0.0], [0.02, 0.06, -0.1]]])
    right = elements(cabinet, points, frequency, step_m)
    edges = cabinet.transfer(points, np.array([frequency]), AIR)[0, :, 0]
    loud = np.abs(edges) > np.abs(edges[:-3]).max() * 10.0 ** (-15.0 / 20.0)
    assert loud.sum() > 25
    assert np.max(np.abs(decibel(right[loud] / edges[loud]))) < 0.5
    assert np.max(np.abs(np.angle(right[loud] / edges[loud]))) < 0.1


@pytest.mark.slow
def test_boundary_elements_of_two_sizes_agree_with_a_bevel() -> None:
    """What two meshes leave, their error taken to go with the square of their size: 0.5 dB at 3 kHz."""
    cabinet, points, frequency = replace(BOX, edge_radius_m=0.03), orbits(15.0, 1.0), 3000.0
    large, small = (elements(cabinet, points, frequency, step_m) for step_m in (0.021, 0.0165))
    right = small + (small - large) / ((0.021 / 0.0165) ** 2 - 1.0)
    edges = cabinet.transfer(points, np.array([frequency]), AIR)[..., 0]
    assert off_the_mark(right[None], edges) < 0.5


@pytest.mark.parametrize("frequency", [6990.0, 7010.0])
def test_what_a_beaming_radiator_sends_round_a_second_edge_is_little(frequency: float) -> None:
    """On both sides of ka = 8 or so: 0.1 dB where it is loud; behind the box 36 dB below its maximum."""
    points = orbits(10.0, 1.3) + np.array([-0.1, 0.003, 0.004])
    found = TWO_WAY.transfer(points, np.array([frequency]), AIR)[:1, :, 0]
    right = 1j * frequency / 2.0 * AIR.density * total(TWO_WAY, points, frequency, 4, 1.0)[:1]
    assert off_the_mark(found, right) < 0.1
    assert np.max(np.abs(found - right)) < 10.0 ** (-36.0 / 20.0) * np.abs(right).max()


def test_close_to_a_piston_the_edges_hardly_matter() -> None:
    """Seven millimetres before a woofer, what the edges send back is small."""
    frequencies = np.array([100.0, 400.0, 1000.0])
    point = TWO_WAY.in_front_of(0, 0.007)[None]
    there = TWO_WAY.transfer(point, frequencies, AIR)[0, 0]
    wavenumbers = 2.0 * np.pi * frequencies / AIR.speed
    wall = baffled(0.065, np.zeros(1), np.array([0.007]), wavenumbers, np.zeros(1), count=64)[0]
    half_space = 1j * frequencies * AIR.density * wall
    assert np.max(np.abs(decibel(there / half_space))) < 2.5
    assert np.abs(there[0]) < np.abs(half_space[0])


@settings(max_examples=15, deadline=None)
@given(
    frequency=st.floats(15.0, 20_000.0),
    angle_deg=st.floats(-180.0, 180.0),
    distance_m=st.floats(0.5, 5.0),
)
def test_mirrored_boxes_sound_mirrored(frequency: float, angle_deg: float, distance_m: float) -> None:
    left = BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.025, 0.05, 0.03),))
    right = BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.025, 0.05, -0.03),))
    angle = np.radians(angle_deg)
    point = distance_m * np.array([[np.cos(angle), np.sin(angle), 0.1]])
    one = left.transfer(point, np.array([frequency]), AIR)[0, 0, 0]
    two = right.transfer(point * [1.0, -1.0, 1.0], np.array([frequency]), AIR)[0, 0, 0]
    assert abs(one - two) < 1e-4 * free(np.array([frequency]), distance_m)[0]


def test_many_frequencies_are_interpolated() -> None:
    """On the grid or alone; a web of its own for each makes the difference that is allowed."""
    points = np.concatenate([orbits(60.0, 1.0), TWO_WAY.in_front_of(0, 0.005)[None]])
    many = np.arange(1.0, 9000.0, 7.0)
    some = [0, 7, 40, 200, 700, 1280]
    dense = TWO_WAY.transfer(points, many, AIR)
    alone = np.concatenate([TWO_WAY.transfer(points, many[[one]], AIR) for one in some], axis=-1)
    scale = np.abs(alone).max(axis=1, keepdims=True)
    assert np.max(np.abs(dense[..., some] - alone) / scale) < 0.01


def test_a_radiator_that_is_not_followed_round_a_second_edge() -> None:
    """It differs behind the box alone; the other doesn't."""
    short = RoundRadiator(0.05, -0.09, round_one_edge_from_hz=1000.0)
    cabinet = BoxCabinet(0.2, 0.34, 0.28, (short, RoundRadiator(0.025, 0.05)), 0.05)
    whole = BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.05, -0.09), RoundRadiator(0.025, 0.05)), 0.05)
    points = np.array([[1.0, 0.1, 0.0], [-1.0, 0.01, 0.02]])
    frequencies = np.array([900.0, 5000.0])
    change = np.abs(
        cabinet.transfer(points, frequencies[:1], AIR) / whole.transfer(points, frequencies[:1], AIR)
    )
    np.testing.assert_allclose(change, 1.0, rtol=1e-6)
    found, full = (box.transfer(points, frequencies[1:], AIR)[:, :, 0] for box in (cabinet, whole))
    np.testing.assert_allclose(found[1], full[1], rtol=1e-6)
    assert abs(decibel(found[0, 0] / full[0, 0])) < 0.3
    assert found[0, 1] == 0.0


def test_frequencies_come_back_in_their_order() -> None:
    points = np.array([[1.0, 0.2, 0.1]])
    frequencies = np.array([3000.0, 100.0, 900.0])
    together = TWO_WAY.transfer(points, frequencies, AIR)
    turned = TWO_WAY.transfer(points, frequencies[::-1], AIR)
    np.testing.assert_array_equal(together, turned[..., ::-1])


def test_radiators_stand_where_they_are_put() -> None:
    cabinet = BoxCabinet(
        0.2, 0.34, 0.28, (RoundRadiator(0.05, 0.02, 0.03), RoundRadiator(0.05, 0.02, -0.1, "left"))
    )
    np.testing.assert_allclose(cabinet.in_front_of(0, 0.01), [0.01, 0.03, 0.02])
    np.testing.assert_allclose(cabinet.in_front_of(1, 0.01), [-0.1, 0.11, 0.02])
    left, right = np.array([[-0.1, 1.5, 0.0]]), np.array([[-0.1, -1.5, 0.0]])
    strength = [np.abs(cabinet.transfer(side, np.array([4000.0]), AIR)[1, 0, 0]) for side in (left, right)]
    assert strength[0] > 4.0 * strength[1]
    np.testing.assert_allclose(cabinet.flight_m(left), [np.hypot(0.1, 1.5)])


def test_points_in_the_box_and_radiators_over_its_edge_are_refused() -> None:
    for inside in ([-0.1, 0.0, 0.0], [0.0, 0.0, 0.0]):
        with pytest.raises(ValueError, match="move it outside"):
            TWO_WAY.transfer(np.array([inside]), np.array([100.0]), AIR)
    with pytest.raises(ValueError, match=r"radiator of 0\.2 m on the front reaches over the face's edge"):
        BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.2, 0.0),))
    with pytest.raises(
        ValueError, match=r"edges can't be rounded by 0\.1 m; take 0 or more and less than 0\.1 m"
    ):
        BoxCabinet(0.2, 0.34, 0.28, (), edge_radius_m=0.1)
    with pytest.raises(ValueError, match="on the front"):
        BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.18, 0.0),), edge_radius_m=0.02)
    with pytest.raises(ValueError, match="on the top"):
        BoxCabinet(0.2, 0.34, 0.28, (RoundRadiator(0.05, -0.27, 0.0, "top"),))
