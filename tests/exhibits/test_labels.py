from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.exhibits.labels import room_for, spread

POSITIONS = st.lists(st.floats(-200.0, 400.0), max_size=12)


@given(POSITIONS, st.floats(0.0, 30.0))
def test_labels_never_overlap_and_keep_their_order(wanted: list[float], gap: float) -> None:
    placed = spread(wanted, gap, 0.0, 1000.0)
    order = np.argsort(wanted, kind="stable")
    assert np.all(np.diff(placed[order]) >= gap - 1e-9)


@given(POSITIONS, st.floats(1.0, 30.0), st.floats(50.0, 400.0))
def test_labels_stay_in_range_where_they_fit(wanted: list[float], gap: float, high: float) -> None:
    placed = spread(wanted, gap, 0.0, high)
    if 0 < len(wanted) <= room_for(gap, 0.0, high):
        assert placed.min() >= -1e-9
        assert placed.max() <= high + 1e-6


@given(st.lists(st.floats(100.0, 900.0), min_size=1, max_size=6), st.floats(1.0, 30.0), st.data())
def test_no_other_arrangement_moves_less(wanted: list[float], gap: float, data: st.DataObject) -> None:
    placed = spread(wanted, gap, -1e4, 1e4)
    order = np.argsort(wanted, kind="stable")
    nudges = data.draw(st.lists(st.floats(-20, 20), min_size=len(wanted), max_size=len(wanted)))
    other = placed[order] + np.array(nudges)
    other = np.maximum.accumulate(other - gap * np.arange(other.size)) + gap * np.arange(other.size)
    moved = np.sum((placed - np.array(wanted)) ** 2)
    assert moved <= np.sum((other - np.array(wanted)[order]) ** 2) + 1e-6


def test_labels_that_dont_collide_dont_move() -> None:
    assert spread([10.0, 80.0, 40.0], 14.0, 0.0, 100.0) == pytest.approx([10.0, 80.0, 40.0])


def test_two_that_collide_part_evenly() -> None:
    assert spread([50.0, 54.0], 14.0, 0.0, 100.0) == pytest.approx([45.0, 59.0])


def test_nothing_is_placed_for_nothing() -> None:
    assert spread([], 14.0, 0.0, 100.0).shape == (0,)


def test_room() -> None:
    assert room_for(14.0, 0.0, 100.0) == 8
    assert room_for(14.0, 0.0, 98.0) == 8
    assert room_for(14.0, 0.0, 97.9) == 7
    assert room_for(14.0, 1.0, 0.0) == 0
