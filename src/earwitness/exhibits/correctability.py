"""A strip under a response: where an equaliser mends every seat, one seat, or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Axis, Line, Panel, Role
from earwitness.exhibits.wording import joined
from earwitness.findings.correctability import PER_CENT, mends, smaller
from earwitness.records.correctability import Correctability, Mends
from earwitness.records.sentences import Sentence, say

#: Rows from top to bottom, each with what it is called, shorter too.
ROWS: Final[Mapping[Mends, tuple[Role, str, str]]] = {
    Mends.EVERY_SEAT: (Role.MENDS_EVERY, "every seat", "all seats"),
    Mends.ONE_SEAT: (Role.MENDS_ONE, "one seat", "one seat"),
    Mends.NOWHERE: (Role.MENDS_NOTHING, "nowhere", "nowhere"),
    Mends.CANNOT_TELL: (Role.QUIET, "can't tell", "can't tell"),
}
HEIGHT: Final = 0.15
#: Half of the step between two points, octaves.
HALF_STEP: Final = 1.0 / 24.0
#: Stretches told in words are no shorter than so many points.
LEAST_POINTS: Final = 2


@dataclass(frozen=True, slots=True)
class Stretch:
    """Points from `first` to `last` of one kind."""

    kind: Mends
    first: int
    last: int


def strip(told: Correctability) -> Panel | None:
    """One row a kind, a bar where it holds; None where nothing needs mending anywhere.

    A pointer reads how much of the deviation's square an equaliser takes away: of the smaller plane, or
    within the listening window where it mends one seat.
    """
    kinds = mends(told)
    shown = [kind for kind in ROWS if kind in kinds]
    if not shown:
        return None
    edges = np.repeat(told.frequency_hz, 2) * np.tile(2.0 ** np.array([-HALF_STEP, HALF_STEP]), len(kinds))
    everywhere, _ = smaller(told)
    lines = []
    for row, kind in enumerate(ROWS):
        if kind not in shown:
            continue
        role, name, short = ROWS[kind]
        here = np.repeat([one is kind for one in kinds], 2)
        part = told.window.part if kind is Mends.ONE_SEAT else everywhere
        lines.append(
            Line(
                curve="correctable",
                label=name.replace("'", "’"),
                role=role,
                x=edges,
                y=np.where(here, float(len(ROWS) - row), np.nan),
                short=short.replace("'", "’"),
                reads=np.where(here, PER_CENT * np.repeat(part, 2), np.nan),
            )
        )
    axis = Axis("what an equaliser takes away", "%", 0.5, len(ROWS) + 0.5, (), decimals=0)
    return Panel("equaliser", frequency_axis(), axis, tuple(lines), height_per_width=HEIGHT)


def strip_words(told: Correctability) -> Sentence:
    """What the strip shows, in words: ``An equaliser mends: every seat 200 Hz to 1 kHz; …``."""
    said = []
    for kind, (_, name, _) in ROWS.items():
        found = [
            say(
                frequency(float(told.frequency_hz[one.first]), f"correctable:frequency_hz/{one.first}", 2),
                " to ",
                frequency(float(told.frequency_hz[one.last]), f"correctable:frequency_hz/{one.last}", 2),
            )
            for one in stretches(told)
            if one.kind is kind and one.last - one.first + 1 >= LEAST_POINTS
        ]
        if found:
            said.append(say(f"{name} ", joined(found, ", ")))
    return say(" An equaliser mends: ", joined(said, "; "), ".") if said else say()


def stretches(told: Correctability) -> tuple[Stretch, ...]:
    """The stretches of one kind each, from the lowest frequency up."""
    found: list[Stretch] = []
    for i, kind in enumerate(mends(told)):
        if kind is None:
            continue
        if found and found[-1].kind is kind and found[-1].last == i - 1:
            found[-1] = Stretch(kind, found[-1].first, i)
        else:
            found.append(Stretch(kind, i, i))
    return tuple(found)
