"""Signals to play, against closed forms, scipy.signal and FACTS §7 (Novak et al. 2015: recalled)."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics import signals
from earwitness.acoustics.signals import Emphasis

RATE = 48_000


def test_the_sweep_is_scipy_s_logarithmic_chirp() -> None:
    """A logarithmic chirp has phase 2π·f1·L·(e^(t/L) − 1); where f1·L is whole, that is the same sine."""
    x = signals.faded_sweep(20.0, 20_000.0, 5.0, RATE, fade_in_s=0.1, fade_out_s=0.01)
    time = np.arange(x.size) / RATE
    # FACTS §7: 20 Hz to 20 kHz in 5 s has L = 0.70 s, and lasts L·ln 1000
    chirp = scipy.signal.chirp(time, 20.0, 0.70 * np.log(1_000.0), 20_000.0, method="logarithmic", phi=-90.0)
    unfaded = slice(round(0.11 * RATE), x.size - round(0.011 * RATE))
    assert np.max(np.abs(x - chirp)[unfaded]) < 1e-8


def test_fades_are_halves_of_a_hann_window() -> None:
    plain = signals.faded_sweep(100.0, 10_000.0, 1.0, RATE, fade_in_s=0.0, fade_out_s=0.0)
    faded = signals.faded_sweep(100.0, 10_000.0, 1.0, RATE, fade_in_s=0.1, fade_out_s=0.05)
    rising = scipy.signal.windows.hann(2 * 4_800 + 1)[:4_800]
    falling = scipy.signal.windows.hann(2 * 2_400 + 1)[-2_401:]
    assert faded[:4_800] == pytest.approx(plain[:4_800] * rising, abs=1e-12)
    assert faded[-2_401:] == pytest.approx(plain[-2_401:] * falling, abs=1e-12)
    assert np.array_equal(faded[4_801:-2_402], plain[4_801:-2_402])


def test_a_shelf_is_that_of_an_analogue_filter() -> None:
    """H(s) = (s + √G·ω)/(s + ω/√G) by scipy.signal.freqs: G far below, √G at its frequency, 1 far above."""
    gain, corner = 10.0 ** (-12.0 / 20.0), 2.0 * np.pi * 200.0
    f = np.geomspace(10.0, 20_000.0, 50)
    _, h = scipy.signal.freqs([1.0, corner * gain**0.5], [1.0, corner / gain**0.5], worN=2.0 * np.pi * f)
    found = Emphasis(shelf_db=-12.0, shelf_hz=200.0)
    assert found.gain_db(f) == pytest.approx(20.0 * np.log10(np.abs(h)), abs=1e-9)
    assert found.gain_db(200.0) == pytest.approx(-6.0, abs=1e-9)
    assert found.gain_db(0.01) == pytest.approx(-12.0, abs=1e-3)


def test_a_tilt_is_so_many_decibels_an_octave() -> None:
    found = Emphasis(tilt_db_per_octave=-3.0).gain_db([500.0, 1_000.0, 4_000.0])
    assert found == pytest.approx([3.0, 0.0, -6.0])


def test_emphasis_shapes_the_sweep() -> None:
    """Over scipy's chirp of the same frequencies it is what is stated at the instantaneous frequency."""
    shape = Emphasis(shelf_db=10.0, shelf_hz=300.0, tilt_db_per_octave=-1.0)
    x = signals.faded_sweep(50.0, 15_000.0, 3.0, RATE, fade_in_s=0.0, fade_out_s=0.0, emphasis=shape)
    assert 0.99 < np.max(np.abs(x)) <= 1.0
    # L = round(50·3/ln 300)/50 = 26/50 s
    duration_s, time = 0.52 * np.log(300.0), np.arange(x.size) / RATE
    chirp = scipy.signal.chirp(time, 50.0, duration_s, 15_000.0, method="logarithmic", phi=-90.0)
    f = 50.0 * 300.0 ** (time / duration_s)
    told = np.abs(chirp) > 0.1
    found_db = 20.0 * np.log10(np.abs(x[told] / chirp[told]))
    assert found_db == pytest.approx(shape.gain_db(f[told]) - shape.gain_db(50.0), abs=1e-6)


def test_tones_lie_evenly_and_have_one_level() -> None:
    period = 2**16
    bins = signals.multitone_bins(20.0, 20_000.0, 31, period, RATE)
    x = signals.multitone(bins, period, seed=4)
    spectrum = np.abs(np.fft.rfft(x)) / period * 2.0
    tones = np.flatnonzero(spectrum > 1e-9)
    assert tones.size == 31
    # 31 tones over three decades: 1/10 of a decade apart, and RMS² = 31·a²/2 = 1
    assert np.diff(np.log10(tones[5:])) == pytest.approx(0.1, abs=0.003)
    assert spectrum[tones] == pytest.approx(np.sqrt(2.0 / 31.0), rel=1e-9)
    assert signals.multitone_bins(20.0, 40.0, 100, 4_800, RATE).tolist() == [2, 3, 4]


def test_crest_factor_and_level() -> None:
    sine = 0.5 * np.sin(2.0 * np.pi * np.arange(48_000) / 48.0)
    # closed form: √2; AES17: a sine of half the amplitude is 6.02 dB below full scale
    assert signals.crest_factor_db(sine) == pytest.approx(3.0103, abs=1e-4)
    assert signals.rms_dbfs(sine) == pytest.approx(-6.0206, abs=1e-4)
    # n cosines in phase: peak n·a, RMS a·√(n/2), so the crest factor is √(2n)
    t = np.arange(9_600) / 9_600
    cosines = sum(np.cos(2.0 * np.pi * k * t) for k in (3, 8, 20, 51))
    assert signals.crest_factor_db(cosines) == pytest.approx(20.0 * np.log10(np.sqrt(8.0)), abs=1e-6)


@pytest.mark.parametrize(("colour", "slope"), [("white", 0.0), ("pink", -3.0103)])
def test_noise_has_its_colour_and_nothing_beside_its_band(colour: signals.Colour, slope: float) -> None:
    x = signals.noise(2**20, RATE, (100.0, 8_000.0), colour, seed=11)
    f, power = scipy.signal.welch(x, RATE, nperseg=8_192)
    level = 10.0 * np.log10(power)
    inside = (f > 150.0) & (f < 7_500.0)
    found, _ = np.polyfit(np.log2(f[inside]), level[inside], 1)
    assert found == pytest.approx(slope, abs=0.1)
    energy = np.abs(np.fft.rfft(x)) ** 2
    frequency = np.fft.rfftfreq(x.size, 1.0 / RATE)
    beside = (frequency < 100.0) | (frequency > 8_000.0)
    assert energy[beside].sum() < 1e-20 * energy.sum()
    assert np.mean(x**2) == pytest.approx(1.0)


def test_the_same_seed_gives_the_same_signal() -> None:
    one, again, other = (signals.noise(4_800, RATE, (20.0, 20_000.0), "pink", seed) for seed in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.allclose(one, other)


def test_a_peak_between_samples_is_found() -> None:
    """A sine of a quarter of the rate, sampled 45° off its peaks, has samples of 1/√2 of them."""
    x = np.sin(0.5 * np.pi * np.arange(4_000) + 0.25 * np.pi)
    assert np.max(np.abs(x)) == pytest.approx(1.0 / np.sqrt(2.0))
    assert signals.true_peak(x) == pytest.approx(1.0, abs=1e-6)
