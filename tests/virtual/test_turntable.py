"""Where the loudspeaker sees the microphone while it turns, with an axis and angles that are off."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.virtual.turntable import Orbit, Turntable

ORBITS: tuple[Orbit, Orbit] = ("horizontal", "vertical")


def test_an_axis_beside_the_line_moves_the_microphone_aside() -> None:
    """At a quarter turn, by hand: (o − b, o + b + d, 0) for an axis o to the left and b behind."""
    found = Turntable(2.0, 0.1, axis_left_m=0.03).microphone("horizontal", np.array([0.0, 90.0]))
    np.testing.assert_allclose(found, [[2.0, 0.0, 0.0], [-0.07, 2.13, 0.0]], atol=1e-12)


def test_a_higher_microphone_is_above_upright_and_to_the_left_of_what_lies() -> None:
    for orbit, place in zip(ORBITS, ([2.0, 0.0, 0.2], [2.0, 0.2, 0.0]), strict=True):
        found = Turntable(2.0, 0.1, microphone_up_m=0.2).microphone(orbit, np.zeros(1))
        np.testing.assert_allclose(found, [place], atol=1e-12)


@settings(max_examples=50)
@given(angle=st.floats(-180.0, 180.0), left=st.floats(-0.1, 0.1), up=st.floats(-0.5, 0.5))
def test_turning_keeps_every_distance_from_the_axis(angle: float, left: float, up: float) -> None:
    turntable = Turntable(2.0, 0.1, left, up)
    for orbit in ORBITS:
        view = turntable.view(orbit, np.array([angle]))
        np.testing.assert_allclose(view.axes[0] @ view.axes[0].T, np.eye(3), atol=1e-12)
        assert np.linalg.det(view.axes[0]) == pytest.approx(1.0)
        for place in ([1.3, 0.4, -0.7], [-0.2, -0.9, 1.1]):
            away = np.linalg.norm(view.seen(np.array(place))[0] - view.pivot[0])
            assert away == pytest.approx(np.linalg.norm(place - view.pivot_in_room[0]), rel=1e-12)


def test_what_turns_with_the_loudspeaker_stays_where_it_is() -> None:
    view = Turntable(2.0, 0.1, 0.02).view("horizontal", np.array([0.0, 50.0, -130.0]))
    np.testing.assert_allclose(view.carried(np.array([0.1, 0.2, -0.4])), [[0.1, 0.2, -0.4]] * 3, atol=1e-12)


def test_angles_are_off_as_stated() -> None:
    generator, turntable = (
        np.random.default_rng(3),
        Turntable(2.0, 0.1, angle_offset_deg=1.5, angle_spread_deg=0.4),
    )
    errors = np.array([turntable.error_deg(generator) for _ in range(20_000)])
    assert errors.mean() == pytest.approx(1.5, abs=0.012)
    assert errors.std() == pytest.approx(0.4, rel=0.02)
