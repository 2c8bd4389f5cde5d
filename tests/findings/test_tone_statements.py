"""Statements and a picture of what is added to steady tones: every number goes back to what was found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import specimen

from earwitness.case.datasets import load_curves, save_curves
from earwitness.derive.rattle_figures import rattle_figures
from earwitness.derive.tone_figures import tone_figures
from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Role
from earwitness.exhibits.places import locate
from earwitness.exhibits.tones import tones
from earwitness.findings.references import Referent
from earwitness.findings.tone_statements import tone_statements
from earwitness.publication.origins import anchor, numbers_in, origins
from earwitness.publication.rows import row
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.takes import Drive, TakeId
from earwitness.records.tones import Added, Multitone, NoiseFrom, Rattle, ToneSet, TwoTones

MANY = Multitone(
    take=TakeId("multitone_8V.wav"),
    drive=Drive(8.0),
    tones=31,
    level_db=94.0,
    hours=1.0,
    total=Added(0.0213, True, 0.0004),
    bands_hz=(50.1187, 100.0, 199.526),
    tones_db=(-10.0, -9.0, -8.0),
    between_db=(-55.0, -39.0, -45.0),
    heard=(False, True, True),
    uncertainty_db=(0.0, 0.2, 0.1),
    noise_from=NoiseFrom.SILENCE,
)
QUIET = replace(MANY, take=TakeId("multitone_1V.wav"), drive=Drive(1.0), heard=(False,) * 3)
PAIR = TwoTones(
    TakeId("two_tones_8V.wav"),
    Drive(8.0),
    60.0,
    700.0,
    94.0,
    1.0,
    Added(0.031, True, 0.0008),
    Added(0.004, False, 0.0),
    NoiseFrom.ITSELF,
)
FOUND = ToneSet((PAIR,), (QUIET, MANY))
CURVES = replace(specimen.curve_set(), tones=FOUND)
STILL = Rattle(TakeId("4V.wav"), Drive(4.0), (28.3, 44.9), (0.1, 0.2), (-50.0, -53.0), (-60.0, -60.0))
LOUD = Rattle(TakeId("8V.wav"), Drive(8.0), (28.3, 44.9), (0.5, 0.9), (-36.0, -29.5), (-39.0, -30.0))


def told(found: ToneSet, sensitivity: Figure | None = None) -> str:
    figures = (*tone_figures(found), *rattle_figures(found.rattles, sensitivity))
    curves = replace(specimen.curve_set(), tones=found)
    findings = tone_statements(curves, {one.name: one for one in figures})
    referent = Referent(CaseFacts(unit=Unit(name="Specimen")), figures, curves, findings)
    for one in findings:
        for sentence in (one.statement, one.explanation, one.note):
            referent.require(sentence)
    for figure in figures:
        referent.require(row(figure).value)
        referent.require(figure.conditions)
    return " ".join(f"{one.statement!s} {one.explanation!s}" for one in findings)


def test_what_is_said_of_tones() -> None:
    text = told(FOUND)
    assert "Playing 31 tones at once, it adds 2.13 ± 0.04 % between them." in text
    assert "lies about 100 Hz, where it is at −30 dB re them" in text
    assert "A tone of 60 Hz modulates one of 700 Hz by 3.10 ± 0.08 % in the second order" in text
    assert "by less than 0.40 % in the third" in text
    assert "94 dB at one metre; taken as A-weighted, NIOSH 98-126 allows 60 min a day" in text.replace(
        "1 h a day", "60 min a day"
    )
    assert "leave the room or wear protection" in text
    assert told(ToneSet()) == ""


def test_figures_are_of_the_greatest_drive() -> None:
    named = {one.name: one for one in tone_figures(FOUND)}
    most, third = named[FigureName.MULTITONE].value, named[FigureName.MODULATION_THIRD].value
    assert isinstance(most, Quantity)
    assert most.value == pytest.approx(2.13)
    assert named[FigureName.MULTITONE].evidence.takes == ("multitone_8V.wav",)
    assert named[FigureName.MULTITONE].reading == "noise: a recording of silence"
    assert isinstance(third, Bound)
    assert third.sense == "at most"
    assert third.value == pytest.approx(0.4)
    assert named[FigureName.MODULATION_THIRD].uncertainty is None


def test_the_picture_shows_what_noise_hides_in_dots_alone() -> None:
    exhibit = tones(CURVES)
    assert exhibit is not None
    lines = exhibit.panels[0].lines
    loud = next(line for line in lines if line.role is Role.DRIVE_5)
    # a band is drawn from edge to edge, so that one by itself is seen
    assert np.isnan(loud.y).tolist() == [True, True, False, False, False, False]
    assert loud.x[3] / loud.x[2] == pytest.approx(10.0**0.1)
    below = [line for line in lines if line.role is Role.BELOW]
    assert [np.isfinite(line.y).sum() for line in below] == [2, 6]
    referent = Referent(CaseFacts(unit=Unit(name="Specimen")), tone_figures(FOUND), CURVES)
    for sentence in (exhibit.caption, exhibit.alt, exhibit.conditions):
        referent.require(sentence)
    assert "below −55 dB at 50.1 Hz" in str(exhibit.alt)
    assert "wear protection" in str(exhibit.caption)
    assert tones(specimen.curve_set()) is None


def test_a_statement_is_marked_in_the_picture_and_every_number_has_an_origin() -> None:
    figures = tone_figures(FOUND)
    findings = tone_statements(CURVES, {one.name: one for one in figures})
    exhibits = describe(CURVES)
    place = next(one.place for one in findings if one.place is not None)
    assert any(mark.exhibit == "tones" for mark in locate(place, exhibits))
    entries = {one.anchor for one in origins(CURVES, figures, (findings, exhibits), findings)}
    assert {anchor(one.reference) for one in numbers_in((findings, tones(CURVES)))} <= entries


def test_tones_come_back_from_their_file(tmp_path: Path) -> None:
    save_curves(tmp_path / "curves.nc", CURVES)
    assert load_curves(tmp_path / "curves.nc").tones == FOUND


def test_a_rattle_is_hedged_and_says_what_would_settle_it() -> None:
    text = told(ToneSet(rattles=(STILL, LOUD)))
    assert "What it adds near 44.9 Hz from 8 V up points to a rattle or a rub." in text
    assert "It may also be a coil at its end, an amplifier that clips" in text
    assert "What would settle it: play that frequency, quietly at first" in text
    assert "wear protection" in text
    assert told(ToneSet(rattles=(STILL,))) == ""


def test_how_loud_the_sweeps_of_a_rattle_were_stands_beside_it() -> None:
    """88 dB for 2.83 V are 97.026 dB for 8 V: NIOSH 98-126 allows 8 h · 2^((85 − 97.026)/3) = 0.497 h."""
    (any_figure,) = rattle_figures((LOUD,))
    sensitive = replace(any_figure, name=FigureName.SENSITIVITY, value=Quantity(88.0), unit="dB")
    text = told(ToneSet(rattles=(STILL, LOUD)), sensitive)
    assert "The loudest sweep played 97 dB at one metre" in text
    assert "allows 30 min a day there" in text


def test_a_rattle_is_drawn_where_it_is_seen_and_bounded_elsewhere(tmp_path: Path) -> None:
    curves = replace(specimen.curve_set(), tones=ToneSet(rattles=(STILL, LOUD)))
    shown = next(one for one in describe(curves) if one.id == "rattles")
    (panel,) = shown.panels
    assert [line.label for line in panel.lines] == [
        "again at 8 V",
        "again at 8 V, below",
    ]
    assert panel.lines[0].y.tolist()[2:] == [-30.0, -30.0]
    assert np.isnan(panel.lines[0].y[:2]).all()
    assert panel.lines[1].y.tolist()[:2] == [-36.0, -36.0]
    assert str(shown.alt).count("elsewhere none is seen") == 1
    (figure,) = rattle_figures(curves.tones.rattles)
    (finding,) = tone_statements(curves, {figure.name: figure})
    assert finding.place is not None
    assert locate(finding.place, describe(curves))[0].exhibit == "rattles"
    save_curves(tmp_path / "curves.nc", curves)
    assert load_curves(tmp_path / "curves.nc").tones == curves.tones
    assert not [
        one for one in describe(replace(curves, tones=ToneSet(rattles=(STILL,)))) if one.id == "rattles"
    ]
