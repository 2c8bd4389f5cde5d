from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from specimen import curve_set

from earwitness.case.datasets import load_curves, save_curves
from earwitness.records.correctability import Correctability, Deviation


def test_correctability_comes_back_exactly(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    parts = [Deviation(*random.random((3, 5))) for _ in range(3)]
    parts[1].common_db2[0] = np.nan
    valid = np.array([False, True, True, True, False])
    given = Correctability(np.geomspace(100.0, 1600.0, 5), valid, *parts)
    save_curves(tmp_path / "curves.nc", replace(curve_set(), correctability=given))
    back = load_curves(tmp_path / "curves.nc").correctability
    assert back is not None
    np.testing.assert_array_equal(back.frequency_hz, given.frequency_hz)
    np.testing.assert_array_equal(back.valid, valid)
    for of in ("horizontal", "vertical", "window"):
        for field in ("common_db2", "apart_db2", "uncertainty"):
            np.testing.assert_array_equal(
                getattr(getattr(back, of), field), getattr(getattr(given, of), field)
            )


def test_without_it_there_is_none(tmp_path: Path) -> None:
    save_curves(tmp_path / "curves.nc", curve_set())
    assert load_curves(tmp_path / "curves.nc").correctability is None
