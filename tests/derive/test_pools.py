"""Repeats that disagree are not averaged: one of them counts, and all tell how well a take repeats."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import pytest

from earwitness.derive.directivity import directivity, take_powers
from earwitness.derive.pools import counting, disagreement_db
from earwitness.derive.repeats import repeatability
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Orbit

AXIS = Direction(Orbit.HORIZONTAL, 0.0)


def flat(*levels: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.outer(levels, np.ones(4))


def test_disagreement_of_the_worked_number() -> None:
    assert disagreement_db(flat(80.0, 82.0)) == pytest.approx(np.sqrt(2.0))
    assert disagreement_db(flat(80.0)) == 0.0
    assert disagreement_db(np.full((2, 4), np.nan)) == 0.0


@pytest.mark.parametrize(
    ("levels", "rows"),
    [
        ((80.0, 82.0), [0, 1]),
        ((80.0, 84.0), [0]),
        ((80.0, 84.0, 83.0), [2]),
        ((80.0, 80.1, 80.2), [0, 1, 2]),
    ],
)
def test_one_of_a_pool_that_disagrees_counts(levels: tuple[float, ...], rows: list[int]) -> None:
    assert counting(range(len(levels)), flat(*levels)) == rows


def with_repeat(db: float) -> Responses:
    """A cardioid's takes, and that on axis once more, so much louder."""
    made = closed_forms.responses(closed_forms.cardioid)
    first = [t.key.direction for t in made.takes].index(AXIS)
    again = replace(made.takes[first], path="again.wav", key=replace(made.takes[first].key, repeat=2))
    rows = [*range(len(made.takes)), first]
    pressure = np.array(made.pressure)[rows]
    pressure[-1] *= 10.0 ** (db / 20.0)
    return replace(
        made,
        takes=(*made.takes, again),
        pressure=pressure,
        valid=np.asarray(made.valid)[rows],
        origin=np.asarray(made.origin)[rows],
        has_phase=np.asarray(made.has_phase)[rows],
        seen_angle_deg=np.asarray(made.seen_angle_deg)[rows],
        components={name: np.asarray(part)[rows] for name, part in made.components.items()},
        near_field_takes=tuple(made.near_field_takes[i] for i in rows),
    )


def test_the_level_is_that_of_one_take_and_the_scatter_stays() -> None:
    """4 dB apart: the mean of power would read 1.8 dB more; a take repeats by 4/√2 dB."""
    alone = take_powers(closed_forms.responses(closed_forms.cardioid))
    pool = take_powers(with_repeat(4.0))
    row = directivity(alone).rows((AXIS,))[0]
    expected, found = directivity(alone).power[row], directivity(pool).power[row]
    assert np.nanmax(np.abs(10.0 * np.log10(found / expected))) < 1e-6
    assert TAKE not in directivity(pool).takes[row]
    told = repeatability(pool, None, np.zeros(pool.power.shape, dtype=bool), None)
    assert told is not None
    assert np.nanmedian(told.standard_db) == pytest.approx(4.0 / np.sqrt(2.0), abs=1e-3)


TAKE = "again.wav"


def test_repeats_that_agree_are_averaged() -> None:
    pool = take_powers(with_repeat(1.0))
    assert pool.counting(AXIS) == [i for i, t in enumerate(pool.takes) if t.key.direction == AXIS]
