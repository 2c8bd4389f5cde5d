"""Harmonics of each radiator by itself, carried to 1 m, against steady tones of the workshop."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from accuracy.distortion import LargeCase, record, varied

from earwitness.derive.near_distortion import near_distortion
from earwitness.records.distortion import LevelSeries
from earwitness.virtual.files import NearField

Floats = npt.NDArray[np.floating]
DRIVES_V = (0.283, 8.0)
#: Steady tones, each a point of the derived grid.
TONED_HZ = 1000.0 * 2.0 ** (np.arange(-54, -20, 2) / 12.0)
SWEEP_S = 4.0


def recorded(name: str, ways: tuple[str, ...], folder: Path) -> LargeCase:
    """On axis at the scenario's two lowest drives, near each way at two."""
    scenario = varied(name)
    session = scenario.session
    near = tuple(NearField(way, 0.007, drive) for way in ways for drive in DRIVES_V)
    # a cone at 8 V is far louder close up than the hall's converter holds
    chain = dataclasses.replace(session.workshop.chain, full_scale_pa=400.0)
    workshop = dataclasses.replace(session.workshop, chain=chain)
    session = dataclasses.replace(session, workshop=workshop, near_fields=near, levels=session.levels[:1])
    return record(dataclasses.replace(scenario, session=session), folder, SWEEP_S)


def true_order(case: LargeCase, way: str, order: int) -> Floats:
    """An order of one radiator re its fundamental, both at 1 m on axis, (F,)."""
    tones = dataclasses.replace(case.tones, frequencies=TONED_HZ)
    (moved,) = tones.volume_velocities([DRIVES_V[-1]])
    place = tones.loudspeaker.source.radiators.index(way)
    alone = np.zeros_like(moved)
    alone[place] = moved[place]
    (pressure,) = tones.pressures([alone])
    return np.asarray(np.abs(pressure[order - 1]) / np.abs(pressure[0]))


def _require_heard_is_true(series: LevelSeries, true: Floats, at: npt.NDArray[np.intp]) -> None:
    """Second order 10 dB over noise and leakage is within a decibel; something is."""
    assert series.carried is not None
    power = np.abs(series.pressure[-1]).astype(np.float64) ** 2
    heard = (power[1] > 10.0 * series.noise_power[-1, 1])[at]
    assert 2 < heard.sum() < 10
    ratio = np.sqrt(power[1, at] / power[0, at]) * series.carried[1, at] / series.carried[0, at]
    assert np.abs(20.0 * np.log10(ratio[heard] / true[heard])).max() < 1.0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "ways", "band_hz"),
    [
        ("thimble", ("woofer",), (40.0, 300.0)),
        # a cone hardly moves about its port's tuning of 44 Hz
        ("ladle", ("woofer", "port"), (60.0, 250.0)),
    ],
)
def test_harmonics_of_a_cone_come_to_one_metre(
    tmp_path: Path, name: str, ways: tuple[str, ...], band_hz: tuple[float, float]
) -> None:
    case = recorded(name, ways, tmp_path)
    assert [one.radiator for one in case.near] == sorted(ways)
    series = next(one for one in case.near if one.radiator == "woofer")
    assert [drive.value for drive in series.drives] == list(DRIVES_V)
    assert series.carried is not None
    inside = (band_hz[0] <= TONED_HZ) & (band_hz[1] >= TONED_HZ)
    at = np.argmin(np.abs(np.log(series.frequency_hz[None] / TONED_HZ[:, None])), axis=1)
    power = np.abs(series.pressure[-1]).astype(np.float64) ** 2
    for order in (2, 3):
        heard = power[order - 1] > 100.0 * series.noise_power[-1, order - 1]
        told = heard & np.isfinite(series.carried[order - 1])
        ratio = np.sqrt(power[order - 1, at] / power[0, at])
        ratio *= series.carried[order - 1, at] / series.carried[0, at]
        some = inside & told[at]
        assert some.sum() > 0.6 * inside.sum(), order
        error = 20.0 * np.log10(ratio[some] / true_order(case, "woofer", order)[some])
        assert np.sqrt(np.mean(error**2)) < 0.15, (order, np.round(error, 2))
    for other in case.near:
        # what the cone gives at the port's microphone hides all but the port's own
        if other.radiator == "port":
            _require_heard_is_true(other, true_order(case, "port", 2), at)
    whole = near_distortion(series)
    assert np.isfinite(whole.at_1m[at][inside]).mean() > 0.5
