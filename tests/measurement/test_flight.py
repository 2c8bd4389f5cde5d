"""Air that changes over a session, in arrivals and in real recordings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from arriving import arrived
from made_recordings import FULL_SCALE_PA, LATENCY_S, SPEED, Bench

from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.flight import drift_notes
from earwitness.measurement.recognise import recognise
from earwitness.measurement.reduction import reduce
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.responses import Responses


def flight_s(temperature_c: float, distance_m: float = 2.0) -> float:
    """FACTS §14: c = 331.3·√(1 + t/273.15)."""
    return float(distance_m / (331.3 * np.sqrt(1.0 + temperature_c / 273.15)))


@pytest.mark.parametrize(
    ("warmer_k", "words"),
    [(0.4, None), (0.7, "half a kelvin"), (1.2, "more than a kelvin"), (4.5, "several kelvins")],
)
def test_air_that_warmed_is_told_by_how_much(warmer_k: float, words: str | None) -> None:
    notes = drift_notes(np.array([flight_s(20.0), flight_s(20.0 + warmer_k)]), 2.0, 343.2)
    assert [words is not None and words in note for note in notes] == ([True] if words else [])
    assert not any(c.isdigit() for note in notes for c in note)


def test_one_take_or_another_clock_tells_nothing() -> None:
    assert drift_notes(np.array([0.005]), 2.0, 343.2) == ()
    assert drift_notes(np.array([0.005, 0.0052]), 2.0, 343.2) == ()


def reduced(folder: Path, late_s: float) -> Responses:
    bench = Bench(folder)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0, echo_s=5e-3)
    bench.recording("horizontal_+030_2.83V.wav", 2.0, echo_s=5e-3)
    bench.recording("horizontal_+000_2.83V_repeat2.wav", 2.0, echo_s=5e-3, latency_s=LATENCY_S + late_s)
    takes = [r.take for r in recognise(arrived(*(p.name for p in folder.iterdir()))) if r.take]
    case = CaseFacts(unit=Unit(name="x"), rig=Rig(distance_m=2.0, pa_per_full_scale=FULL_SCALE_PA))
    return reduce(case, takes, {t.id: r for t, r in deconvolve(folder, takes)}, folder)


def test_a_session_in_warming_air(tmp_path: Path) -> None:
    # at 343.2 m/s the flight of 2 m is 5.827 ms; 1.5 K more shorten it by 1.5/586.3 of that
    found = reduced(tmp_path, -1.5 / 586.3 * 2.0 / SPEED)
    assert any("more than a kelvin" in note for note in found.notes)


def test_a_session_in_still_air_has_no_such_note(tmp_path: Path) -> None:
    assert not any("kelvin" in note for note in reduced(tmp_path, 0.0).notes)
