"""Heating against closed forms, and against its differential equations solved by a general library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from earwitness.acoustics.endurance import seconds_of
from earwitness.acoustics.heating import STEPS, fit_warming, growth_over_time


def test_a_small_rise_is_exponential_and_a_large_one_settles_where_its_power_does() -> None:
    small = growth_over_time(np.ones(60), 5.0, 400.0, 1e-5, 0.0)
    seconds = (np.arange(small.size) + 1.0) / STEPS
    assert small == pytest.approx(1e-5 * (1.0 - np.exp(-seconds / 5.0)), rel=1e-4)
    # x(1 + x) = r once settled
    large = growth_over_time(np.ones(400), 5.0, 40.0, 0.5, 0.3)
    assert large[-1] == pytest.approx((-1.0 + np.sqrt(1.0 + 4.0 * 0.8)) / 2.0, rel=1e-4)


def solved(
    short_s: float, long_s: float, rises: tuple[float, float], fall: float = 1.0
) -> tuple[np.ndarray, ...]:
    """Gains of a run, and the loss of its probes in dB by a Runge-Kutta of high order."""
    kinds = seconds_of(240, 400)
    gain = np.array([0.0, 0.1, 1.0])[kinds]

    def slope(t: float, state: np.ndarray) -> list[float]:
        power = gain[min(int(t), gain.size - 1)] ** 2 * (1.0 + state[0] + state[1]) ** -fall
        return [(rises[0] * power - state[0]) / short_s, (rises[1] * power - state[1]) / long_s]

    times = np.arange(gain.size) + 0.5
    x = solve_ivp(slope, (0.0, gain.size), [0.0, 0.0], "DOP853", times, max_step=0.25, rtol=1e-8).y.sum(0)
    probes = (kinds == 1) & (np.concatenate([kinds[:-1] == 1, [False]]) | (np.roll(kinds, 1) == 1))
    return gain, times[probes], -20.0 * np.log10(1.0 + x[probes])


@pytest.mark.parametrize(("short_s", "long_s"), [(2.5, 300.0), (4.0, 900.0), (12.0, 500.0)])
def test_both_time_constants_are_found_again(short_s: float, long_s: float) -> None:
    gain, times, loss = solved(short_s, long_s, (0.25, 0.1))
    noise = 0.005 * np.random.default_rng(3).standard_normal(loss.size)
    everything = np.ones(loss.size, dtype=bool)
    found = fit_warming(gain, 0.0, times, loss + noise, np.full(loss.size, 0.005), fitted=everything)
    assert found is not None
    assert found.short.value_s == pytest.approx(short_s, rel=0.08)
    assert found.long.value_s == pytest.approx(long_s, rel=0.15)
    assert found.short.low_s < found.short.value_s < found.short.high_s < 2.0 * found.short.low_s
    assert found.residual_db == pytest.approx(0.005, rel=0.3)


@pytest.mark.slow
def test_intervals_hold_what_is_true_about_as_often_as_they_say() -> None:
    gain, times, loss = solved(4.0, 400.0, (0.25, 0.1))
    everything = np.ones(loss.size, dtype=bool)
    held = 0
    for seed in range(20):
        noise = 0.01 * np.random.default_rng(seed).standard_normal(loss.size)
        found = fit_warming(gain, 0.0, times, loss + noise, np.full(loss.size, 0.01), fitted=everything)
        assert found is not None
        held += found.short.low_s <= 4.0 <= found.short.high_s
    # 19 of 20 expected; under 15 has a chance below one in a thousand
    assert held >= 15


@pytest.mark.parametrize("fall", [-0.5, 0.25, 1.0])
def test_however_the_power_falls_the_coil_reads_within_its_interval(fall: float) -> None:
    gain, times, loss = solved(3.0, 500.0, (0.3, 0.12), fall)
    noise = 0.005 * np.random.default_rng(8).standard_normal(loss.size)
    everything = np.ones(loss.size, dtype=bool)
    found = fit_warming(gain, 0.0, times, loss + noise, np.full(loss.size, 0.005), fitted=everything)
    assert found is not None
    assert found.short.low_s <= 3.0 <= found.short.high_s
    assert found.short.high_s < 1.4 * found.short.low_s


def test_no_change_is_no_heat() -> None:
    gain, times, loss = solved(4.0, 900.0, (0.25, 0.1))
    noise = 0.01 * np.random.default_rng(4).standard_normal(loss.size)
    everything = np.ones(loss.size, dtype=bool)
    assert fit_warming(gain, 0.0, times, noise, np.full(loss.size, 0.01), fitted=everything) is None
    few = everything & (np.arange(loss.size) < 5)
    assert fit_warming(gain, 0.0, times, loss, np.full(loss.size, 0.01), fitted=few) is None
