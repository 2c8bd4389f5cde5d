from __future__ import annotations

from dataclasses import replace

import numpy as np
from specimen import curve_set

from earwitness.exhibits.in_room import in_room
from earwitness.records.curves import CurveName

CURVES = curve_set()


def test_trend_and_residual_add_up_to_the_estimate() -> None:
    exhibit = in_room(CURVES)
    assert exhibit is not None
    (estimate, trend), (residual,) = (panel.lines for panel in exhibit.panels)
    level = CURVES.curves[CurveName.ESTIMATED_IN_ROOM].level_db
    drawn = np.isfinite(trend.y)
    assert np.array_equal(drawn, (trend.x >= 100.0) & (trend.x <= 16_000.0))
    # The specimen's trend is 84 dB at 1 kHz and falls by 0.95 dB an octave.
    assert np.allclose(trend.y[drawn], 84.0 - 0.95 * np.log2(trend.x[drawn] / 1000.0), rtol=0, atol=1e-9)
    assert np.allclose((trend.y + residual.y)[drawn], level[drawn], rtol=0, atol=1e-9)
    assert np.array_equal(estimate.y, level)


def test_without_a_trend_the_estimate_stands_alone() -> None:
    bare = in_room(replace(CURVES, in_room_trend_db=None, in_room_residual_db=None))
    assert bare is not None
    assert [[line.label for line in panel.lines] for panel in bare.panels] == [["estimated in-room"]]
    assert "trend" not in str(bare.caption)
