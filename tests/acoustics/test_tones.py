"""Tones through a polynomial: closed forms of sums and differences."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.tones import many_tones, two_tones

RATE = 48_000
A2, A3 = 0.01, 0.005


def polynomial(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return x + A2 * x**2 + A3 * x**3


def test_sidebands_of_two_tones() -> None:
    """x²: a2·A1·A2 at each of f2 ± f1; x³: ¾·a3·A1²·A2 at f2 ± 2·f1, A2 + ¾·a3·A2³ + 3/2·a3·A1²·A2 at f2."""
    first, second = 0.8, 0.2
    t = np.arange(RATE) / RATE
    x = first * np.cos(2.0 * np.pi * 70.3 * t + 0.3) + second * np.cos(2.0 * np.pi * 1_000.7 * t + 1.0)
    found = two_tones(polynomial(x), RATE, 70.3, 1_000.7)
    high = second + 0.75 * A3 * second**3 + 1.5 * A3 * first**2 * second
    assert found.high == pytest.approx(high, rel=1e-4)
    assert found.second == pytest.approx((A2 * first * second,) * 2, rel=0.01)
    assert found.third == pytest.approx((0.75 * A3 * first**2 * second,) * 2, rel=0.01)
    assert found.second_order == pytest.approx(2.0 * A2 * first * second / high, rel=0.01)
    assert found.third_order == pytest.approx(1.5 * A3 * first**2 * second / high, rel=0.01)


def test_noise_about_two_tones_is_told() -> None:
    """White noise of mean square σ² gives each of two quadratures the variance 2σ²/n."""
    rng = np.random.default_rng(1)
    size = RATE // 5
    t = np.arange(size) / RATE
    x = 0.5 * np.cos(2.0 * np.pi * 70.0 * t) + 0.5 * np.cos(2.0 * np.pi * 1_000.0 * t)
    found = [two_tones(x + 0.01 * rng.standard_normal(size), RATE, 70.0, 1_000.0) for _ in range(120)]
    highs = np.array([one.high for one in found])
    assert np.std(highs) == pytest.approx(0.01 * np.sqrt(2.0 / size), rel=0.2)
    assert found[0].noise == pytest.approx(0.01 * np.sqrt(2.0 / size), rel=0.04)


@pytest.mark.parametrize(("low_hz", "high_hz"), [(600.0, 1_000.0), (1_000.0, 23_000.0), (70.0, 210.5)])
def test_two_tones_that_hide_each_other_are_refused(low_hz: float, high_hz: float) -> None:
    with pytest.raises(ValueError, match="sideband"):
        two_tones(np.zeros(RATE), RATE, low_hz, high_hz)


def test_between_many_tones() -> None:
    """Of k tones of amplitude A, x² gives a·A² at each sum and difference, a·A²/2 at each double."""
    block, bins, amplitude = 4_800, np.array([10, 23, 57, 131]), 0.3
    t = np.arange(20 * block)
    x = sum(amplitude * np.cos(2.0 * np.pi * k * t / block + k) for k in bins)
    rng = np.random.default_rng(2)
    noise = 3e-3
    y = x + A2 * x**2 + noise * rng.standard_normal(t.size)
    found = many_tones(y, RATE, bins, block)
    distortion, between, tones = found.between([5.0], [24_000.0])
    pairs = 6
    expected = 0.5 * (A2 * amplitude**2) ** 2 * (2 * pairs + len(bins) / 4.0)
    assert tones[0] == pytest.approx(len(bins) * 0.5 * amplitude**2, rel=1e-3)
    assert between[0] == pytest.approx(noise**2, rel=0.03)
    # a twentieth of the noise stays in the mean: of it, beside the distortion, this scatter is left
    scatter = np.sqrt(2.0 * expected * noise**2 / 20.0 / 2_400.0)
    assert distortion[0] == pytest.approx(expected, abs=3.0 * scatter)
    assert 3.0 * scatter < 0.5 * noise**2 / 20.0


def test_one_block_is_refused() -> None:
    with pytest.raises(ValueError, match="two blocks"):
        many_tones(np.zeros(100), RATE, [3], 64)
