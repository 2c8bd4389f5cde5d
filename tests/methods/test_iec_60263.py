"""Proportions recalled from IEC 60263: a decade is as long as 25 dB (50 dB admitted)."""

from __future__ import annotations

import pytest

from earwitness.methods.iec_60263 import DB_PER_DECADE, FREQUENCY_TICKS_HZ, width_over_height


@pytest.mark.parametrize(("span_db", "scale", "ratio"), [(50, 25, 1.5), (50, 50, 3.0), (75, 25, 1.0)])
def test_three_decades(span_db: float, scale: float, ratio: float) -> None:
    assert width_over_height(3.0, span_db, scale) == pytest.approx(ratio)


def test_default_scale_and_ticks() -> None:
    assert DB_PER_DECADE == 25.0
    assert FREQUENCY_TICKS_HZ == (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
