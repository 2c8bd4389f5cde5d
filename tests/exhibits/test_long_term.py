"""Pictures of a load that lasts and of self-noise: what they show, and that their words hold."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import specimen
from findings.test_long_term_statements import NOISE, RUN

from earwitness.case.datasets import load_curves, save_curves
from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.long_load import load, load_octaves
from earwitness.exhibits.matplotlib import draw
from earwitness.exhibits.places import locate
from earwitness.exhibits.plotly import interactive
from earwitness.exhibits.self_noise import self_noise
from earwitness.findings.references import Referent
from earwitness.records.curves import CurveSet
from earwitness.records.findings import Place
from earwitness.records.long_term import LongTerm, Moment

LOUD = replace(
    RUN,
    course=(
        Moment(-10.0, False, (0.0, 0.0, 0.0)),
        Moment(1.5, True, (-0.5, -1.4, -1.0)),
        Moment(119.5, True, (-1.1, -2.4, -1.9)),
        Moment(121.5, False, (-0.6, -0.9, -0.5)),
        Moment(240.0, False, (-0.1, -0.2, -0.1)),
    ),
)
HISS = replace(NOISE, room_third_octaves_db=(12.0,))
CURVES = replace(specimen.curve_set(), long_term=LongTerm(LOUD, HISS))


def shown(curves: CurveSet = CURVES) -> Exhibit:
    exhibit = load(curves)
    assert exhibit is not None
    return exhibit


def octaves(curves: CurveSet = CURVES) -> Exhibit:
    exhibit = load_octaves(curves)
    assert exhibit is not None
    return exhibit


def test_nothing_is_shown_of_what_was_not_recorded() -> None:
    plain = specimen.curve_set()
    assert load(plain) is None
    assert self_noise(plain) is None
    assert not {"load", "load-octaves", "self-noise"} & {one.id for one in describe(plain)}
    assert {"load", "load-octaves", "self-noise"} <= {one.id for one in describe(CURVES)}


def test_the_octave_that_changes_most_over_minutes_and_all_octaves() -> None:
    (top,), (below,) = shown().panels, octaves().panels
    loaded, weak = top.lines
    np.testing.assert_allclose(loaded.x, np.array([-10.0, 1.5, 119.5, 121.5, 240.0]) / 60.0)
    np.testing.assert_allclose(loaded.y, [np.nan, -1.4, -2.4, np.nan, np.nan])
    np.testing.assert_allclose(weak.y, [0.0, -0.9, -0.2])
    assert top.x_axis.minimum == pytest.approx(-10.0 / 60.0)
    assert [line.y.tolist() for line in below.lines] == [list(RUN.change_db), list(RUN.lasting_db)]
    assert top.y_axis.minimum < -2.4
    assert top.y_axis.maximum > 0.0
    assert "250 Hz" in str(shown().conditions)


def test_words_are_what_they_refer_to() -> None:
    referent = Referent(specimen.facts(), (), CURVES)
    noise = self_noise(CURVES)
    assert noise is not None
    for exhibit in (shown(), octaves(), noise):
        for sentence in (exhibit.caption, exhibit.conditions, exhibit.alt):
            referent.require(sentence)
    assert "−2.4 dB in the load and −0.9 dB right after it about 250 Hz" in str(octaves().alt)
    text = str(shown().alt)
    assert "About 250 Hz: −2.4 dB in its last second, −0.9 dB right after it, −0.2 dB at the end." in text
    assert "A limiter acts." in text
    assert "Time constant of the voice coil: 4.0 s, from 3.6 s to 4.4 s" in text
    # an interval from 100 s to 8000 s tells nothing
    assert "magnet" not in text
    assert "The room alone: 15.0 dB" in str(noise.alt)


def test_the_exposure_stands_under_the_picture() -> None:
    # NIOSH: 8 h at 85 dB(A), half of it for each 3 dB; 98 dB: 8 h/2^(13/3) = 0.397 h
    text = str(shown().caption)
    assert "98 dB at one metre" in text
    assert "24 min a day" in text
    assert "local law" in text
    silent = str(shown(replace(CURVES, long_term=LongTerm(replace(LOUD, level_db=None)))).caption)
    assert "NIOSH" not in silent
    assert "leave the room" in silent


def test_without_the_room_all_of_it_may_be_the_room() -> None:
    found = self_noise(replace(CURVES, long_term=LongTerm(None, NOISE)))
    assert found is not None
    assert len(found.panels[0].lines) == 1
    assert "may be the room" in str(found.caption)


def test_places_are_found_in_it() -> None:
    marks = locate(Place("load_change", (200.0, 260.0)), [shown(), octaves()], "a")
    assert [mark.panel for mark in marks] == ["load-octaves"]


def test_they_can_be_drawn_and_kept(tmp_path: Path) -> None:
    for exhibit in (shown(), octaves(), self_noise(CURVES)):
        assert exhibit is not None
        assert ET.fromstring(draw(exhibit)).tag.endswith("svg")
        assert interactive(exhibit)
    save_curves(tmp_path / "curves.nc", CURVES)
    assert load_curves(tmp_path / "curves.nc").long_term == CURVES.long_term
