"""Exact base-ten bands against the table computed from IEC 61260-1:2014 (recalled formula)."""

from __future__ import annotations

import pytest

from earwitness.methods.iec_61260 import band_edges_hz, mid_frequency_hz


@pytest.mark.parametrize(
    ("fraction", "index", "lower", "middle", "upper"),
    [
        (1, -5, 22.3872, 31.6228, 44.6684),
        (1, 0, 707.9458, 1000.0, 1412.5375),
        (2, -7, 89.1251, 105.9254, 125.8925),
        (2, -1, 707.9458, 841.3951, 1000.0),
        (2, 0, 1000.0, 1188.5022, 1412.5375),
        (3, -17, 17.7828, 19.9526, 22.3872),
        (3, -10, 89.1251, 100.0, 112.2018),
        (3, 0, 891.2509, 1000.0, 1122.0185),
        (3, 1, 1122.0185, 1258.9254, 1412.5375),
        (3, 12, 14125.3754, 15848.9319, 17782.7941),
        (3, 13, 17782.7941, 19952.6231, 22387.2114),
        (6, 0, 1000.0, 1059.2537, 1122.0185),
        (12, 0, 1000.0, 1029.2005, 1059.2537),
        (24, 0, 1000.0, 1014.4952, 1029.2005),
        (48, 0, 1000.0, 1007.2215, 1014.4952),
    ],
)
def test_bands(fraction: int, index: int, lower: float, middle: float, upper: float) -> None:
    low, high = band_edges_hz(index, fraction)
    assert low == pytest.approx(lower, abs=5e-5)
    assert mid_frequency_hz(index, fraction) == pytest.approx(middle, abs=5e-5)
    assert high == pytest.approx(upper, abs=5e-5)
