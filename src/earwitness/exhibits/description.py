"""What a picture shows, without any plotting library.

A family of exhibits describes each picture once; renderers draw the same description interactively and for
print. Colours are symbolic (`Role`); the palette alone knows values.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import chain, islice, product
from string import ascii_uppercase

from earwitness.records.grid import Floats
from earwitness.records.sentences import Sentence


class Role(StrEnum):
    """What a line is, which decides its colour, weight and dash.

    The first four are the ladder of directness: the darker and heavier, the nearer to the direct sound.
    Drives are of one hue in five weights, the heaviest the highest. `BELOW`: what lies below it noise hides.
    """

    ON_AXIS = "on axis"
    LISTENING_WINDOW = "listening window"
    EARLY_REFLECTIONS = "early reflections"
    SOUND_POWER = "sound power"
    IN_ROOM = "in-room"
    TREND = "trend"
    QUIET = "quiet"
    DRIVE_1 = "first drive"
    DRIVE_2 = "second drive"
    DRIVE_3 = "third drive"
    DRIVE_4 = "fourth drive"
    DRIVE_5 = "fifth drive"
    BELOW = "below"
    MENDS_EVERY = "mends every seat"
    MENDS_ONE = "mends one seat"
    MENDS_NOTHING = "mends nothing"


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis. `ticks` are (value, text); a logarithmic axis has its limits in its own unit (Hz).

    A value on it is read out to so many `decimals`, a frequency to three digits, any other one on a
    logarithmic axis to two.
    """

    label: str
    unit: str
    minimum: float
    maximum: float
    ticks: tuple[tuple[float, str], ...]
    logarithmic: bool = False
    decimals: int = 1

    @property
    def heading(self) -> str:
        """What it shows and in which unit, where it has one."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


@dataclass(frozen=True)
class Line:
    """One curve of a picture; NaN where it isn't valid, and nothing is drawn there.

    `curve` is the name by which a finding's place refers to it, `label` the name at the line's end,
    `short` a shorter one for narrow screens; `uncertainty` is one standard uncertainty of `y`, drawn as a
    pale band of the line's own colour. A line that isn't `at_end` has no name there; one with `name_at` has
    it at the height that it has at that place along the x axis, or nearest to it. A line without a label is
    a sign on another one, and isn't read out. One that `reads` shows a pointer those values, in the unit of
    the y axis, in place of its heights.
    """

    curve: str
    label: str
    role: Role
    x: Floats
    y: Floats
    uncertainty: Floats | None = None
    short: str = ""
    at_end: bool = True
    name_at: float | None = None
    reads: Floats | None = None


@dataclass(frozen=True)
class LevelMap:
    """Level over frequency (x, shape (F,)) and angle or time (y, shape (A,)); z (A, F), NaN where not valid.

    `levels` are the labelled level lines in dB, ascending; `heavy` the one drawn heavy.
    """

    curve: str
    x: Floats
    y: Floats
    z: Floats
    levels: tuple[float, ...]
    heavy: float


@dataclass(frozen=True)
class Panel:
    """One set of axes.

    `db_per_decade` fixes the proportion of IEC 60263 (None where the ordinate isn't level over frequency);
    without it `height_per_width` does, or else that of a map.
    """

    id: str
    x_axis: Axis
    y_axis: Axis
    lines: tuple[Line, ...] = ()
    level_map: LevelMap | None = None
    db_per_decade: float | None = None
    height_per_width: float | None = None

    @property
    def curves(self) -> tuple[str, ...]:
        """The names of the curves that it shows."""
        shown = tuple(line.curve for line in self.lines)
        return (*shown, self.level_map.curve) if self.level_map else shown


@dataclass(frozen=True)
class Exhibit:
    """One picture: panels from top to bottom, with title, caption, conditions under it, and alt text."""

    id: str
    letter: str
    title: str
    caption: Sentence
    conditions: Sentence
    alt: Sentence
    panels: tuple[Panel, ...] = field(default_factory=tuple)


def lettered(exhibits: Iterable[Exhibit], after: int = 0) -> tuple[Exhibit, ...]:
    """Exhibits with the letters that come after so many: A to Z, then AA, AB and so on."""
    letters = chain(ascii_uppercase, map("".join, product(ascii_uppercase, repeat=2)))
    return tuple(
        replace(one, letter=letter)
        for one, letter in zip(exhibits, islice(letters, after, None), strict=False)
    )


@dataclass(frozen=True, slots=True)
class Mark:
    """A marked place in a picture: a band of frequencies in one panel, numbered as its statement is."""

    exhibit: str
    panel: str
    from_hz: float
    to_hz: float
    finding: str
