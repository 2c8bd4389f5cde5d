"""A rattle that clicks once a period in one band, against smooth orders alone and against noise."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from made_harmonics import RATE, PolynomialLoudspeaker

from earwitness.acoustics import sweeps
from earwitness.acoustics.impulsive import Impulsive, impulsive, residual, spectrum_of
from earwitness.acoustics.sweep_law import sweep_law

FIRST_HZ, LAST_HZ = 15.0, 22_000.0
RATE_S = sweeps.sweep_rate_s(FIRST_HZ, LAST_HZ, 5.0)
LENGTH_S = float(RATE_S * np.log(LAST_HZ / FIRST_HZ))
EDGES_HZ = 100.0 * 2.0 ** (np.arange(-12, 37) / 12.0)
DELAY = 480
CLICK = np.hanning(18)[1:-1] * np.cos(2.0 * np.pi * 0.2 * np.arange(-8, 8))


def told(extra: npt.NDArray[np.float64] | float) -> Impulsive:
    """Of x + 0.01·x² + 0.005·x³ + 0.02·x⁵ with something added to the recording."""
    stimulus = sweeps.synchronised_sweep(FIRST_HZ, LAST_HZ, 5.0, RATE)
    loudspeaker = PolynomialLoudspeaker({1: 1.0, 2: 0.01, 3: 0.005, 5: 0.02})
    recording = loudspeaker.recorded(FIRST_HZ, RATE_S, LENGTH_S, 1.0, silence=(DELAY / RATE, 0.8))
    recorded = (recording + extra).astype(np.float32)
    band, about = sweeps.band_and_rate(stimulus, RATE)
    law = sweep_law(stimulus, RATE, band, about)
    length = sweeps.block_length(recorded.size, stimulus.size)
    inverse = sweeps.inverse_filter(stimulus, RATE, band, length)
    whole = sweeps.deconvolve(recorded[None], inverse, length)[0]
    at = int(np.argmax(np.abs(whole[: length // 2])))
    rest = residual(whole, spectrum_of(stimulus, whole.size), RATE, law=law, at=at)
    return impulsive(rest, RATE, law=law, at=at, edges_hz=EDGES_HZ)


def size() -> int:
    return int(LENGTH_S * RATE) + DELAY + int(0.8 * RATE)


def clicks(low_hz: float, high_hz: float, height: float) -> npt.NDArray[np.float64]:
    """One click a period, a third of a millisecond about 9.6 kHz, a quarter of a turn after its start."""
    t = np.arange(size() - DELAY) / RATE
    phase = FIRST_HZ * RATE_S * np.exp(np.minimum(t, LENGTH_S) / RATE_S) - 0.25
    frequency = FIRST_HZ * np.exp(t / RATE_S)
    begins = np.flatnonzero(np.diff(np.floor(phase)) > 0)
    begins = begins[(frequency[begins] > low_hz) & (frequency[begins] < high_hz)]
    sound = np.zeros(size())
    for begin in begins:
        sound[DELAY + begin : DELAY + begin + CLICK.size] += height * CLICK
    return sound


def test_smooth_orders_leave_nothing() -> None:
    found = told(0.0)
    inside = (found.frequency_hz > 60.0) & (found.frequency_hz < 700.0)
    assert np.nanmax(found.peak[inside]) < 10.0 ** (-70.0 / 20.0)


def test_a_rattle_stands_out_where_it_is() -> None:
    found = told(clicks(150.0, 200.0, 0.003))
    rattling = (found.frequency_hz > 155.0) & (found.frequency_hz < 193.0)
    clear = ((found.frequency_hz > 60.0) & (found.frequency_hz < 140.0)) | (
        (found.frequency_hz > 215.0) & (found.frequency_hz < 700.0)
    )
    # orders above ten keep nearly all of so short a click
    assert found.peak[rattling] == pytest.approx(0.003 * CLICK.max(), rel=0.1)
    assert np.all(found.peak[rattling] > 2.0 * found.expected_peak[rattling])
    assert np.max(found.peak[clear]) < 0.1 * np.min(found.peak[rattling])


def test_noise_is_no_rattle() -> None:
    """Gaussian noise keeps to √(2·ln n) of its RMS value, give or take three tenths."""
    found = told(1e-3 * np.random.default_rng(4).standard_normal(size()))
    inside = (found.frequency_hz > 60.0) & (found.frequency_hz < 700.0)
    assert np.all(np.abs(found.peak[inside] / found.expected_peak[inside] - 1.0) < 0.3)
