"""Impedance comes back from ``responses.nc`` and ``curves.nc`` as it went in."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import made_impedance
import numpy as np
import publishable
import pytest
import specimen

from earwitness.case.datasets import load_curves, load_responses, save_curves, save_responses
from earwitness.records.impedance import Impedance, MeasuredImpedance, Wrinkle
from earwitness.records.uncertainty import ComponentName


def require_same(one: object, other: object) -> None:
    for field in fields(one):  # type: ignore[arg-type]
        first, second = getattr(one, field.name), getattr(other, field.name)
        if isinstance(first, np.ndarray):
            np.testing.assert_array_equal(first, second, err_msg=field.name)
        elif field.name != "components_ohm":
            assert first == second, field.name


@pytest.mark.parametrize("percent", [None, 1.0])
def test_curves(tmp_path: Path, percent: float | None) -> None:
    curves = made_impedance.with_impedance(specimen.curve_set(), percent)
    assert curves.impedance is not None
    assert curves.impedance.box is not None
    found = replace(curves.impedance, wrinkles=(Wrinkle(331.25, 18.5, 0.0055, 0.0001),))
    save_curves(tmp_path / "curves.nc", replace(curves, impedance=found))
    back = load_curves(tmp_path / "curves.nc").impedance
    assert isinstance(back, Impedance)
    require_same(found, back)
    assert list(back.components_ohm) == list(found.components_ohm)
    level = back.components_ohm[ComponentName.LEVEL]
    assert (level is None) == (percent is None)


def test_none(tmp_path: Path) -> None:
    save_curves(tmp_path / "curves.nc", specimen.curve_set())
    assert load_curves(tmp_path / "curves.nc").impedance is None


@pytest.mark.parametrize("has_phase", [True, False])
def test_responses(tmp_path: Path, has_phase: bool) -> None:
    measured = made_impedance.measured(has_phase=has_phase)
    measured = replace(measured, repeat_ohm=0.01 * np.abs(measured.ohms))
    save_responses(tmp_path / "responses.nc", replace(publishable.responses(), impedance=measured))
    back = load_responses(tmp_path / "responses.nc").impedance
    assert isinstance(back, MeasuredImpedance)
    require_same(measured, back)
