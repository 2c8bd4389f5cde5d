"""Exhibits of time behaviour: what they show, where they end, and that their words hold."""

from __future__ import annotations

import dataclasses
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import specimen

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit, Line
from earwitness.exhibits.geometry import height_per_width
from earwitness.exhibits.matplotlib import draw
from earwitness.exhibits.plotly import interactive
from earwitness.exhibits.time_axes import around, linear_axis, tick_step
from earwitness.findings.references import Referent
from earwitness.records.curves import CurveSet
from earwitness.records.takes import TakeId
from earwitness.records.time import BurstDecay, CumulativeDecay, Delays, TimeBehaviour, Waveforms

GRID = specimen.GRID
CLOSES_S = 0.0036


def behaviour() -> TimeBehaviour:
    """A step that decays by 1/e in a millisecond; delays of 1/f; bursts that fall by 10 dB a cycle."""
    time = np.arange(-24, 173) / 48_000.0
    excess = np.where((GRID > 40.0) & (GRID < 15_000.0), 1e-4, np.nan)
    hertz, cycles = 1000.0 * 2.0 ** (np.arange(-48, 37) / 12.0), np.arange(0.0, 10.1, 0.125)
    falling = np.where(cycles[None] <= hertz[:, None] * CLOSES_S, -10.0 * cycles, np.nan)
    moments = np.arange(0.0, CLOSES_S, 1e-4)
    above = np.array([600.0, 1200.0, 2400.0, 4800.0, 9600.0])
    left = np.where(above >= 2.0 / (0.006 - moments[:, None]), -9e3 * moments[:, None] + 0.0 * above, np.nan)
    return TimeBehaviour(
        takes=(TakeId("on_axis.wav"),),
        gate_s=0.006,
        closes_s=CLOSES_S,
        near_field_to_hz=250.0,
        gated_from_hz=500.0,
        delays=Delays(
            group_s=0.2 / GRID + np.nan_to_num(excess),
            minimum_s=0.2 / GRID,
            excess_s=excess,
            excess_uncertainty_s=0.1 * excess,
            excess_phase_deg=excess,
            slope_below=2.0,
            slope_above=0.0,
        ),
        waveforms=Waveforms(
            time_s=time,
            impulse=np.where(time == 0.0, 1.0, 0.0),
            step=np.where(time >= 0.0, np.exp(-np.maximum(time, 0.0) / 1e-3), 0.0),
            energy_db=-1.5e4 * np.abs(time),
            click_db=-4e4 * np.abs(time),
            band_hz=(333.0, 19_000.0),
        ),
        bursts=BurstDecay(
            hertz, cycles, falling, np.full(hertz.size, 2.0), hertz * CLOSES_S, near_field_to_hz=0.0
        ),
        cumulative=CumulativeDecay(above, moments, left),
    )


def curves(**changes: None) -> CurveSet:
    time = dataclasses.replace(behaviour(), **changes)  # type: ignore[arg-type]
    return dataclasses.replace(specimen.curve_set(31.0), time=time)


SHOWN = describe(curves())
#: Five of levels come before them, the budget of uncertainty after.
TIME = {e.id: e for e in SHOWN[5:-1]}


def line(exhibit: Exhibit, name: str) -> Line:
    return next(one for panel in exhibit.panels for one in panel.lines if one.label == name)


def test_they_come_after_levels_and_in_order() -> None:
    assert [(e.letter, e.id) for e in SHOWN[5:-1]] == [
        ("F", "waveforms"),
        ("G", "group-delay"),
        ("H", "decay"),
    ]
    assert [p.id for p in TIME["waveforms"].panels] == ["impulse", "step", "energy_time"]


@pytest.mark.parametrize(
    ("absent", "left"),
    [
        ("waveforms", ["group-delay", "decay"]),
        ("delays", ["waveforms", "decay"]),
        ("bursts", ["waveforms", "group-delay", "decay"]),
    ],
)
def test_what_isnt_there_isnt_drawn(absent: str, left: list[str]) -> None:
    assert [e.id for e in describe(curves(**{absent: None}))[5:-1]] == left


def test_a_case_without_time_behaviour_has_none_of_them() -> None:
    assert [e.id for e in describe(specimen.curve_set())][5:] == ["budget"]


def test_every_number_is_what_its_reference_names() -> None:
    referent = Referent(specimen.facts(), specimen.results().figures, curves())
    numbers = [n for e in TIME.values() for s in (e.caption, e.conditions, e.alt) for n in s.numbers]
    assert len(numbers) > 20
    for number in numbers:
        assert referent.resolve(number.reference) == pytest.approx(number.value, rel=1e-9), number


def test_numbers_are_printed_in_their_unit() -> None:
    alt = str(TIME["waveforms"].alt)
    # −15 dB to the millisecond.
    assert "−7.5 dB after 0.5 ms, −15.0 dB after 1.0 ms, −30.0 dB after 2.0 ms." in alt
    # 0.2/f and a tenth of a millisecond.
    assert "2.10 ms (excess 0.10 ms) at 100 Hz" in str(TIME["group-delay"].alt)
    assert "2.0 cycles at 1 kHz" in str(TIME["decay"].alt)
    assert "near field up to 250 Hz, gated from 500 Hz" in str(TIME["decay"].conditions)


def test_time_is_in_milliseconds_and_ends_with_the_measurement() -> None:
    step = line(TIME["waveforms"], "step")
    axis = TIME["waveforms"].panels[0].x_axis
    assert not axis.logarithmic
    assert axis.unit == "ms"
    assert axis.maximum == pytest.approx(1e3 * CLOSES_S)
    assert np.interp(1.0, step.x, step.y) == pytest.approx(np.exp(-1.0), rel=0.02)
    bursts, cumulative = (panel.level_map for panel in TIME["decay"].panels)
    assert bursts is not None
    assert cumulative is not None
    for column, hertz in enumerate(bursts.x):
        assert bursts.y[np.isfinite(bursts.z[:, column])].max() <= hertz * CLOSES_S
    assert cumulative.y.max() < 1e3 * CLOSES_S


@pytest.mark.parametrize("exhibit", TIME.values(), ids=lambda e: e.id)
def test_both_renderers_draw_them_on_their_axes(exhibit: Exhibit) -> None:
    made = interactive(exhibit)
    for panel, told in zip(exhibit.panels, made["panels"], strict=True):
        assert told["logarithmic"] == panel.x_axis.logarithmic
        assert told["x_unit"] == panel.x_axis.unit
        assert height_per_width(panel) == panel.height_per_width
    assert made["layout"]["xaxis"]["type"] == ("log" if exhibit.panels[0].x_axis.logarithmic else "linear")
    for mode in ("light", "dark"):
        assert draw(exhibit, mode) == draw(exhibit, mode)
    assert ET.fromstring(draw(exhibit)).tag.endswith("svg")


def test_milliseconds_are_drawn_to_the_microsecond() -> None:
    """A time is no frequency: a tenth of one is not enough."""
    drawn = interactive(TIME["waveforms"])
    x = drawn["data"][drawn["panels"][0]["lines"][0]["trace"]]["x"]
    assert x[1] - x[0] == pytest.approx(1e3 / 48_000.0, abs=2e-3)


def test_axes_have_round_ticks_inside_their_limits() -> None:
    assert tick_step(0.0, 10.0, 5) == 2.0
    assert tick_step(-0.5, 3.6, 8) == 1.0
    axis = linear_axis("time", "ms", -0.5, 3.6)
    assert [text for _, text in axis.ticks] == ["0", "1", "2", "3"]
    held = around("delay", "ms", np.array([0.1, np.nan, 0.3]), 0.5)
    assert held.minimum < 0.0
    assert held.maximum > 0.3
    assert held.maximum - held.minimum >= 0.5
