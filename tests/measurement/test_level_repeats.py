"""Several takes at one drive, from orders that are made up: amplitudes, delays and noise are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from earwitness.acoustics.harmonics import Orders
from earwitness.measurement.level_repeats import agrees, alike, averaged
from earwitness.measurement.order_responses import HIGHEST, OrderResponses
from earwitness.records.grid import derived_grid
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind

GRID = derived_grid()
ORDER = np.arange(1, HIGHEST + 1)
SIZES = np.where(ORDER == 1, 1.0, 0.01)
NOISE = 0.002
INSIDE = (GRID > 100.0) & (GRID < 5_000.0)


def made(
    rng: np.random.Generator, delay_s: float = 0.0, gain: float = 1.0, unsettled: float = 0.0
) -> OrderResponses:
    """Orders of −40 dB, late by a delay, with noise of a known power that its own stretch told."""
    at = np.multiply.outer(ORDER, GRID)
    turn = np.exp(-2j * np.pi * at * delay_s)
    noise = (rng.standard_normal(at.shape) + 1j * rng.standard_normal(at.shape)) * NOISE / np.sqrt(2.0)
    amplitude = gain * SIZES[:, None] * turn + noise
    linear = np.where(ORDER[:, None] == 1, amplitude, turn)
    off = np.full(at.shape, unsettled)
    orders = Orders(
        GRID,
        ORDER,
        amplitude.astype(np.complex64),
        np.full(at.shape, NOISE**2) + off,
        np.ones(at.shape, bool),
    )
    return OrderResponses(orders, linear.astype(np.complex64), off)


def test_noise_falls_as_the_takes_rise() -> None:
    """Sixteen takes, each late by another part of a sample: a quarter of the noise, of each order."""
    rng = np.random.default_rng(5)
    found = averaged([made(rng, delay_s=rng.uniform(0.0, 2e-5)) for _ in range(16)])
    error = np.abs(found.orders.amplitude[:, INSIDE]) - SIZES[:, None]
    # noise in phase alone changes a level: half its power
    assert np.sqrt(np.mean(error[1:] ** 2)) == pytest.approx(NOISE / 4.0 / np.sqrt(2.0), rel=0.05)
    assert np.median(found.orders.noise_power[:, INSIDE]) == pytest.approx(NOISE**2 / 16.0, rel=0.1)
    assert found.orders.noise_power[0, INSIDE].mean() == pytest.approx(NOISE**2 / 16.0, rel=0.15)


def test_what_takes_scatter_by_is_stated_where_it_is_more() -> None:
    """Levels that differ between takes: the standard uncertainty of the mean, s/√M.

    Noise of power N changes a level by √(N/2).
    """
    rng = np.random.default_rng(7)
    parts = [0.5, 1.0, 1.5, 1.0]
    takes = [made(rng) for _ in parts]
    for part, one in zip(parts, takes, strict=True):
        one.orders.amplitude[1:] *= np.float32(part)
        one.orders.amplitude[0] *= np.float32(1.0 + 0.01 * part)
    found = averaged(takes)
    scatter = 0.01 * float(np.std(parts, ddof=1))
    expected = np.hypot(scatter, NOISE / np.sqrt(2.0)) / np.sqrt(len(parts))
    for row in (0, 1):
        told = np.sqrt(0.5 * np.median(found.orders.noise_power[row, INSIDE]))
        assert told == pytest.approx(expected, rel=0.1)


def test_what_the_sweep_is_too_fast_for_does_not_fall() -> None:
    rng = np.random.default_rng(8)
    found = averaged([made(rng, unsettled=1e-4) for _ in range(4)])
    assert np.all(found.unsettled == pytest.approx(1e-4))
    assert np.median(found.orders.noise_power) == pytest.approx(1e-4 + NOISE**2 / 4.0, rel=0.02)


def test_a_take_by_itself_is_itself_and_a_changed_one_does_not_agree() -> None:
    rng = np.random.default_rng(9)
    one = made(rng)
    assert averaged([one]) is one
    assert agrees(one, made(rng, gain=10.0 ** (0.05 / 20.0)))
    assert not agrees(one, made(rng, gain=10.0 ** (-0.2 / 20.0)))


def test_only_repeats_are_alike() -> None:
    key = TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, 0.0), Drive(2.83))
    first = Take("a.wav", key, stimulus="s.wav")
    again = Take("b.wav", replace(key, repeat=2), stimulus="s.wav")
    other = Take("c.wav", replace(key, direction=Direction(Orbit.VERTICAL, 0.0)), stimulus="s.wav")
    assert alike(first, again)
    assert not alike(first, other)
    assert not alike(first, replace(again, stimulus="other.wav"))
    assert not alike(first, replace(again, distance_m=1.0))
