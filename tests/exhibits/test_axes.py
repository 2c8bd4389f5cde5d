from __future__ import annotations

import numpy as np

from earwitness.exhibits.axes import about_zero, frequency_axis, hanging, level_axis


def test_the_frequency_axis_is_that_of_every_picture() -> None:
    axis = frequency_axis()
    assert (axis.minimum, axis.maximum, axis.logarithmic) == (20.0, 20_000.0, True)
    assert " ".join(text for _, text in axis.ticks) == "20 50 100 200 500 1k 2k 5k 10k 20k"


def test_a_level_axis_has_a_tick_every_5_decibels_and_a_true_minus() -> None:
    assert [text for _, text in level_axis("level", -5.0, 10.0).ticks] == ["−5", "0", "5", "10"]


def limits(level: list[float], least_db: float, most_db: float) -> tuple[float, float]:
    axis = hanging("level", [np.array(level)], least_db, most_db)
    return axis.minimum, axis.maximum


def test_an_axis_hangs_from_the_highest_level() -> None:
    assert limits([np.nan, 85.9, 86.0], 40.0, 50.0) == (50.0, 90.0)
    assert limits([46.0, 86.0], 40.0, 50.0) == (45.0, 90.0)
    assert limits([12.0, 86.0], 40.0, 50.0) == (40.0, 90.0)
    assert limits([60.0, 87.1], 25.0, 30.0) == (65.0, 95.0)


def test_an_index_axis_holds_zero_and_every_level() -> None:
    axis = about_zero("index", [np.array([0.2, 7.6])], 10.0, 20.0)
    assert (axis.minimum, axis.maximum) == (-5.0, 10.0)
    axis = about_zero("index", [np.array([-6.0, 31.0])], 10.0, 20.0)
    assert (axis.minimum, axis.maximum) == (-10.0, 20.0)
