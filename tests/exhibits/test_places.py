from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from specimen import curve_set, findings

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.places import findings_at, locate
from earwitness.records.curves import CurveName
from earwitness.records.findings import Finding, Place

EXHIBITS = describe(curve_set(valid_from_hz=50.0))
CURVES = [*(name.value for name in CurveName), "coverage_horizontal", "coverage_vertical"]


def finding(place: Place | None, name: str = "one") -> Finding:
    return replace(findings().findings[0], id=name, place=place)


def test_a_place_on_the_axis_is_seen_in_both_pictures_of_it() -> None:
    marks = locate(Place("on_axis", (300.0, 3000.0)), EXHIBITS, "f")
    assert [(m.exhibit, m.panel) for m in marks] == [("response-set", "levels"), ("on-axis", "levels")]
    assert {(m.from_hz, m.to_hz, m.finding) for m in marks} == {(300.0, 3000.0, "f")}


def test_a_place_on_a_map_is_seen_on_its_own_orbit() -> None:
    marks = locate(Place("coverage_vertical", (1000.0, 4000.0)), EXHIBITS)
    assert [m.exhibit for m in marks] == ["coverage-vertical"]


def test_a_narrow_band_is_widened_about_its_centre() -> None:
    mark = locate(Place("on_axis", (820.0, 820.0)), EXHIBITS)[0]
    assert mark.to_hz / mark.from_hz == pytest.approx(2 ** (1 / 6))
    assert mark.to_hz * mark.from_hz == pytest.approx(820.0**2)


def test_nothing_is_marked_where_nothing_is_drawn() -> None:
    assert locate(Place("on_axis", (20.0, 40.0)), EXHIBITS) == ()
    assert locate(Place("rear_reflection", (100.0, 1000.0)), EXHIBITS) == ()


def test_a_mark_ends_where_the_axis_does() -> None:
    mark = locate(Place("on_axis", (10_000.0, 40_000.0)), EXHIBITS)[0]
    assert mark.to_hz == 20_000.0


@given(
    st.lists(
        st.tuples(st.sampled_from(CURVES), st.floats(20.0, 20_000.0), st.floats(0.0, 6.0)),
        min_size=1,
        max_size=6,
    ),
    st.floats(20.0, 20_000.0),
)
def test_from_place_to_picture_and_back(places: list[tuple[str, float, float]], frequency_hz: float) -> None:
    told = [
        finding(Place(curve, (low, low * 2**octaves)), f"f{i}")
        for i, (curve, low, octaves) in enumerate(places)
    ]
    for exhibit in EXHIBITS:
        for panel in exhibit.panels:
            there = findings_at(exhibit, panel.id, frequency_hz, told)
            marked = {
                mark.finding
                for one in told
                if one.place is not None
                for mark in locate(one.place, EXHIBITS, one.id)
                if (mark.exhibit, mark.panel) == (exhibit.id, panel.id)
                and mark.from_hz <= frequency_hz <= mark.to_hz
            }
            assert set(there) == marked


def test_the_middle_of_every_mark_leads_back_to_its_finding() -> None:
    told = findings().findings
    for one in told:
        assert one.place is not None
        for mark in locate(one.place, EXHIBITS, one.id):
            exhibit = next(e for e in EXHIBITS if e.id == mark.exhibit)
            assert one.id in findings_at(exhibit, mark.panel, (mark.from_hz * mark.to_hz) ** 0.5, told)


def test_a_finding_without_a_place_is_nowhere() -> None:
    assert findings_at(EXHIBITS[0], "levels", 1000.0, [finding(None)]) == ()
