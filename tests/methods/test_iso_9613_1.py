"""Absorption of air against a table of another part of the standard."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.iso_9613_1 import absorption_db_per_m

#: Exact midband frequencies of the octaves from 63 Hz to 8 kHz.
OCTAVES_HZ = 1000.0 * 10.0 ** (0.3 * np.arange(-4, 4))


# ISO 9613-2:1996, table 2, dB/km (recalled); it is printed to 0.1, above 100 to 1
@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent", "db_per_km"),
    [
        (10.0, 70.0, (0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 117.0)),
        (20.0, 70.0, (0.1, 0.3, 1.1, 2.8, 5.0, 9.0, 22.9, 76.6)),
        (30.0, 70.0, (0.1, 0.3, 1.0, 3.1, 7.4, 12.7, 23.1, 59.3)),
        (15.0, 20.0, (0.3, 0.6, 1.2, 2.7, 8.2, 28.2, 88.8, 202.0)),
        (15.0, 50.0, (0.1, 0.5, 1.2, 2.2, 4.2, 10.8, 36.2, 129.0)),
        (15.0, 80.0, (0.1, 0.3, 1.1, 2.4, 4.1, 8.3, 23.7, 82.8)),
    ],
)
def test_the_table_of_the_other_part(
    temperature_c: float, humidity_percent: float, db_per_km: tuple[float, ...]
) -> None:
    found = 1000.0 * absorption_db_per_m(OCTAVES_HZ, temperature_c, humidity_percent)
    printed = np.array(db_per_km)
    rounding = np.where(printed >= 100.0, 0.5, 0.05)
    assert np.all(np.abs(found - printed) <= 1.05 * rounding)


def test_the_worked_number() -> None:
    # computed by hand from the formula: 20 °C, 50 %, 10 kHz
    assert absorption_db_per_m(np.array([10_000.0]), 20.0, 50.0)[0] == pytest.approx(0.158839, rel=1e-4)
