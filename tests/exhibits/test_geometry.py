from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from specimen import curve_set

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.geometry import MAP_HEIGHT, Margins, frame, height_per_width

MARGINS = Margins(left=30.0, right=110.0, top=20.0, bottom=30.0, gap=25.0)
EXHIBITS = describe(curve_set())


def test_three_decades_over_fifty_decibels_are_three_to_two() -> None:
    # IEC 60263 (1982): a decade is as long as 25 dB, so 3 decades over 50 dB give 1.5 : 1 (recalled).
    panel = EXHIBITS[0].panels[0]
    axis = replace(panel.y_axis, minimum=40.0, maximum=90.0)
    assert 1 / height_per_width(replace(panel, y_axis=axis)) == pytest.approx(1.5)


@given(st.floats(250.0, 3000.0))
def test_a_decade_is_as_long_as_25_decibels_at_any_width(width: float) -> None:
    for exhibit in EXHIBITS:
        placed = frame(exhibit, width, MARGINS)
        for panel, box in zip(exhibit.panels, placed.boxes, strict=True):
            if panel.height_per_width is not None:
                assert box.height == pytest.approx(panel.height_per_width * box.width)
            elif panel.level_map is None:
                decade = box.width / 3
                decibel = box.height / (panel.y_axis.maximum - panel.y_axis.minimum)
                assert decade / decibel == pytest.approx(25.0)
            else:
                assert box.height == pytest.approx(MAP_HEIGHT * box.width)


def test_panels_stand_below_each_other_and_fill_the_frame() -> None:
    placed = frame(EXHIBITS[0], 640.0, MARGINS)
    first, second = placed.boxes
    assert (first.left, first.top, first.width) == (30.0, 20.0, 500.0)
    assert second.top == pytest.approx(first.top + first.height + 25.0)
    assert placed.height == pytest.approx(second.top + second.height + 30.0)
