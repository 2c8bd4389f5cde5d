from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics import arrival

RATE = 48_000


def clicks(*at_and_size: tuple[float, float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Band-limited clicks at fractional samples."""
    n = np.arange(2_000)
    return np.asarray(sum(size * np.sinc(0.8 * (n - at)) for at, size in at_and_size))


@pytest.mark.parametrize("at", [400.0, 400.3, 400.5, 400.8])
def test_peak_between_samples(at: float) -> None:
    curve = arrival.envelope(clicks((at, 1.0)), RATE, (700.0, 8_000.0))
    # a fiftieth of a sample is 0.4 µs, or 0.15 mm of path
    assert arrival.peak_position(curve, 300, 500) == pytest.approx(at, abs=0.02)


def test_envelope_of_a_steady_sine_is_its_amplitude() -> None:
    sine = 0.7 * np.sin(2.0 * np.pi * 2_000.0 * np.arange(9_600) / RATE)
    curve = arrival.envelope(sine, RATE, (700.0, 8_000.0))
    assert curve[3_000:6_000] == pytest.approx(0.7, rel=2e-3)


@pytest.mark.parametrize("later_s", [2.5e-3, 4e-3, 8e-3])
@pytest.mark.parametrize("size", [0.4, -0.1])
def test_first_reflection_is_found(later_s: float, size: float) -> None:
    response = clicks((300.0, 1.0), (300.0 + later_s * RATE, size), (300.0 + 1.5 * later_s * RATE, 0.6))
    found = arrival.first_reflection_s(response, RATE, 300.0)
    assert found is not None
    # it begins up to the smoothing's width before its peak
    assert later_s - 3e-4 < found <= later_s


def test_the_energy_time_curve_in_which_it_is_sought() -> None:
    """A reflection of 0.4 lies 20 lg 0.4 = −7.96 dB below the direct sound, 4 ms later."""
    level = arrival.energy_db(clicks((300.0, 1.0), (492.0, 0.4)), RATE)
    assert level.max() == 0.0
    assert abs(int(np.argmax(level)) - 300) <= 7  # half of what is smoothed over
    assert level[480:504].max() == pytest.approx(-7.96, abs=0.05)


def test_no_reflection_where_there_is_none() -> None:
    rng = np.random.default_rng(0)
    quiet = clicks((300.0, 1.0)) + 1e-4 * rng.standard_normal(2_000)
    assert arrival.first_reflection_s(quiet, RATE, 300.0) is None


def test_peaks_of_bands_are_where_the_sound_of_each_is() -> None:
    """Two windowed tones at chosen times: each band's peak lies at its own, to a millisecond."""
    rate, at = 48_000.0, np.arange(12_000) / 48_000.0
    response = np.zeros(at.size)
    for hz, when in ((1_200.0, 0.020), (5_600.0, 0.113)):
        response += np.exp(-(((at - when) / 0.002) ** 2)) * np.cos(2.0 * np.pi * hz * at)
    found = arrival.peaks_s(response, rate, ((700.0, 2_000.0), (4_000.0, 8_000.0)))
    np.testing.assert_allclose(found, [0.020, 0.113], atol=1e-3)
    for band, time_s in zip(((700.0, 2_000.0), (4_000.0, 8_000.0)), found, strict=True):
        whole = int(np.argmax(arrival.envelope(response, rate, band))) / rate
        assert time_s == pytest.approx(whole, abs=1e-3)
