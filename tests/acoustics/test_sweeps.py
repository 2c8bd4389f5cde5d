"""Sweeps against FACTS §7 (Farina 2000, Novak et al. 2015: recalled) and against scipy.signal."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import scipy.linalg
import scipy.signal

from earwitness.acoustics import sweeps

RATE = 48_000
BAND = (20.0, 20_000.0)


# FACTS §7 (recalled; the arithmetic computed): f1, f2, T -> L, T_actual, leads of the orders 2 … 6
@pytest.mark.parametrize(
    ("asked", "rate_s", "duration_s", "leads_s"),
    [
        ((20.0, 20_000.0, 10.0), 1.45, 10.016245, (1.005063, 1.592988, 2.010127, 2.333685, 2.598051)),
        ((20.0, 20_000.0, 5.0), 0.70, 4.835429, (0.485203, 0.769029, 0.970406, 1.126607, 1.254232)),
        ((10.0, 24_000.0, 10.0), 1.30, 10.118191, (0.901091, 1.428196, 1.802183, 2.092269, 2.329287)),
    ],
)
def test_synchronised_sweep_table(
    asked: tuple[float, float, float], rate_s: float, duration_s: float, leads_s: tuple[float, ...]
) -> None:
    found = sweeps.sweep_rate_s(*asked)
    assert found == pytest.approx(rate_s, rel=1e-12)
    assert found * np.log(asked[1] / asked[0]) == pytest.approx(duration_s, abs=1e-6)
    assert [sweeps.harmonic_lead_s(found, n) for n in range(2, 7)] == pytest.approx(leads_s, abs=1e-6)
    assert sweeps.synchronised_sweep(*asked, RATE).size == int(duration_s * RATE)


@pytest.fixture(scope="module")
def sweep() -> npt.NDArray[np.float64]:
    return sweeps.synchronised_sweep(*BAND, 2.0, RATE)


def deconvolved(
    recording: npt.NDArray[np.float64], sweep: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float32], int]:
    band, _ = sweeps.band_and_rate(sweep, RATE)
    length = sweeps.block_length(recording.size, sweep.size)
    inverse = sweeps.inverse_filter(sweep, RATE, band, length)
    return sweeps.deconvolve(recording[None].astype(np.float32), inverse, length)[0], length


def test_known_filter_is_recovered(sweep: npt.NDArray[np.float64]) -> None:
    delay = 300
    sos = scipy.signal.butter(2, [80.0, 6_000.0], "bandpass", fs=RATE, output="sos")
    recording = scipy.signal.sosfilt(sos, np.concatenate([np.zeros(delay), sweep, np.zeros(12_000)]))
    response, length = deconvolved(recording, sweep)
    frequency = np.fft.rfftfreq(length, 1.0 / RATE)
    inside = (frequency > 30.0) & (frequency < 18_000.0)
    _, expected = scipy.signal.sosfreqz(sos, frequency, fs=RATE)
    expected = expected * np.exp(-2j * np.pi * frequency * delay / RATE)
    found = np.fft.rfft(response.astype(np.float64))
    assert np.max(np.abs(found - expected)[inside]) < 1e-4


def test_agrees_with_least_squares_on_a_short_case() -> None:
    x = np.r_[0.0, sweeps.synchronised_sweep(200.0, 22_000.0, 0.02, RATE)]
    taps = scipy.signal.firwin(31, [800.0, 9_000.0], fs=RATE, pass_zero=False)
    y = scipy.signal.fftconvolve(x, taps)
    matrix = scipy.linalg.toeplitz(np.r_[x, np.zeros(30)], np.zeros(31))
    solved = np.linalg.lstsq(matrix, y, rcond=None)[0]
    band = (200.0, 21_000.0)
    length = sweeps.block_length(y.size, x.size)
    response = sweeps.deconvolve(
        y[None].astype(np.float32), sweeps.inverse_filter(x, RATE, band, length), length
    )
    frequency = np.fft.rfftfreq(length, 1.0 / RATE)
    inside = (frequency > band[0]) & (frequency < band[1])
    difference = np.fft.rfft(response[0].astype(np.float64)) - np.fft.rfft(solved, length)
    assert np.max(np.abs(difference)[inside]) < 1e-4


# FACTS §7 (computed): y = x + .01 x² + .005 x³ at A = 1 has H1 = 1.00375, H2 = .005, H3 = .00125
@pytest.mark.parametrize(("order", "expected"), [(1, 1.00375), (2, 0.005), (3, 0.00125)])
def test_harmonics_drop_out_by_their_lead(order: int, expected: float) -> None:
    x = sweeps.synchronised_sweep(20.0, 20_000.0, 5.0, RATE)
    y = np.concatenate([x + 0.01 * x**2 + 0.005 * x**3, np.zeros(RATE)])
    response, length = deconvolved(y, x)
    rate = sweeps.sweep_rate_s(20.0, 20_000.0, 5.0)
    centre = -sweeps.harmonic_lead_s(rate, order) * RATE
    index = np.arange(round(centre) - 4_000, round(centre) + 4_000)
    part = response[index % length].astype(np.float64) * np.hanning(index.size)
    spectrum = np.abs(np.fft.rfft(part, 2**15))
    # ripple of a sweep that begins and ends at once stays within 2 % of a harmonic at mid band
    assert spectrum[round(2_000 * 2**15 / RATE)] == pytest.approx(expected, rel=0.02 if order > 1 else 1e-3)


def test_band_and_rate_are_found_from_samples(sweep: npt.NDArray[np.float64]) -> None:
    band, rate = sweeps.band_and_rate(np.concatenate([np.zeros(5_000), 0.3 * sweep, np.zeros(9_000)]), RATE)
    assert rate == pytest.approx(sweeps.sweep_rate_s(*BAND, 2.0), rel=0.005)
    assert BAND[0] <= band[0] < 23.0
    assert 18_000.0 < band[1] <= BAND[1] * 1.01


def test_what_is_no_exponential_sweep_is_refused() -> None:
    noise = np.random.default_rng(3).standard_normal(RATE)
    linear = scipy.signal.chirp(np.arange(2 * RATE) / RATE, 20.0, 2.0, 20_000.0)
    falling = sweeps.synchronised_sweep(*BAND, 2.0, RATE)[::-1]
    for signal in (noise, linear, falling, np.sin(np.arange(RATE) * 0.1), np.r_[1.0, np.zeros(RATE)]):
        with pytest.raises(sweeps.NotASweepError):
            sweeps.band_and_rate(signal, RATE)


def test_nothing_is_amplified_outside_the_band(sweep: npt.NDArray[np.float64]) -> None:
    length = sweeps.block_length(sweep.size, sweep.size)
    inverse = np.abs(sweeps.inverse_filter(sweep, RATE, BAND, length))
    frequency = np.fft.rfftfreq(length, 1.0 / RATE)
    assert inverse[frequency < 8.0].max() < 0.01 * inverse[(frequency > 20.0) & (frequency < 25.0)].mean()
    assert (
        inverse[frequency > 23_000.0].max() < 0.01 * inverse[(frequency > 18e3) & (frequency < 19e3)].mean()
    )


def test_a_take_does_not_depend_on_its_neighbours(sweep: npt.NDArray[np.float64]) -> None:
    length = sweeps.block_length(sweep.size, sweep.size)
    inverse = sweeps.inverse_filter(sweep, RATE, BAND, length)
    block = np.random.default_rng(1).standard_normal((8, sweep.size)).astype(np.float32)
    together = sweeps.deconvolve(block, inverse, length)
    for rows in (slice(0, 1), slice(2, 5)):
        assert np.array_equal(together[rows], sweeps.deconvolve(block[rows], inverse, length))


@pytest.mark.parametrize("place", [2_000.0, 2_000.37, 1_999.5])
@pytest.mark.parametrize("gain", [1.0, -0.02])
def test_where_a_pulse_lies(place: float, gain: float) -> None:
    rate, length = 48_000, 20_000
    frequency = np.fft.rfftfreq(length, 1.0 / rate)
    # zero-phase and band-limited, as the deconvolution of a wire is
    passed = np.clip(np.log2(np.maximum(frequency, 1.0) / 10.0), 0.0, 1.0) * (frequency < 21_000.0)
    spectrum = gain * passed * np.exp(-2j * np.pi * frequency * place / rate)
    response = np.fft.irfft(spectrum, length).astype(np.float32)
    assert sweeps.pulse_position(response, rate, (20.0, 20_000.0)) == pytest.approx(place, abs=1e-4)
    # before the stimulus' start it lies at the far end of the circle
    early = np.roll(response, -1_990)
    assert sweeps.pulse_position(early, rate, (20.0, 20_000.0)) == pytest.approx(place - 1_990, abs=1e-4)


def test_prominence() -> None:
    noise = np.random.default_rng(0).standard_normal((4, 200_000)).astype(np.float32)
    # the greatest of n normal values squared is about 2·ln(n/√(4π·ln n)), here 19.4
    assert sweeps.prominence(noise).max() < 40.0
    assert sweeps.prominence(noise).min() > 15.0
    click = np.zeros(1_000, dtype=np.float32)
    click[7] = -3.0
    assert sweeps.prominence(click) == pytest.approx(1_000.0)
    assert sweeps.prominence(np.zeros(9)) == 0.0
