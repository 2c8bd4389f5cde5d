"""Change with level comes back from ``curves.nc`` as it went in."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import specimen

from earwitness.case.datasets import load_curves, save_curves
from earwitness.records.distortion import ChangeWithLevel, NearDistortion
from earwitness.records.takes import Drive, TakeId

RANDOM = np.random.default_rng(7)


def some() -> ChangeWithLevel:
    """Every field another number."""
    points = specimen.GRID.size
    ratio = RANDOM.random((3, points))
    ratio[0, :5] = np.nan
    return ChangeWithLevel(
        takes=(TakeId("ä.wav"), TakeId("b.wav#2"), TakeId("c.wav")),
        drives=(Drive(1.0), Drive(2.83), Drive(8.0)),
        stated=1,
        arrived_db=RANDOM.random(3),
        hours=0.3,
        ratio=ratio,
        re_mean=RANDOM.random((3, points)),
        heard=RANDOM.random((3, points)) > 0.5,
        uncertainty=RANDOM.random((3, points)),
        order=(2, 3),
        order_ratio=RANDOM.random((2, points)),
        change_db=RANDOM.standard_normal((3, points)),
        band_hz=np.array([500.0, 630.0, 800.0, 1000.0, 1250.0]),
        output_db=RANDOM.random(5),
        told=np.arange(5, dtype=np.uint8),
        notes=("A note, with a comma.", "Another ü."),
    )


def test_radiators_near_by_come_back(tmp_path: Path) -> None:
    points = specimen.GRID.size
    near = tuple(
        NearDistortion(name, drive, RANDOM.random(points), RANDOM.random(points))
        for name, drive in (("woofer", Drive(8.0)), ("port", Drive(-3.0, "dBu")))
    )
    level = dataclasses.replace(some(), near=near)
    save_curves(tmp_path / "curves.nc", dataclasses.replace(specimen.curve_set(), level=level))
    found = load_curves(tmp_path / "curves.nc").level
    assert found is not None
    for one, other in zip(found.near, near, strict=True):
        assert (one.radiator, one.drive) == (other.radiator, other.drive)
        np.testing.assert_array_equal(one.ratio, other.ratio)
        np.testing.assert_array_equal(one.at_1m, other.at_1m)


def test_all_of_it_comes_back(tmp_path: Path) -> None:
    for level in (some(), dataclasses.replace(some(), notes=()), None):
        save_curves(tmp_path / "curves.nc", dataclasses.replace(specimen.curve_set(), level=level))
        found = load_curves(tmp_path / "curves.nc").level
        if level is None or found is None:
            assert found is level
            continue
        for field in dataclasses.fields(level):
            np.testing.assert_array_equal(getattr(found, field.name), getattr(level, field.name), field.name)
