"""Sensitivity against integrals in closed form or by quadrature (computed)."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V, mean_level_db, refer_level_db
from earwitness.records.grid import derived_grid

GRID = derived_grid()
DECADES = np.log10(GRID / 300.0)


@pytest.mark.parametrize(
    ("level_db", "on_level", "on_power"),
    [
        (86 + 3 * np.sin(2 * np.pi * DECADES), 86.0000, 86.5034),
        (86 + 6 * (DECADES - 0.5), 86.0000, 86.3401),
        (np.full_like(GRID, 86.0), 86.0, 86.0),
    ],
)
def test_mean_level(level_db: np.ndarray, on_level: float, on_power: float) -> None:
    assert mean_level_db(GRID, level_db, on="level") == pytest.approx(on_level, abs=1e-4)
    assert mean_level_db(GRID, level_db) == pytest.approx(on_power, abs=1e-4)


def test_draws_in_front() -> None:
    levels = np.stack((np.full_like(GRID, 80.0), np.full_like(GRID, 90.0)))
    np.testing.assert_allclose(mean_level_db(GRID, levels), [80.0, 90.0])


@pytest.mark.parametrize(("distance_m", "rise_db"), [(2.0, 6.0206), (3.0, 9.5424), (1.0, 0.0)])
def test_distance(distance_m: float, rise_db: float) -> None:
    assert refer_level_db(86.0, distance_m, REFERENCE_VOLTAGE_V) == pytest.approx(86.0 + rise_db, abs=1e-4)


@pytest.mark.parametrize(("ohm", "db_re_one_watt"), [(8.0, 0.00484), (4.0, 3.0151), (6.0, 1.2542)])
def test_power_at_the_reference_voltage(ohm: float, db_re_one_watt: float) -> None:
    one_watt_v = np.sqrt(ohm)
    # Rounded to 0.0001 dB in the reference (0.00001 dB at 8 Ω).
    assert refer_level_db(0.0, 1.0, one_watt_v) == pytest.approx(db_re_one_watt, abs=4e-5)
