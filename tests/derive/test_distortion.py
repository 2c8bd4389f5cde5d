"""Distortion, compression and clean output of series whose orders are closed forms of a polynomial."""

from __future__ import annotations

import numpy as np
import pytest
from made_harmonics import harmonic_amplitudes
from made_series import GRID, PA_PER_VOLT, VOLTS, series

from earwitness.derive import distortion


def scaled(coefficients: dict[int, float]) -> dict[int, float]:
    """The coefficients for x in volts RMS times √2 that act on x/√2 alike: 1 V is the amplitude 1."""
    return {k: a * np.sqrt(2.0) ** (1 - k) for k, a in coefficients.items()}


@pytest.mark.parametrize(("row", "percent"), [(0, 0.513463), (1, 1.101511)])
def test_total_of_a_polynomial(row: int, percent: float) -> None:
    """x + 0.01·x² + 0.005·x³ at the amplitudes 1 and 2, re the fundamental: computed beforehand."""
    found = distortion.total_distortion(series(scaled({1: 1.0, 2: 0.01, 3: 0.005})))
    assert found is not None
    some = found.valid[row] & (GRID < 5_000.0)
    assert 100.0 * found.ratio[row, some] == pytest.approx(percent, rel=1e-4)
    assert some.sum() > 700
    level = 20.0 * np.log10(PA_PER_VOLT / 20e-6)
    gain = 20.0 * np.log10([1.00375, 2.03, 4.0 + 0.24])
    assert found.arrived_db[:3] == pytest.approx(level + gain, abs=1e-3)
    assert found.nominal_db[:3] == pytest.approx(level + gain[0] + 20.0 * np.log10([1.0, 2.0, 4.0]), abs=1e-3)


def test_a_dip_on_axis_fakes_distortion_re_the_fundamental_alone() -> None:
    one = series({1: 1.0, 2: 0.01})
    dip = (GRID > 950.0) & (GRID < 1_050.0)
    one.pressure[:, 0, dip] *= 0.1
    found = distortion.total_distortion(one)
    assert found is not None
    at = int(np.searchsorted(GRID, 1_000.0))
    away = int(np.searchsorted(GRID, 200.0))
    assert found.ratio[0, at] > 2.5 * found.ratio[0, away]
    assert found.re_mean[0, at] == pytest.approx(found.re_mean[0, away], rel=1e-3)


def test_what_noise_hides_is_a_bound_that_holds() -> None:
    true = harmonic_amplitudes({1: 1.0, 2: 0.001}, np.sqrt(2.0), 2)
    covered = []
    for seed in range(5):
        found = distortion.total_distortion(series({1: 1.0, 2: 0.001}, (1e-4 * PA_PER_VOLT) ** 2, seed))
        assert found is not None
        hidden = (found.valid & ~found.heard)[0]
        assert hidden.sum() > 300
        covered.append(np.mean(found.ratio[0, hidden] > true[2] / true[1]))
    assert np.mean(covered) > 0.97


def test_compression_of_a_cubic() -> None:
    """x − a·x³: the fundamental falls by 20·lg((1 − ¾aA²)/(1 − ¾aA0²)), and passes 1 dB by interpolation."""
    a = 5e-4
    one = series({1: 1.0, 3: -a})
    amplitude = np.sqrt(2.0) * np.array(VOLTS)
    kept = 1.0 - 0.75 * a * amplitude**2
    expected = 20.0 * np.log10(kept / kept[0])
    found = distortion.change(one)
    at = int(np.searchsorted(GRID, 500.0))
    assert found.narrow_db[:, at] == pytest.approx(expected, abs=1e-4)
    assert found.broad_db[:, at] == pytest.approx(expected, abs=1e-4)
    level = 20.0 * np.log10(PA_PER_VOLT * np.array(VOLTS) * kept / 20e-6)
    told = level[:, None], expected[:, None], distortion.drives_db(one)
    passed = distortion.change_passing(*told, 1.0)
    kept_then = kept[0] * 10.0 ** (-1.0 / 20.0)
    volts = np.sqrt(0.5 * (1.0 - kept_then) / (0.75 * a))
    assert passed.found[0]
    assert passed.level_db[0] == pytest.approx(
        20.0 * np.log10(PA_PER_VOLT * volts * kept_then / 20e-6), abs=0.1
    )
    assert distortion.change_passing(*told, 3.0).at_least[0]


def test_noise_over_the_limit_is_no_distortion() -> None:
    noisy = series({1: 1.0, 2: 1e-4}, (0.05 * PA_PER_VOLT) ** 2, 1)
    found = distortion.total_distortion(noisy)
    assert found is not None
    clean = distortion.clean_output(noisy, found)
    at = int(np.argmin(np.abs(np.log(clean.mid_hz / 500.0))))
    assert not clean.output.less_than[at]
    assert not clean.output.found[at]


def test_clean_output_by_band() -> None:
    """H2 re H1 is a·A/2: 3 % at A = 0.06/a; where harmonics fall with frequency more than that is clean."""
    a = 0.01
    one = series({1: 1.0, 2: a}, corner_hz=200.0)
    found = distortion.total_distortion(one)
    assert found is not None
    clean = distortion.clean_output(one, found)
    mid = clean.mid_hz
    for hz in (100.0, 200.0, 400.0):
        band = int(np.argmin(np.abs(np.log(mid / hz))))
        edges = mid[band] * 10.0 ** (np.array([-0.05, 0.05]))
        part = 200.0 * np.sqrt(
            (1.0 / edges[0] ** 2 - 1.0 / edges[1] ** 2) / (2.0 * np.log(edges[1] / edges[0]))
        )
        level = 20.0 * np.log10(PA_PER_VOLT * 0.06 / (a * part) / np.sqrt(2.0) / 20e-6)
        assert clean.output.found[band]
        assert clean.output.level_db[band] == pytest.approx(level, abs=0.1)
    high = int(np.argmin(np.abs(np.log(mid / 2_000.0))))
    assert clean.output.at_least[high]
    assert clean.output.level_db[high] == pytest.approx(20.0 * np.log10(16.0 * PA_PER_VOLT / 20e-6), abs=0.01)


def test_the_power_of_noise_is_taken_off() -> None:
    """Nine orders of noise, together 12 dB under the second harmonic's power: the ratio is as without."""
    true = 0.02
    found = []
    for seed in range(6):
        noise_power = (true * PA_PER_VOLT * VOLTS[0]) ** 2 / 9.0 / 10.0**1.2
        one = distortion.total_distortion(series({1: 1.0, 2: true * np.sqrt(2.0)}, noise_power, seed))
        assert one is not None
        some = (GRID > 200.0) & (GRID < 1_900.0)
        assert one.heard[0, some].mean() > 0.9
        found.append(np.mean(one.ratio[0, some] ** 2))
    assert np.sqrt(np.mean(found)) == pytest.approx(true, rel=0.01)
