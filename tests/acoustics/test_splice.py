from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics import splice

F = 1000.0 * 2.0 ** (np.arange(-200, 100) / 96.0)
OVER = slice(80, 176)


def test_weight_runs_from_nothing_to_all_over_the_overlap() -> None:
    weight = splice.crossfade_weight(F, 500.0, 1_000.0)
    assert np.all(weight[F <= 500.0] == 0.0)
    assert weight[F >= 1_000.0] == pytest.approx(1.0)
    assert splice.crossfade_weight(np.array([np.sqrt(0.5) * 1_000.0]), 500.0, 1_000.0) == pytest.approx(0.5)


def test_alignment_finds_delay_and_constant_and_leaves_levels_alone() -> None:
    rng = np.random.default_rng(2)
    low = np.exp(0.1 * rng.standard_normal((3, F.size))) * np.exp(1j * np.sin(F / 3_000.0))
    delay, turn = np.array([0.4e-3, -1.1e-3, 0.0])[:, None], np.array([0.3, np.pi, -2.0])[:, None]
    high = low * np.exp(-2j * np.pi * F * delay + 1j * turn)
    found = splice.aligned(low, high, F, OVER)
    assert np.abs(found) == pytest.approx(np.abs(low))
    assert np.max(np.abs(found - high)) < 1e-6


def test_cross_fade_is_in_level() -> None:
    low, high = np.full((1, 3), 1.0 + 0j), np.full((1, 3), 10.0 ** (2.0 / 20.0) * np.exp(0.2j))
    joined = splice.blended(low, high, np.array([0.0, 0.5, 1.0]))
    assert 20.0 * np.log10(np.abs(joined[0])) == pytest.approx([0.0, 1.0, 2.0], abs=1e-12)
    assert np.angle(joined[0]) == pytest.approx([0.0, 0.1, 0.2])


def test_mismatch() -> None:
    low = np.ones((1, 4), dtype=complex)
    high = (10.0 ** (np.array([[9.0, 1.0, -3.0, 9.0]]) / 20.0)).astype(complex)
    difference = splice.difference_db(low, high)
    assert difference == pytest.approx(np.array([[9.0, 1.0, -3.0, 9.0]]))
    assert splice.root_mean_square(difference[:, 1:3]) == pytest.approx([np.sqrt(5.0)])
