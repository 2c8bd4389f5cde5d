"""The admittance in two made recordings: a resonance by its closed form, harmonics, and noise."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import sweeps
from earwitness.acoustics.admittance import Admittance, admittance

RATE = 48_000
FREQUENCIES = 20.0 * 2.0 ** (np.arange(900) / 96.0)
BAND = (12.0, 22_000.0)
SECONDS = 4.0
Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


def siemens(hertz: Floats) -> Complexes:
    """Of 6 Ω with 0.2 mH, and 30 Ω more at 45 Hz with a Q of 5."""
    f = np.maximum(hertz, 1e-3)
    ohms = 6.0 + 2j * np.pi * f * 2e-4 + 30.0 / (1.0 + 5j * (f / 45.0 - 45.0 / f))
    return np.asarray(1.0 / ohms)


def recorded(noise: float = 0.0, harmonic: float = 0.0, seed: int = 0) -> tuple[Floats, Floats]:
    """Voltage and current of a sweep, with noise, and so much of the square's alternating part."""
    volts, current = clean()
    rng = np.random.default_rng(seed)
    squared = harmonic * (volts**2 - 0.5 * (np.abs(volts) > 0))
    extra = noise * rng.normal(size=(2, volts.size))
    return volts + extra[0], current + squared + extra[1]


@cache
def clean() -> tuple[Floats, Floats]:
    """Of a sweep from rest."""
    sweep = sweeps.synchronised_sweep(10.0, 22_000.0, SECONDS, RATE)
    fade = np.clip(np.arange(sweep.size) / (0.1 * RATE), 0.0, 1.0)
    volts = np.concatenate([sweep * np.sin(0.5 * np.pi * fade) ** 2, np.zeros(RATE // 2)])
    spectrum = np.fft.rfft(volts, 2 * volts.size)
    hertz = np.asarray(np.fft.rfftfreq(2 * volts.size, 1.0 / RATE), dtype=np.float64)
    whole = siemens(hertz)
    whole[0] = whole[0].real
    return volts, np.fft.irfft(spectrum * whole)[: volts.size]


def found(noise: float = 0.0, harmonic: float = 0.0, seed: int = 0) -> Admittance:
    volts, current = recorded(noise, harmonic, seed)
    lead = sweeps.harmonic_lead_s(sweeps.sweep_rate_s(10.0, 22_000.0, SECONDS), 2)
    return admittance(volts, current, RATE, band_hz=BAND, lead_s=lead, frequency_hz=FREQUENCIES)


def test_a_resonance() -> None:
    np.testing.assert_allclose(found().value / siemens(FREQUENCIES), 1.0, atol=2e-3)


def test_a_second_harmonic_is_cut_off() -> None:
    """About 2 % of the current: the spectra's plain ratio is off by as much, what is found by a tenth."""
    volts, current = recorded(harmonic=3e-3)
    hertz = np.asarray(np.fft.rfftfreq(volts.size, 1.0 / RATE), dtype=np.float64)
    above = (hertz > 60.0) & (hertz < 9_000.0)
    plain = np.abs(np.fft.rfft(current)[above] / np.fft.rfft(volts)[above] / siemens(hertz[above]) - 1.0)
    away = np.abs(found(harmonic=3e-3).value / siemens(FREQUENCIES) - 1.0)
    assert plain.max() > 1e-2
    assert away[FREQUENCIES > 60.0].max() < 2e-3


def test_noise_is_told() -> None:
    tried = [found(noise=0.01, seed=seed) for seed in range(3)]
    for low, high in ((20.0, 200.0), (200.0, 2_000.0), (2_000.0, 10_000.0)):
        inside = (low <= FREQUENCIES) & (high > FREQUENCIES)
        away = [
            (np.abs(one.value) - np.abs(siemens(FREQUENCIES)))[inside] / one.uncertainty[inside]
            for one in tried
        ]
        spread = float(np.sqrt(np.mean(np.square(away))))
        assert 0.7 < spread < 1.35, (low, high, spread)


def test_too_short_a_sweep_tells_no_noise() -> None:
    volts, current = recorded()
    short = admittance(volts, current, RATE, band_hz=BAND, lead_s=0.05, frequency_hz=FREQUENCIES)
    assert np.isnan(short.uncertainty).all()
