"""Sensitivity against integrals in closed form or by quadrature (computed)."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V, mean_level_db
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


def test_the_reference_voltage_is_one_watt_into_eight_ohms() -> None:
    # 20·lg(2.83/√8) = 0.00484 dB.
    assert 20 * np.log10(REFERENCE_VOLTAGE_V / np.sqrt(8.0)) == pytest.approx(0.00484, abs=4e-5)
