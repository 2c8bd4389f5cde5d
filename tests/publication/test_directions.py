"""Many directions in few words: nothing is lost, and little is said."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.publication.directions import directions
from earwitness.records.takes import Direction, Orbit


def labels(orbit: Orbit, angles: list[float]) -> list[str]:
    return [Direction(orbit, angle).label for angle in angles]


def told(text: str) -> set[tuple[str, float]]:
    """The directions that the words name."""
    found = set()
    for part in text.split("; "):
        orbit, _, rest = part.partition(" ")
        if orbit not in set(Orbit):
            found.add((part, 0.0))
            continue
        for piece in re.split(r", | and ", rest):
            numbers = [float(n.replace("−", "-")) for n in re.findall(r"[+−]?[\d.]+(?=°)", piece)]
            low, high, step = numbers if len(numbers) == 3 else (numbers[0], numbers[0], 1.0)
            found |= {(orbit, round(float(a), 6)) for a in np.arange(low, high + step / 2, step)}
    return found


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        ([-10.0, 10.0], "vertical −10° and +10°"),
        ([10.0 * k for k in range(-17, 0)], "vertical −170° to −10° in steps of 10°"),
        ([-40.0, -30.0, -20.0, -10.0, 10.0], "vertical −40° to −10° in steps of 10° and +10°"),
        ([2.5, 5.0, 7.5, 10.0, 12.5], "vertical +2.5° to +12.5° in steps of 2.5°"),
    ],
)
def test_runs_are_told_as_runs(angles: list[float], words: str) -> None:
    assert str(directions(labels(Orbit.VERTICAL, angles))) == words


def test_where_the_orbits_meet_comes_first() -> None:
    found = directions(["horizontal +30°", "behind", "vertical −30°"])
    assert str(found) == "behind; horizontal +30°; vertical −30°"


@given(
    st.sets(st.integers(-35, 36).filter(lambda k: k not in (0, 36)), max_size=71),
    st.sets(st.integers(-179, 179).filter(bool), max_size=40),
)
def test_every_direction_is_named_and_no_other(fives: set[int], ones: set[int]) -> None:
    across, upward = [5.0 * k for k in sorted(fives)], [float(a) for a in sorted(ones)]
    if not (across or upward):
        return
    found = told(str(directions(labels(Orbit.HORIZONTAL, across) + labels(Orbit.VERTICAL, upward))))
    assert found == {("horizontal", a) for a in across} | {("vertical", a) for a in upward}
