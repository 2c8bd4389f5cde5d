"""Where curves with a known closed form turn."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics.turning_points import maxima, minima


def test_between_the_points() -> None:
    x = np.arange(200) * 0.05
    (first, second) = maxima(np.cos(x - 1.0137), 0.3)
    assert first.place * 0.05 == pytest.approx(1.0137, abs=1e-4)
    assert second.place * 0.05 == pytest.approx(1.0137 + 2.0 * np.pi, abs=1e-4)
    assert first.value == pytest.approx(1.0, abs=1e-5)
    (dip,) = [one for one in minima(np.cos(x - 1.0137), 0.5) if one.place * 0.05 < 6.0]
    assert dip.place * 0.05 == pytest.approx(1.0137 + np.pi, abs=1e-4)
    assert dip.value == pytest.approx(-1.0, abs=1e-5)


def test_what_hardly_stands_out_is_left() -> None:
    x = np.linspace(0.0, 10.0, 500)
    curve = -((x - 5.0) ** 2) + 0.01 * np.cos(40.0 * x)
    assert len(maxima(curve, 0.5)) == 1
    assert len(maxima(curve, 0.0)) > 1


def test_slack_is_the_spread_of_noise() -> None:
    """The vertex of a parabola through five points, over seeds."""
    random = np.random.default_rng(1)
    clean = -0.01 * (np.arange(41) - 20.3) ** 2
    found = [maxima(clean + 1e-3 * random.normal(size=41), 1.0)[0] for _ in range(400)]
    spread = np.std([one.place for one in found])
    assert spread == pytest.approx(1e-3 * np.median([one.slack for one in found]), rel=0.15)
