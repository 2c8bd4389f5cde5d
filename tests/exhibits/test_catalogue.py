from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from specimen import curve_set, facts, results

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit
from earwitness.findings.references import Referent
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.sentences import Words


def without(curves: CurveSet, *names: CurveName) -> CurveSet:
    """The set with some curves not available."""
    gone = {
        name: replace(
            curves.curves[name],
            level_db=np.full_like(curves.frequency_hz, np.nan),
            valid=np.zeros(curves.frequency_hz.size, dtype=bool),
        )
        for name in names
    }
    return replace(curves, curves={**curves.curves, **gone})


def sentences(exhibit: Exhibit) -> list[object]:
    return [*exhibit.caption.parts, *exhibit.conditions.parts, *exhibit.alt.parts]


def test_a_whole_case_has_six_exhibits_in_order() -> None:
    shown = describe(curve_set())
    assert [(e.letter, e.id) for e in shown] == [
        ("A", "response-set"),
        ("B", "on-axis"),
        ("C", "in-room"),
        ("D", "coverage-horizontal"),
        ("E", "coverage-vertical"),
        ("F", "budget"),
    ]
    assert [panel.id for panel in shown[0].panels] == ["levels", "indices"]


def test_what_isnt_available_isnt_drawn_and_letters_close_up() -> None:
    bare = without(curve_set(), *(name for name in CurveName if name is not CurveName.ON_AXIS))
    shown = describe(replace(bare, coverage={}))
    assert [(e.letter, e.id) for e in shown] == [
        ("A", "response-set"),
        ("B", "on-axis"),
        ("C", "budget"),
    ]
    assert [panel.curves for exhibit in shown[:2] for panel in exhibit.panels] == [("on_axis",), ("on_axis",)]
    assert shown[1].title == "On axis"


def test_a_case_without_anything_valid_has_no_exhibits() -> None:
    nothing = without(curve_set(), *CurveName)
    maps = {k: replace(m, valid=np.zeros_like(m.valid)) for k, m in nothing.coverage.items()}
    assert describe(replace(nothing, coverage=maps)) == ()


def test_no_line_reaches_out_of_its_valid_band() -> None:
    curves = curve_set(valid_from_hz=300.0)
    for exhibit in describe(curves):
        for panel in exhibit.panels:
            for line in panel.lines:
                assert (
                    line.x[np.isfinite(line.y)].min() >= 100.0
                    if line.label in {"trend", "residual"}
                    else 300.0
                )


def test_invalid_points_are_gaps_even_if_they_hold_numbers() -> None:
    curves = curve_set()
    on_axis = curves.curves[CurveName.ON_AXIS]
    holed = replace(on_axis, valid=on_axis.valid & (abs(np.log2(curves.frequency_hz / 1000.0)) > 0.5))
    shown = describe(replace(curves, curves={**curves.curves, CurveName.ON_AXIS: holed}))
    line = shown[0].panels[0].lines[0]
    assert np.array_equal(np.isfinite(line.y), holed.valid)


@pytest.mark.parametrize("valid_from_hz", [20.0, 31.0, 555.0])
def test_every_number_is_what_its_reference_names(valid_from_hz: float) -> None:
    curves = curve_set(valid_from_hz)
    referent = Referent(facts(), results().figures, curves)
    shown = describe(curves)
    numbers = [n for e in shown for s in (e.caption, e.conditions, e.alt) for n in s.numbers]
    assert len(numbers) > 20
    for number in numbers:
        assert referent.resolve(number.reference) == pytest.approx(number.value, rel=1e-9), number


def test_numbers_are_printed_as_their_values() -> None:
    alt = str(describe(curve_set())[0].alt)
    # 86 dB and a second-order high-pass at 60 Hz, Q 0.7: |H(100 Hz)| = −0.58 dB (closed form).
    assert "on axis: 85.4 dB at 100 Hz, 86.0 dB at 1 kHz" in alt
    assert str(describe(curve_set(31.0))[0].conditions) == (
        "dB re 20 µPa at 1 m for 2.83 V · 25 dB to the decade · valid from 31 Hz"
    )


def test_titles_hold_no_digits_and_every_picture_has_its_words() -> None:
    for exhibit in describe(curve_set()):
        assert not any(c.isdigit() for c in exhibit.title)
        assert str(exhibit.alt).endswith(".")
        assert str(exhibit.caption)
        assert any(isinstance(part, Words) for part in sentences(exhibit))
