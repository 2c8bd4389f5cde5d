"""Gates against the limit of FACTS §8 (computed there), and spectra against a direct sum."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics import gating

RATE = 48_000


def test_gate_shape() -> None:
    weight = gating.gate([-3e-3, -2e-3, -1e-3, 0.0, 2e-3, 3e-3, 4e-3, 5e-3, 6e-3], 2e-3, 5e-3)
    # half a Hann window is 1/2 in its middle
    assert weight == pytest.approx([0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.0, 0.0], abs=1e-9)
    assert gating.gate(-1.5e-3, 2e-3, 5e-3) == pytest.approx(0.5)


@pytest.mark.parametrize("quality", [0.5, 0.57735, 0.70711, 1.0])
@pytest.mark.parametrize("corner_hz", [40.0, 60.0, 120.0])
def test_featureless_roll_offs_are_valid_from_the_limit(quality: float, corner_hz: float) -> None:
    # FACTS §8 (computed): 0.3 dB from 2/T, 0.1 dB from 3.3/T, worst of four featureless roll-offs
    gate_s = 5e-3
    w = 2.0 * np.pi * corner_hz
    b, a = scipy.signal.bilinear([1.0, 0.0, 0.0], [1.0, w / quality, w**2], RATE)
    lead = 96
    impulse = np.zeros(2**15)
    impulse[lead] = 1.0
    response = scipy.signal.lfilter(b, a, impulse)
    window = gating.gate((np.arange(response.size) - lead) / RATE, 2e-3, gate_s)
    limit = float(gating.valid_from_hz(gate_s))
    accurate = float(gating.accurate_from_hz(gate_s))
    assert [limit, accurate] == pytest.approx([400.0, 660.0])
    frequency = np.geomspace(limit, 15_000.0, 400)
    gated = np.abs(gating.spectra((response * window)[:512], RATE, frequency, -lead / RATE))
    true = np.abs(scipy.signal.freqz(b, a, frequency, fs=RATE)[1])
    error = np.abs(20.0 * np.log10(gated / true))
    assert np.max(error) < 0.3
    assert np.max(error[frequency >= accurate]) < 0.1


@pytest.mark.parametrize("samples", [100, 397, 4_096])
def test_spectra_equal_the_sum(samples: int) -> None:
    rng = np.random.default_rng(samples)
    segments = (rng.standard_normal((3, samples)) * np.exp(-np.arange(samples) / (0.2 * samples))).astype(
        np.float32
    )
    frequency = np.geomspace(20.0, 20_000.0, 300)
    start = np.array([-1e-3, 0.0, 2.5e-4])
    time = start[:, None] + np.arange(samples) / RATE
    expected = np.stack(
        [
            s.astype(np.float64) @ np.exp(-2j * np.pi * np.outer(t, frequency))
            for s, t in zip(segments, time, strict=True)
        ]
    )
    found = gating.spectra(segments, RATE, frequency, start)
    error = np.abs(found - expected) / np.sqrt(np.mean(np.abs(expected) ** 2))
    # 0.01 dB is 1.15 ‰
    assert error.max() < 1.15e-3


def test_a_delay_is_a_falling_phase() -> None:
    impulse = np.zeros((1, 64), dtype=np.float32)
    impulse[0, 10] = 1.0
    found = gating.spectra(impulse, RATE, np.array([1_000.0, 5_000.0]), np.zeros(1))
    assert np.angle(found[0, 0]) == pytest.approx(-2.0 * np.pi * 1_000.0 * 10 / RATE, abs=1e-4)
    assert np.angle(
        gating.spectra(impulse, RATE, np.array([5_000.0]), np.array([-10 / RATE]))
    ) == pytest.approx(0.0, abs=2e-4)
