from __future__ import annotations

import numpy as np
import pytest

from earwitness.measurement.geometry import Turntable, fitted_rotation, floor_detour_m


def test_rotation_behind_the_reference_point() -> None:
    # DEFINITIONS (computed): an axis 0.15 m behind the baffle, 1 m from the microphone: 2.6 dB front to back
    table = Turntable(0.85, 0.15)
    assert table.distances_m([0.0, 180.0]) == pytest.approx([0.85, 1.15])
    assert 20.0 * np.log10(1.15 / 0.85) == pytest.approx(2.6, abs=0.03)
    assert table.distances_m(90.0) == pytest.approx(np.hypot(1.0, 0.15))


def test_seen_angles() -> None:
    table = Turntable(0.85, 0.15)
    # a right angle on the turntable: the microphone stands 0.15 m behind the reference point, 1 m aside
    assert table.seen_angles_deg([0.0, 90.0, -90.0, 180.0]) == pytest.approx(
        [0.0, 90.0 + np.rad2deg(np.arctan(0.15)), -90.0 - np.rad2deg(np.arctan(0.15)), 180.0]
    )
    assert Turntable(2.0, 0.0).seen_angles_deg([-170.0, 30.0]) == pytest.approx([-170.0, 30.0])


# FACTS §8 (computed): h1, h2, d -> Δ
@pytest.mark.parametrize(
    ("heights", "distance_m", "detour_m"),
    [
        ((1.0, 1.0), 1.0, 1.2361),
        ((1.2, 1.2), 1.0, 1.6),
        ((1.5, 1.5), 1.0, 2.1623),
        ((1.0, 1.0), 2.0, 0.8284),
    ],
)
def test_floor_detour(heights: tuple[float, float], distance_m: float, detour_m: float) -> None:
    assert floor_detour_m(distance_m, *heights) == pytest.approx(detour_m, abs=5e-5)


def test_floor_detour_of_unequal_heights() -> None:
    # FACTS §8: .9, 1.1, 3 m over the floor -> .5989 m; there d is measured along the floor
    straight = np.hypot(3.0, 0.2)
    assert floor_detour_m(straight, 0.9, 1.1) == pytest.approx(0.5989, abs=5e-5)


@pytest.mark.parametrize("behind_m", [-0.4, -0.05, 0.0, 0.12, 0.3, 1.1])
def test_rotation_point_from_times_of_flight(behind_m: float) -> None:
    angles = np.arange(-170.0, 181.0, 10.0)
    difference = Turntable(2.0, behind_m).distances_m(angles) - 2.0
    # behind the cabinet sound comes later; that must not disturb the fit
    difference[np.abs(angles) > 90.0] += 0.16
    found = fitted_rotation(angles, np.zeros(angles.size, dtype=int), difference, 2.0)
    assert found is not None
    assert found.behind_m == pytest.approx(behind_m, abs=1e-4)
    assert found.uncertainty_m < 1e-4
    assert found.scatter_m < 1e-4


def two_orbits(side_m: float) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], ...]:
    """Half an orbit around, a quarter up, 0.1 m behind, the source `side_m` up: angles, orbits, way."""
    angles = np.r_[np.arange(-90.0, 91.0, 10.0), np.arange(10.0, 91.0, 10.0)]
    orbits = np.r_[np.zeros(19), np.ones(9)]
    ahead, aside = Turntable(2.0, 0.1).ahead_and_aside_m(angles)
    path = np.sqrt(ahead**2 + (aside - side_m * orbits) ** 2 + (side_m * (1.0 - orbits)) ** 2)
    return angles, orbits, path - np.hypot(2.0, side_m)


def test_a_source_above_the_axis_does_not_move_the_rotation_point() -> None:
    angles, orbits, path = two_orbits(0.05)
    found = fitted_rotation(angles, orbits.astype(int), path, 2.0)
    assert found is not None
    # −s·sin θ is the first order of what the source's place does; what is left is s²/2d, a millimetre
    assert found.behind_m == pytest.approx(0.1, abs=1.5e-3)


def test_the_uncertainty_of_the_rotation_point_is_its_spread_over_many_trials() -> None:
    angles, orbits, path = two_orbits(0.0)
    rng = np.random.default_rng(8)
    fits = [
        fitted_rotation(angles, orbits.astype(int), path + 2e-3 * rng.standard_normal(path.size), 2.0)
        for _ in range(100)
    ]
    found = np.array([f.behind_m for f in fits if f is not None])
    said = np.median([f.uncertainty_m for f in fits if f is not None])
    assert found.mean() == pytest.approx(0.1, abs=4.0 * found.std() / 10.0)
    # the spread of 100 trials is known to 7 %, and each fit's own scatter, a median of 28, to a fifth
    assert said == pytest.approx(found.std(), rel=0.25)


def test_one_wild_flight_does_not_move_the_rotation_point() -> None:
    angles, orbits, path = two_orbits(0.0)
    path[4] += 0.5
    found = fitted_rotation(angles, orbits.astype(int), path, 2.0)
    assert found is not None
    assert found.behind_m == pytest.approx(0.1, abs=5e-3)


def test_too_few_directions_tell_no_rotation_point() -> None:
    angles = np.array([0.0, 30.0, 180.0])
    assert fitted_rotation(angles, np.zeros(3, dtype=int), np.zeros(3), 2.0) is None
