"""Patterns of sources against closed forms and published series."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics.source_patterns import Rim, disc, on_ball, rimmed

FAR_M = 1000.0


def test_a_discs_half() -> None:
    """2J₁(x)/x is ½ at 2.2150894 and vanishes at 3.8317060 (Kinsler; zeros of J₁)."""
    assert disc(2.2150894) == pytest.approx(0.5, abs=1e-7)
    assert disc(3.8317060) == pytest.approx(0.0, abs=1e-7)


def test_a_small_body_is_half_as_loud() -> None:
    """From half to full space 6.02 dB are lost (a source of given volume velocity; any textbook)."""
    ahead = np.array([[FAR_M, 0.0, 0.0], [0.8 * FAR_M, 0.6 * FAR_M, 0.0]])
    box = rimmed(np.array([1e-3]), Rim(0.1, 0.1, 0.2), 0.01, ahead)
    ball = on_ball(np.array([0.5]), 0.1, np.array([0.0, np.pi]))
    assert np.abs(box) == pytest.approx(np.full((2, 1), 0.5), rel=1e-3)
    assert np.abs(ball) == pytest.approx(np.full((2, 1), 0.5), rel=5e-3)


@pytest.mark.parametrize(
    ("ka", "at_30", "at_60"), [(1.0, -0.3850, -1.5953), (2.0, -0.5241, -1.8475), (5.0, -0.9757, -3.7215)]
)
def test_a_ball_against_a_cap_on_it(ka: float, at_30: float, at_60: float) -> None:
    """A cap of 20° on a sphere (Morse and Ingard 7.2, computed): as a point, beaming as a disc as wide.

    The disc is as wide as the cap's rim; what is left is the cap's height: within 0.1 dB up to ka = 5.
    """
    angle = np.radians([0.0, 30.0, 60.0])
    level = 20.0 * np.log10(np.abs(on_ball(np.array([ka / 0.15]), 0.15, angle))[:, 0])
    level += 20.0 * np.log10(disc(ka * np.sin(np.radians(20.0)) * np.sin(angle)))
    assert level[1:] - level[0] == pytest.approx([at_30, at_60], abs=0.1)


def test_a_round_rim_peaks_and_dips() -> None:
    """All edges L away: on axis 1 − ½e^(−jkL), 3/2 at c/2L, ½ at c/L (closed form)."""
    length, speed = 0.1, 343.0

    class Round(Rim):
        def distances_m(self, bearing: np.ndarray) -> np.ndarray:
            return np.full(bearing.shape, length)

    frequency = np.array([speed / (2.0 * length), speed / length])
    found = rimmed(2.0 * np.pi * frequency / speed, Round(1.0, 1.0, 1.0), 1e-4, np.array([[FAR_M, 0.0, 0.0]]))
    assert np.abs(found[0]) == pytest.approx([1.5, 0.5], rel=1e-3)


def test_a_rim_lies_where_it_lies() -> None:
    """To the side, up, down, and into a corner at 45°."""
    rim = Rim(0.1, 0.05, 0.3)
    found = rim.distances_m(np.array([0.0, np.pi / 2.0, -np.pi / 2.0, -np.pi / 4.0]))
    assert found == pytest.approx([0.1, 0.05, 0.3, 0.1 * np.sqrt(2.0)])
