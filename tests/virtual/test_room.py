"""The room's images and surfaces against geometry and closed forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import scipy.signal

from earwitness.virtual.room import GRID_HZ, GRID_STEPS, OCTAVES_HZ, SIDES, Room, Surface, minimum_phase

DISTANCES = (3.1, 1.4, 2.2, 1.7, 2.5, 1.9)
PLACE = np.array([[2.0, 0.1, -0.2]])


def room(order: int, reflection: float = 0.9) -> Room:
    """All six surfaces; length, width and height are 4.5, 3.9 and 4.4 m."""
    return Room(
        tuple(Surface(side, d, reflection) for side, d in zip(SIDES, DISTANCES, strict=True)), order=order
    )


@pytest.mark.parametrize(("order", "count"), [(0, 1), (1, 7), (2, 25), (3, 63)])
def test_a_box_of_mirrors_shows_as_many_images_as_an_octahedron_has_points(order: int, count: int) -> None:
    """Lattice points with |i| + |j| + |k| ≤ N: 1, 7, 25, 63."""
    assert len(room(order).images(PLACE)) == count


def test_images_lie_where_allen_and_berkley_put_them() -> None:
    """On each axis at 2nL + x, by 2|n| walls, and 2nL − x, by |2n − 1|, from the wall at 0 (recalled)."""
    expected = []
    for indices in itertools.product(range(-3, 4), (0, 1), repeat=3):
        shifts, mirrored = indices[::2], indices[1::2]
        if sum(abs(2 * n - q) for n, q in zip(shifts, mirrored, strict=True)) <= 3:
            lows = -np.array(DISTANCES[1::2])
            lengths = np.array(DISTANCES[::2]) - lows
            inside = PLACE[0] - lows
            expected.append(lows + 2 * np.array(shifts) * lengths + (1 - 2 * np.array(mirrored)) * inside)
    found = np.stack([image.places[0] for image in room(3).images(PLACE)])
    assert len(found) == len(expected)
    for place in expected:
        assert np.min(np.linalg.norm(found - place, axis=1)) < 1e-9


def test_each_mirror_takes_its_part() -> None:
    """A path by both side walls and the floor has the product of three coefficients."""
    parts = {"left": 0.5, "right": 0.7, "floor": 0.9}
    surfaces = tuple(Surface(side, 2.0, r) for side, r in parts.items())  # type: ignore[arg-type]
    images = Room(surfaces, order=3).images(PLACE)
    one = next(i for i in images if sorted(s.side for s in i.met) == ["floor", "left", "right"])
    np.testing.assert_allclose(one.gain(np.array([100.0, 5000.0])), 0.5 * 0.7 * 0.9, rtol=1e-12)


def test_a_corner_of_three_rigid_walls_gives_eight_images() -> None:
    """Close to the corner all are in the same place: 18.06 dB, 20 lg 8, when order 3 is allowed."""
    corner = tuple(Surface(side, 1e-6) for side in ("behind", "left", "floor"))
    images = Room(corner, order=3).images(np.zeros((1, 3)))
    assert len(images) == 8
    assert max(np.abs(image.places).max() for image in images) < 5e-6


def test_absorption_by_octaves_becomes_a_reflection() -> None:
    absorption = (0.1, 0.2, 0.4, 0.6, 0.7, 0.75)
    found = Surface("floor", 1.0, absorption=absorption).transfer(np.array([20.0, *OCTAVES_HZ, 16_000.0]))
    expected = np.sqrt(1.0 - np.array([0.1, *absorption, 0.75]))
    np.testing.assert_allclose(np.abs(found), expected, rtol=2e-3)


def test_equal_absorption_is_a_real_coefficient() -> None:
    found = Surface("floor", 1.0, absorption=(0.36,) * 6).transfer(np.geomspace(20.0, 20_000.0, 50))
    np.testing.assert_allclose(found, 0.8, rtol=1e-9)


def test_the_phase_is_that_of_the_magnitude() -> None:
    """A recursive filter of the first order has minimum phase: its phase follows from its magnitude."""
    turns = np.linspace(0.0, np.pi, 2**11 + 1)
    filtered = scipy.signal.freqz([1.0, 0.3], [1.0, -0.8], turns)[1]
    np.testing.assert_allclose(minimum_phase(np.abs(filtered)), filtered, rtol=1e-9, atol=1e-9)


def test_no_reflection_comes_before_its_time() -> None:
    soft = Surface("floor", 1.0, absorption=(0.05, 0.1, 0.5, 0.8, 0.9, 0.9))
    response = np.fft.irfft(soft.transfer(GRID_HZ * np.arange(GRID_STEPS + 1)))
    early = response[len(response) // 2 :]
    assert np.max(np.abs(early)) < 1e-6 * np.max(np.abs(response))


def test_contradictions_are_refused() -> None:
    with pytest.raises(ValueError, match="absorbs 0 to 1"):
        Surface("left", 1.0, absorption=(0.1, 0.2, 1.3, 0.1, 0.1, 0.1))
    with pytest.raises(ValueError, match="distance above 0"):
        Surface("left", -1.0)
    with pytest.raises(ValueError, match="each side once"):
        Room((Surface("left", 1.0), Surface("left", 2.0)))
