from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics import noise

RATE = 48_000


def test_white_noise_has_its_variance_in_every_bin() -> None:
    # samples of white noise are independent, so the expected power is the sum over unit impulses at each
    # place times the variance: exact, but for the window's single precision
    impulses = np.eye(1_024)
    found = 0.25**2 * noise.power_per_sample(impulses, RATE, np.array([200.0, 1_000.0, 10_000.0])).sum(axis=0)
    assert found == pytest.approx([0.0625] * 3, rel=1e-6)


def test_a_stretch_of_white_noise_has_about_its_variance() -> None:
    x = 0.25 * np.random.default_rng(5).standard_normal((512, 8_192))
    found = noise.power_per_sample(x, RATE, np.array([10_000.0]))
    # 512 stretches of 200 bins, of which a Hann window leaves some 100 independent: four standard errors
    assert found.mean() == pytest.approx(0.0625, rel=4.0 / np.sqrt(512 * 100))


# DEFINITIONS, "distortion in a room": 6.14·10^(−SNR/20) dB (computed)
@pytest.mark.parametrize(("snr_db", "expected_db"), [(0.0, 6.14), (20.0, 0.614), (28.0, 0.2444)])
def test_level_uncertainty(snr_db: float, expected_db: float) -> None:
    found = noise.level_uncertainty_db(np.array(10.0 ** (snr_db / 10.0)), np.array(1.0))
    assert found == pytest.approx(expected_db, rel=1e-3)


def test_level_uncertainty_is_the_spread_of_many_trials() -> None:
    rng = np.random.default_rng(11)
    snr_db = 30.0
    size = np.sqrt(0.5 * 10.0 ** (-snr_db / 10.0))
    levels = 20.0 * np.log10(
        np.abs(1.0 + size * (rng.standard_normal(40_000) + 1j * rng.standard_normal(40_000)))
    )
    # the standard deviation of 40 000 trials is known to 0.35 %
    assert noise.level_uncertainty_db(np.array(1.0), np.array(10.0**-3)) == pytest.approx(
        levels.std(), rel=0.015
    )


def test_white_noise_has_half_its_power_above_half_its_band() -> None:
    white = np.random.default_rng(5).normal(size=400_000)
    found = noise.rms_above(white, 8000.0, np.array([0.0, 2000.0, 3000.0, 5000.0]))
    # a Hann window and 400,000 samples leave half a per cent
    assert found == pytest.approx([1.0, np.sqrt(0.5), 0.5, 0.0], rel=0.01)
