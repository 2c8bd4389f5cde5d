"""Auditory filters against integrals of their own formula, and thresholds that were computed elsewhere."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from earwitness.methods.glasberg_moore_1990 import (
    erb_hz,
    erb_number,
    excitation,
    filters,
    frequency_of_hz,
)
from earwitness.methods.terhardt_1979 import threshold_db

#: Height of a peak and depth of a dip, by frequency and Q, at which pink noise changes by 1 dB in one filter.
#: Computed elsewhere from the same formulas, by quadrature; None where no depth is enough.
THRESHOLDS: list[tuple[float, float, float, float | None]] = [
    (100.0, 1.0, 1.10, 1.13),
    (100.0, 5.0, 1.80, 2.28),
    (100.0, 10.0, 2.59, 4.54),
    (100.0, 30.0, 4.81, None),
    (500.0, 10.0, 1.67, 2.03),
    (500.0, 30.0, 2.99, 6.71),
    (1000.0, 5.0, 1.23, 1.30),
    (1000.0, 10.0, 1.55, 1.81),
    (1000.0, 30.0, 2.71, 5.06),
    (1000.0, 50.0, 3.63, None),
    (4000.0, 10.0, 1.46, 1.66),
    (4000.0, 30.0, 2.49, 4.13),
    (4000.0, 50.0, 3.33, 10.65),
]
GRID_HZ = np.geomspace(20.0, 20_000.0, 1914)


def section_power(f0: float, gain_db: float, q: float) -> npt.NDArray[np.float64]:
    """|H|² of (s² + g·s·ω₀/Q + ω₀²)/(s² + s·ω₀/Q + ω₀²)."""
    s = 1j * GRID_HZ / f0
    gain = 10.0 ** (gain_db / 20.0)
    return np.asarray(np.abs((s * s + gain * s / q + 1.0) / (s * s + s / q + 1.0)) ** 2)


def test_worked_numbers_of_the_scale() -> None:
    # 24.7 · 5.37 and 21.4 · lg 5.37
    assert erb_hz(1000.0) == pytest.approx(132.639, abs=1e-9)
    assert erb_number(1000.0) == pytest.approx(15.621444, abs=1e-5)
    frequencies = np.array([30.0, 100.0, 1000.0, 15_000.0])
    np.testing.assert_allclose(frequency_of_hz(erb_number(frequencies)), frequencies, rtol=1e-12)
    # The number counts ERBs: its slope is one in an ERB (to the rounding of the published factor).
    slope = (erb_number(1000.5) - erb_number(999.5)) * erb_hz(1000.0)
    assert slope == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("centre_hz", [100.0, 1000.0, 8000.0])
def test_a_filter_is_as_wide_as_its_erb(centre_hz: float) -> None:
    # The two sides of (1 + pg)·e^(−pg) hold 4/p of f_c together, and p = 4·f_c/ERB.
    def passed(hz: float) -> float:
        return float(filters(centre_hz, hz)[0, 0])

    width, _ = quad(passed, 1e-3, 4.0 * centre_hz, points=[centre_hz], limit=200)
    assert width == pytest.approx(float(erb_hz(centre_hz)), rel=2e-3)


def test_loud_sounds_spread_upward_and_not_downward() -> None:
    # At 1 kHz p = 30.157; at 91 dB an ERB the lower side has p = 30.157 − 0.35·40 = 16.157.
    p, wide = 4000.0 / 132.639, 4000.0 / 132.639 - 14.0
    for slope, level_db in ((p, 51.0), (wide, 91.0)):
        expected = (1.0 + 0.4 * slope) * np.exp(-0.4 * slope)
        assert filters(1000.0, 600.0, level_db)[0, 0] == pytest.approx(expected, rel=1e-9)
    upward = (1.0 + 0.4 * p) * np.exp(-0.4 * p)
    assert filters(1000.0, 1400.0, 91.0)[0, 0] == pytest.approx(upward, rel=1e-9)
    # A level for each component, and none beyond the law's.
    both = filters(1000.0, [600.0, 600.0], [100.0, 130.0])
    assert both[0, 0] == both[0, 1]


@pytest.fixture(scope="module")
def hearing() -> npt.NDArray[np.float64]:
    low, high = erb_number([40.0, 10_000.0])
    centres = frequency_of_hz(np.arange(float(low), float(high), 0.02))
    return filters(centres, GRID_HZ)


@pytest.mark.parametrize(("f0", "q", "peak_db", "dip_db"), THRESHOLDS)
def test_height_at_which_pink_noise_changes_by_a_decibel(
    hearing: npt.NDArray[np.float64], f0: float, q: float, peak_db: float, dip_db: float | None
) -> None:
    flat = excitation(np.ones_like(GRID_HZ), hearing)

    def over(height_db: float, sign: float) -> float:
        there = excitation(section_power(f0, sign * height_db, q), hearing)
        return float(np.abs(10.0 * np.log10(there / flat)).max()) - 1.0

    assert brentq(over, 0.5, 30.0, args=(1.0,), xtol=1e-3) == pytest.approx(peak_db, abs=0.01)
    if dip_db is None:
        assert over(60.0, -1.0) < 0.0
    else:
        assert brentq(over, 0.5, 30.0, args=(-1.0,), xtol=1e-3) == pytest.approx(dip_db, abs=0.012)


def test_the_threshold_in_quiet() -> None:
    # ISO 389-7, free field (recalled); the formula is an approximation.
    for hertz, level_db in ((31.5, 59.5), (100.0, 26.5), (500.0, 4.4), (1000.0, 2.4), (4000.0, -5.4)):
        assert threshold_db(hertz) == pytest.approx(level_db, abs=5.0)
    # 3.64 − 6.5·e^(−0.6·2.3²) + 0.001
    assert threshold_db(1000.0) == pytest.approx(3.64 - 6.5 * np.exp(-0.6 * 5.29) + 1e-3, abs=1e-12)
