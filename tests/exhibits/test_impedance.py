"""The picture of an impedance: what it shows, where it ends, and that its words hold."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import made_impedance
import numpy as np
import specimen

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.impedance import impedance
from earwitness.exhibits.matplotlib import draw
from earwitness.exhibits.places import locate
from earwitness.exhibits.plotly import interactive
from earwitness.findings.references import Referent
from earwitness.records.curves import CurveSet
from earwitness.records.findings import Place

CURVES = made_impedance.with_impedance(specimen.curve_set())


def shown(curves: CurveSet = CURVES) -> Exhibit:
    exhibit = impedance(curves)
    assert exhibit is not None
    return exhibit


def test_none_without_an_impedance() -> None:
    assert impedance(specimen.curve_set()) is None
    assert "impedance" not in {one.id for one in describe(specimen.curve_set())}
    assert "impedance" in {one.id for one in describe(CURVES)}


def test_magnitude_above_phase() -> None:
    top, below = shown().panels
    magnitude, load = top.lines
    at_80_hz = int(np.argmin(np.abs(specimen.GRID - 80.0)))
    # the resonance adds 20 Ω, and the inductance 0.15 Ω to the side
    assert abs(magnitude.y[at_80_hz] - 26.0) < 0.02
    assert abs(load.y[at_80_hz] - 26.0) < 0.7
    assert np.all(load.y[np.isfinite(load.y)] <= magnitude.y[np.isfinite(load.y)])
    assert not np.isfinite(magnitude.y[specimen.GRID > 18_000.0]).any()
    assert magnitude.uncertainty is not None
    assert abs(magnitude.uncertainty[at_80_hz] - 0.26) < 0.001
    assert below.lines[0].label == "phase"
    assert below.y_axis.minimum == -90.0
    assert top.y_axis.maximum > 26.0


def test_without_phase_there_is_one_line() -> None:
    (panel,) = shown(made_impedance.with_impedance(specimen.curve_set(), has_phase=False)).panels
    assert [line.curve for line in panel.lines] == ["impedance"]


def test_words_are_what_they_refer_to() -> None:
    exhibit = shown()
    referent = Referent(specimen.facts(), (), CURVES)
    for sentence in (exhibit.caption, exhibit.conditions, exhibit.alt):
        referent.require(sentence)
    assert "26.0 Ω at 80 Hz" in str(exhibit.alt)
    assert "at 0.5 V" in str(exhibit.conditions)
    assert "known resistor" in str(exhibit.conditions)


def test_places_are_found_in_it() -> None:
    marks = locate(Place("impedance", (200.0, 260.0)), [shown()], "a")
    assert [mark.panel for mark in marks] == ["impedance", "impedance_phase"]
    assert [m.panel for m in locate(Place("amplifier_load", (200.0, 260.0)), [shown()])] == ["impedance"]


def test_it_can_be_drawn() -> None:
    exhibit = shown()
    assert ET.fromstring(draw(exhibit)).tag.endswith("svg")
    assert draw(exhibit) == draw(exhibit)
    assert interactive(exhibit)
