from __future__ import annotations

import numpy as np
import pytest
from specimen import curve_set

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Role
from earwitness.exhibits.line_ends import LineEnd, line_ends, that_fit

RESPONSES, ON_AXIS, IN_ROOM, HORIZONTAL, *_ = describe(curve_set())


def test_each_line_has_its_name_where_it_ends() -> None:
    ends = line_ends(RESPONSES.panels[0])
    assert [end.text for end in ends] == ["on axis", "listening window", "early reflections", "sound power"]
    for end, line in zip(ends, RESPONSES.panels[0].lines, strict=True):
        assert end.y == pytest.approx(line.y[-1])


def test_a_line_that_stops_early_is_named_at_its_last_point() -> None:
    residual = line_ends(IN_ROOM.panels[1])[0]
    drawn = IN_ROOM.panels[1].lines[0]
    assert residual.y == pytest.approx(drawn.y[drawn.x <= 16_000.0][-1])


def test_levels_are_named_on_both_sides_where_they_are_first_met() -> None:
    ends = line_ends(HORIZONTAL.panels[0])
    heavy = [end.y for end in ends if end.text == "−6 dB"]
    # At the last point of the grid the specimen's −6 dB line stands at 90 − 9.6 log2(f/300) degrees.
    half = 90.0 - 9.6 * np.log2(HORIZONTAL.panels[0].level_map.x[-1] / 300.0)  # type: ignore[union-attr]
    assert heavy == pytest.approx([half, -half], abs=0.5)
    assert [end.y for end in ends] == sorted((end.y for end in ends), reverse=True)
    assert len(ends) == 12


def test_where_names_dont_fit_the_heavy_level_stays() -> None:
    ends = line_ends(HORIZONTAL.panels[0])
    kept = that_fit(ends, gap=14.0, height=80.0)
    assert len(kept) == 6
    assert {"−6 dB", "−12 dB"} <= {end.text for end in kept}
    assert that_fit(ends, gap=14.0, height=15.0) == tuple(end for end in ends if end.text == "−6 dB")


def test_names_keep_their_order() -> None:
    ends = tuple(LineEnd(str(i), "", float(i), Role.QUIET, rank) for i, rank in enumerate((3, 0, 2, 1)))
    assert [end.text for end in that_fit(ends, 10.0, 25.0)] == ["1", "2", "3"]
