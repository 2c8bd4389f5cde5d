"""Statements on figures: what they say, where they point, and when they keep silent."""

from __future__ import annotations

from dataclasses import replace

import pytest
import specimen

from earwitness.findings.find import find
from earwitness.findings.statements import IMPORTANCE, statements
from earwitness.records.curves import CurveName
from earwitness.records.figures import Bound, FigureName, Quantity
from earwitness.records.findings import Finding


def by_id() -> dict[str, Finding]:
    figures = specimen.results().figures
    return {f.id: f for f in find(specimen.curve_set(), figures, specimen.facts())}


def test_each_available_figure_that_has_something_to_say_is_said_once() -> None:
    expected = {f"figure-{name}" for name in IMPORTANCE} - {
        "figure-sound_power_sampling",
        "figure-orbit_agreement",
        # of a case with several drives on axis: `test_distortion_statements`
        "figure-distortion_1",
        "figure-clean_output",
    }
    assert set(by_id()) == expected | {"claim-0"}


def test_the_order_is_that_of_importance() -> None:
    found = find(specimen.curve_set(), specimen.results().figures, specimen.facts())
    assert [f.importance for f in found] == sorted((f.importance for f in found), reverse=True)
    assert found[0].id == "figure-tolerance_on_axis"


def test_a_half_empty_case_says_nothing_of_what_is_not_available() -> None:
    figures = specimen.results(half_empty=True).figures
    found = {f.id for f in find(specimen.curve_set(555.0), figures, replace(specimen.facts(), claims=()))}
    assert "figure-f6" not in found
    assert "figure-coverage_vertical" not in found
    assert "figure-sensitivity" in found


def test_the_bass_statement_points_at_its_corner() -> None:
    place = by_id()["figure-f6"].place
    assert place is not None
    assert place.curve == CurveName.ON_AXIS
    assert place.band_hz[0] < 47.0 < place.band_hz[1]
    assert place.level_db == pytest.approx(
        specimen.curve_set().curves[CurveName.ON_AXIS].level_db[118], abs=0.5
    )


def test_the_tilt_says_falls_and_keeps_the_signed_value() -> None:
    statement = by_id()["figure-in_room_tilt"].statement
    assert str(statement) == "In a room its sound is estimated to fall by 0.95 ± 0.05 dB an octave."
    assert statement.numbers[0].value == -0.95


def test_two_estimates_of_sound_power_are_spoken_of_only_where_they_part() -> None:
    figures = {f.name: f for f in specimen.results().figures}
    for difference, speaks in ((0.4, False), (1.2, True)):
        warning = replace(
            figures[FigureName.SENSITIVITY],
            name=FigureName.SOUND_POWER_SAMPLING,
            value=Quantity(difference),
            also={"frequency": 2000.0},
        )
        found = statements(specimen.curve_set(), {FigureName.SOUND_POWER_SAMPLING: warning})
        assert bool(found) is speaks
        for finding in found:
            assert str(finding.statement) == "Two estimates of its sound power part by 1.2 dB at 2 kHz."
            assert finding.place is not None
            assert finding.place.band_hz[0] < 2000.0 < finding.place.band_hz[1]


def test_orbits_that_disagree_are_spoken_of() -> None:
    given = {f.name: f for f in specimen.results().figures}[FigureName.SENSITIVITY]
    for difference, speaks in ((0.9, False), (3.2, True)):
        figure = replace(
            given, name=FigureName.ORBIT_AGREEMENT, value=Quantity(difference), also={"frequency": 500.0}
        )
        found = statements(specimen.curve_set(), {FigureName.ORBIT_AGREEMENT: figure})
        said = [str(finding.statement) for finding in found]
        assert said == (["The two orbits disagree on axis by 3.2 dB at 500 Hz."] if speaks else [])


def test_a_response_that_hasnt_fallen_says_where_it_still_is() -> None:
    given = {f.name: f for f in specimen.results().figures}[FigureName.F6]
    figure = replace(given, value=Bound(20.1, "at most"))
    (found,) = statements(specimen.curve_set(), {FigureName.F6: figure})
    assert str(found.statement) == "Bass is still there at 20.1 Hz, the lowest frequency that is valid."


def test_bass_whose_end_is_lost_in_its_uncertainty_is_not_determined() -> None:
    given = {f.name: f for f in specimen.results().figures}
    lost = {name: replace(given[name], uncertainty=60.0) for name in (FigureName.F6, FigureName.F10)}
    (found,) = statements(specimen.curve_set(), lost)
    assert str(found.statement) == (
        "How far down bass reaches is not determined within ± 60 Hz; it reads 50 Hz."
    )
    assert "F10 is not determined within ± 60 Hz; it reads 40 Hz." in str(found.explanation)
