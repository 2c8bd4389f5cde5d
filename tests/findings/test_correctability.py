"""For whom an equaliser mends: the smaller plane decides, and what isn't sure isn't told."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.findings.correctability import correctable, judged, mends
from earwitness.records.correctability import Correctability, Deviation, Mends

HZ = np.array([500.0, 1000.0, 2000.0, 4000.0])


def plane(parts: list[float], uncertainty: float = 0.02, size_db: float = 2.0) -> Deviation:
    part = np.array(parts)
    return Deviation(part * size_db**2, (1.0 - part) * size_db**2, np.full(part.size, uncertainty))


def told(
    horizontal: Deviation, vertical: Deviation, window: Deviation, valid: list[bool] | None = None
) -> Correctability:
    return Correctability(HZ, np.array(valid or [True] * 4), horizontal, vertical, window)


def test_the_smaller_plane_decides() -> None:
    # A limit of 3/4: at 500 Hz both planes, at 1 kHz the window alone, at 2 kHz nothing, at 4 kHz one plane.
    found = mends(
        told(plane([0.95, 0.95, 0.1, 0.3]), plane([0.90, 0.20, 0.2, 0.99]), plane([0.9, 0.95, 0.4, 0.2]))
    )
    assert found == (Mends.EVERY_SEAT, Mends.ONE_SEAT, Mends.NOWHERE, Mends.NOWHERE)


def test_what_is_small_or_not_valid_needs_no_mending() -> None:
    small = plane([0.9] * 4, size_db=0.49)
    assert mends(told(small, small, small)) == (None,) * 4
    one = plane([0.9] * 4)
    assert mends(told(one, one, one, [True, False, True, False])) == (
        Mends.EVERY_SEAT,
        None,
        Mends.EVERY_SEAT,
        None,
    )


@pytest.mark.parametrize(
    ("part", "part_u", "window", "window_u", "expected"),
    [
        (0.80, 0.04, 0.1, 0.0, Mends.EVERY_SEAT),
        (0.80, 0.06, 0.9, 0.0, Mends.CANNOT_TELL),
        (0.70, 0.04, 0.8, 0.04, Mends.ONE_SEAT),
        (0.70, 0.04, 0.8, 0.06, Mends.CANNOT_TELL),
        (0.70, 0.04, 0.7, 0.04, Mends.NOWHERE),
        (float("nan"), 0.0, 0.7, 0.0, Mends.CANNOT_TELL),
    ],
)
def test_what_is_not_sure_is_not_told(
    part: float, part_u: float, window: float, window_u: float, expected: Mends
) -> None:
    assert judged(part, part_u, window, window_u, 1.0) is expected


def test_where_nothing_stands_out_straight_ahead_an_equaliser_would_spoil_it() -> None:
    every, ahead = plane([0.95] * 4), plane([0.95] * 4, size_db=0.4)
    assert mends(told(every, every, ahead)) == (Mends.NOWHERE,) * 4
    one = correctable(told(every, every, ahead), (900.0, 1100.0))
    assert one is not None
    assert one.mends is Mends.NOWHERE
    assert "next to nothing stands out" in str(one.reason)


def test_a_feature_is_told_with_its_numbers() -> None:
    one = correctable(
        told(plane([0.95] * 4), plane([0.9, 0.2, 0.1, 0.9]), plane([0.9, 0.95, 0.85, 0.9])),
        (900.0, 2100.0),
        here="feature:1/correctable",
    )
    assert one is not None
    assert one.mends is Mends.ONE_SEAT
    # Squares add before they are divided: (0.2 + 0.1)/2.
    assert one.part == pytest.approx(0.15)
    assert one.window_part == pytest.approx(0.9)
    text = str(one.reason)
    assert "in the vertical plane" in text
    assert "15 % ± 2 %" in text
    named = {n.reference: n.value for n in one.reason.numbers}
    assert named["feature:1/correctable/part"] == one.part
    assert named["feature:1/correctable/window_uncertainty"] == one.window_uncertainty


def test_a_narrow_band_takes_the_nearest_point_and_what_is_not_valid_is_refused() -> None:
    one = plane([0.95, 0.95, 0.1, 0.95])
    narrow = correctable(told(one, one, one), (1900.0, 1950.0))
    assert narrow is not None
    assert narrow.mends is Mends.NOWHERE
    assert correctable(told(one, one, one, [True, True, False, True]), (1900.0, 1950.0)) is None
