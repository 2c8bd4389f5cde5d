"""Numbers and small prose."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import specimen
from publishable import responses, takes

from earwitness.derive.numerals import duration, frequency, measured, spread
from earwitness.derive.wording import listing
from earwitness.publication.exposure import exposure
from earwitness.publication.header import header
from earwitness.publication.markup import json_for_script, sentence
from earwitness.publication.octaves import octaves
from earwitness.publication.rows import row, table
from earwitness.publication.stories import story_lines
from earwitness.publication.wording import date_words, named
from earwitness.records.curves import CurveName
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import Bound, Check, Figure, FigureName, NotAvailable, Quantity
from earwitness.records.findings import Story
from earwitness.records.responses import Origin
from earwitness.records.sentences import EMPTY, Number, Quoted, Term, Words, say
from earwitness.records.takes import Drive


def figure(name: FigureName) -> Figure:
    return next(f for f in specimen.results().figures if f.name is name)


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (86.44, 0.5, "dB", "86.4 ± 0.5 dB"),
        (86.44, None, "dB", "86.4 dB"),
        (-0.954, 0.05, "dB/octave", "−0.95 ± 0.05 dB/octave"),
        (1234.0, 40.0, "Hz", "1.23 ± 0.04 kHz"),
    ],
)
def test_a_value_has_the_digits_of_its_uncertainty(
    value: float, uncertainty: float | None, unit: str, text: str
) -> None:
    said = measured(value, uncertainty, unit, "figure:f6")
    assert str(said) == text
    assert said.numbers[0].reference == "figure:f6/value/value"
    assert [n.value for n in said.numbers[1:]] == ([uncertainty] if uncertainty else [])


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (50.0, 60.0, "not determined within ± 60 Hz; it reads 50 Hz"),
        (60.0, 60.0, "not determined within ± 60 Hz; it reads 60 Hz"),
        (61.0, 60.0, "not determined within ± 60 Hz; it reads 60 Hz"),
        (66.0, 60.0, "70 ± 60 Hz"),
        (50.0, None, "50 Hz"),
    ],
)
def test_what_its_uncertainty_reaches_down_to_zero_is_not_determined(
    value: float, uncertainty: float | None, text: str
) -> None:
    """A frequency can't be negative: 50 ± 60 Hz would say that it may be."""
    given = replace(figure(FigureName.F6), value=Quantity(value), uncertainty=uncertainty)
    said = row(given).value
    assert str(said) == text
    references = {"figure:f6/value/value": value, "figure:f6/uncertainty": uncertainty}
    assert {n.reference: n.value for n in said.numbers}.items() <= references.items()


def test_what_may_be_negative_keeps_its_uncertainty() -> None:
    given = replace(figure(FigureName.IN_ROOM_TILT), value=Quantity(-0.1), uncertainty=0.3)
    assert str(row(given).value) == "−0.1 ± 0.3 dB/octave"


@pytest.mark.parametrize(
    ("band", "text"),
    [
        ((9720.0, 9720.0), "not available: not valid at 9.72 kHz"),
        ((9720.0, 9791.0), "not available: not valid from 9.72 kHz to 9.79 kHz"),
    ],
)
def test_a_hole_of_one_point_is_one_frequency(band: tuple[float, float], text: str) -> None:
    absent = NotAvailable("not valid", invalid_band_hz=band)
    assert str(row(replace(figure(FigureName.F6), value=absent)).value) == text


@pytest.mark.parametrize(
    ("hours", "text"), [(5.789, "5.8 h"), (0.79, "47 min"), (0.25, "15 min"), (0.0104, "37 s"), (8.0, "8 h")]
)
def test_durations(hours: float, text: str) -> None:
    assert duration(hours, "x").text == text


def test_a_component_that_vanishes_beside_the_total() -> None:
    assert spread(3.3e-7, "dB", "x", 0.5).text == "0.00 dB"
    assert spread(0.04, "dB", "x", 0.5).text == "0.04 dB"
    assert spread(0.04, "dB", "x").text == "0.04 dB"


def test_frequencies_and_dates() -> None:
    assert frequency(1259.9, "x").text == "1.26 kHz"
    assert date_words(dt.date(2026, 11, 2)) == "2 November 2026"


def test_listing_and_names() -> None:
    assert str(listing(say(w) for w in ("a", "b", "c"))) == "a, b and c"
    assert str(listing([say("a")])) == "a"
    assert listing([]).parts == ()
    assert named("F6") == Term("F6")
    assert named("gate") == Words("gate")


def test_the_table_has_what_is_available_in_its_order() -> None:
    full, half = (table(specimen.results(half).figures) for half in (False, True))
    assert [r.name for r in full][:3] == [FigureName.SENSITIVITY, FigureName.F6, FigureName.F3]
    assert len(full) == 10
    assert len(half) == 6
    assert all(r.name not in (FigureName.F3, FigureName.COVERAGE_VERTICAL) for r in half)


def test_every_kind_of_value() -> None:
    sensitivity = figure(FigureName.SENSITIVITY)
    assert str(row(replace(sensitivity, value=Bound(101.0, "at least"))).value) == "≥ 101.0 dB"
    assert str(row(replace(sensitivity, value=Check(False, (0.0, 1.0)))).value) == "not passed"
    assert str(row(replace(sensitivity, value=NotAvailable("no take"))).value) == "no take"
    assert str(row(figure(FigureName.TOLERANCE_ON_AXIS)).value) == "+2.9 / −2.2 dB"


def test_the_header_invents_nothing() -> None:
    bare = header(CaseFacts(Unit("Plain")))
    assert [str(x.text) for x in bare.facts] == [
        "not stated",
        "not stated",
        "not stated",
        "one unit, serial number not stated",
    ]
    assert bare.eyebrow == ()
    full = {str(x.label): str(x.text) for x in header(specimen.facts()).facts}
    assert full["Price"] == "EUR 480 on 2 November 2026"
    assert full["Unit from"] == "lent by its owner"


def test_the_exposure_at_the_greatest_drive() -> None:
    # NIOSH 98-126 (read): 8 h at 85 dB, halved every 3 dB. Ten times the voltage is 20 dB more.
    found = exposure(takes(), specimen.results())
    assert found.level_db == pytest.approx(86.4)
    assert found.hours == pytest.approx(8 / 2 ** (1.4 / 3))
    louder = tuple(replace(t, key=replace(t.key, drive=Drive(28.3))) for t in takes()[:1])
    found = exposure((*takes(), *louder), specimen.results())
    assert found.level_db == pytest.approx(106.4)
    assert found.hours is not None
    assert found.hours * 60 == pytest.approx(3.42, abs=0.005)
    for words in ("wear hearing protection", "Local law", "qualified people", "3.4 min a day"):
        assert words in str(found.caution)


def test_a_caution_without_a_level() -> None:
    found = exposure((), specimen.results())
    assert found.hours is None
    assert "8 h a day at 85 dB" in str(found.caution)
    assert "wear hearing protection" in str(found.caution)


def test_where_each_octave_comes_from() -> None:
    on_axis = specimen.curve_set(555.0).curves[CurveName.ON_AXIS]
    bands = octaves(responses(555.0), on_axis)
    assert [b.origin for b in bands[:5]] == [Origin.NOTHING] * 4 + [Origin.GATED]
    assert str(bands[4].words) == "gated, in part"
    assert str(bands[5].uncertainty) == "± 0.4 dB"
    full = octaves(responses(), specimen.curve_set().curves[CurveName.ON_AXIS])
    # 177 to 355 Hz: near field to 200, blended to 400.
    assert [b.origin for b in full[2:5]] == [Origin.NEAR_FIELD, Origin.BLENDED, Origin.GATED]


def test_prose_is_escaped() -> None:
    said = say(
        Quoted("<b>", 'case:"x'), " & ", Number("<1", 1.0, "figure:f6/<"), Term("<i>"), Words("<script>")
    )
    html = str(sentence(said))
    assert "<b>" not in html
    assert "<script>" not in html
    assert 'data-ref="case:&#34;x"' in html


def test_what_says_nothing_has_no_line() -> None:
    story = Story(say("A ", Term("cause"), ""), settle=say("", EMPTY))
    assert [str(one.label) for one in story_lines(story)] == ["Why"]


def test_json_cannot_end_its_element() -> None:
    assert json_for_script({"a": "</script><!--&\u2028"}) == (
        '{"a":"\\u003c/script\\u003e\\u003c!--\\u0026\\u2028"}'
    )
