"""Radiators that near microphones hear together: closed forms of points on a wide baffle."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.leakage import Heard, half_width_db, together

Complexes = npt.NDArray[np.complex128]
K = 2.0 * np.pi * np.array([50.0, 200.0, 600.0]) / 343.2
#: A cone of 11 cm, a port of 5 cm and a second cone, along a line on the baffle; all far away alike.
RADIUS = np.array([0.055, 0.025, 0.055])
PLACE = np.array([0.0, 0.12, 0.30])
FAR_M = 50.0


def piston(radius_m: float, distance_m: float) -> Complexes:
    """Pressure per unit of jωρ times volume velocity, in half space (Kinsler: on axis; a point beside it).

    In front of a piston's middle (1 − e^(−jka))/(jk·πa²), beside it e^(−jkd)/(2πd).
    """
    if distance_m == 0.0:
        return np.asarray((1.0 - np.exp(-1j * K * radius_m)) / (1j * K * np.pi * radius_m**2))
    return np.asarray(np.exp(-1j * K * distance_m) / (2.0 * np.pi * distance_m))


def heard(count: int, like: tuple[int, ...]) -> Heard:
    """`count` microphones in front of the first radiators; far ones 3 m apart along the line."""
    near = [[piston(RADIUS[m], abs(PLACE[m] - PLACE[i])) for i in range(count)] for m in range(len(like))]
    far = [[piston(RADIUS[m], np.hypot(FAR_M, x - PLACE[m])) for x in (0.0, 3.0)] for m in range(len(like))]
    return Heard(np.array(near), np.array(far), np.array(like))


@pytest.mark.parametrize("port", [0.8, -0.9, -0.4j])
def test_a_cone_and_a_port_are_told_apart(port: complex) -> None:
    moved = np.array([1.0, port])
    one = heard(2, (0, 1))
    pressure = np.einsum("mif,m->if", one.near, moved)
    found = np.einsum("fij,jf->if", one.parted, pressure)
    assert found == pytest.approx(np.tile(moved[:, None], (1, K.size)), rel=1e-12)
    far = np.einsum("fdk,kf->df", one.carrying, pressure)
    assert far == pytest.approx(np.einsum("mdf,m->df", one.far, moved), rel=1e-12)


def test_what_leaks_is_of_the_size_that_is_said() -> None:
    """At low ka a cone's pressure at a place is a²/(2d) of its own over a: a²/(2·a·d) = 0.229 at 12 cm."""
    one = heard(2, (0, 1))
    assert np.abs(one.near[0, 1, 0] / one.near[0, 0, 0]) == pytest.approx(0.055 / (2.0 * 0.12), rel=2e-3)


def test_two_alike_cones_are_told_from_one_near_field() -> None:
    """The second, 30 cm away, is heard at the first one's microphone and far away, and moves alike."""
    one = heard(2, (0, 1, 0))
    moved = np.array([1.0, -0.5, 1.0])
    pressure = np.einsum("mif,m->if", one.near, moved)
    far = np.einsum("fdk,kf->df", one.carrying, pressure)
    assert far == pytest.approx(np.einsum("mdf,m->df", one.far, moved), rel=1e-12)
    lonely = heard(2, (0, 1))
    short = np.einsum("fdk,kf->df", lonely.carrying, pressure)
    assert np.all(np.abs(far / short) > 1.4)


def test_together_adds_what_moves_alike() -> None:
    values = np.arange(6.0).reshape(3, 2).astype(np.complex128)
    assert together(values, np.array([0, 1, 0])).real.tolist() == [[4.0, 6.0], [2.0, 3.0]]


@pytest.mark.parametrize("port", [0.5, -0.9, -0.4j])
def test_the_half_width_is_what_wrong_transfers_and_motions_do(port: complex) -> None:
    """Each transfer and motion made wrong in turn, everything solved again; root of the sum of squares."""
    leak, unlike, moved = 0.04, 0.06, np.array([1.0, port, 1.0])
    true = heard(2, (0, 1, 0))
    pressure = np.einsum("mif,m->if", true.near, moved)
    expected = np.einsum("mdf,m->df", true.far, moved)
    square = np.zeros(expected.shape)
    for m, i in [(0, 1), (1, 0), (2, 0), (2, 1)]:
        near = true.near.copy()
        near[m, i] *= 1.0 + leak
        wrong = Heard(near, true.far, true.like)
        square += np.abs(np.einsum("fdk,kf->df", wrong.carrying, pressure) - expected) ** 2
    other = Heard(true.near.copy(), true.far.copy(), true.like)
    other.near[2] *= 1.0 + unlike
    other.far[2] *= 1.0 + unlike
    square += np.abs(np.einsum("fdk,kf->df", other.carrying, pressure) - expected) ** 2
    parts = np.where(np.eye(3, 2, dtype=bool), 0.0, leak)
    found = half_width_db(true, pressure, parts, unlike)
    # to first order in errors of some per cent
    assert 10.0 ** (found / 20.0) - 1.0 == pytest.approx(np.sqrt(square) / np.abs(expected), rel=0.06)


def test_one_radiator_alone_has_nothing_unsure() -> None:
    one = heard(1, (0,))
    assert not half_width_db(one, one.near[0], np.zeros((1, 1)), 0.1).any()
