"""Time behaviour comes back from ``curves.nc`` as it went in."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import specimen

from earwitness.case.datasets import load_curves, save_curves
from earwitness.records.takes import TakeId
from earwitness.records.time import BurstDecay, CumulativeDecay, Delays, TimeBehaviour, Waveforms

RANDOM = np.random.default_rng(3)


def some() -> TimeBehaviour:
    """Every field another number."""
    points = specimen.GRID.size
    return TimeBehaviour(
        takes=(TakeId("ä.wav"), TakeId("near.wav#woofer")),
        gate_s=0.006,
        closes_s=0.0036,
        near_field_to_hz=280.0,
        gated_from_hz=560.0,
        delays=Delays(
            group_s=RANDOM.standard_normal(points),
            minimum_s=RANDOM.standard_normal(points),
            excess_s=RANDOM.standard_normal(points),
            excess_uncertainty_s=RANDOM.standard_normal(points),
            excess_phase_deg=RANDOM.standard_normal(points),
            slope_below=1.9,
            slope_above=-0.5,
        ),
        waveforms=Waveforms(
            time_s=np.arange(7.0),
            impulse=RANDOM.standard_normal(7),
            step=RANDOM.standard_normal(7),
            energy_db=RANDOM.standard_normal(7),
            click_db=RANDOM.standard_normal(7),
            band_hz=(333.0, 19e3),
        ),
        bursts=BurstDecay(
            np.array([100.0, 200.0]),
            np.arange(3.0),
            RANDOM.standard_normal((2, 3)),
            np.array([np.nan, 2.0]),
            np.array([1.0, 3.0]),
            near_field_to_hz=150.0,
        ),
        cumulative=CumulativeDecay(
            np.array([1e3, 2e3, 4e3]), np.array([0.0, 1e-3]), RANDOM.standard_normal((2, 3))
        ),
    )


def same(one: object, other: object) -> None:
    for field in dataclasses.fields(one):  # type: ignore[arg-type]
        left, right = getattr(one, field.name), getattr(other, field.name)
        if dataclasses.is_dataclass(left):
            same(left, right)
        elif isinstance(left, np.ndarray):
            np.testing.assert_array_equal(left, right)
        else:
            assert left == right, field.name


WHOLE = some()


@pytest.mark.parametrize(
    "time",
    [
        WHOLE,
        dataclasses.replace(WHOLE, waveforms=None, bursts=None, cumulative=None),
        dataclasses.replace(WHOLE, delays=None),
    ],
)
def test_what_was_written_is_read(tmp_path: Path, time: TimeBehaviour) -> None:
    save_curves(tmp_path / "curves.nc", dataclasses.replace(specimen.curve_set(), time=time))
    found = load_curves(tmp_path / "curves.nc").time
    assert found is not None
    same(time, found)


def test_none_stays_none(tmp_path: Path) -> None:
    save_curves(tmp_path / "curves.nc", specimen.curve_set())
    assert load_curves(tmp_path / "curves.nc").time is None
