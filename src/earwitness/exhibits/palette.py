"""Every colour, weight and dash, once: light and dark.

The ladder of directness runs from ink to sand, from heavy and solid to light and dotted: the nearer to the
direct sound, the stronger the line. One accent marks the place of a statement, and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from earwitness.exhibits.description import Role


class Mode(StrEnum):
    """Ink on paper, or light on dark."""

    LIGHT = "light"
    DARK = "dark"


@dataclass(frozen=True, slots=True)
class Tokens:
    """The colours of one mode, as ``#rrggbb``.

    `ramp` goes from the ground (far below the on-axis level) to ink (at it), one colour a step of a map.
    """

    ground: str
    raised: str
    text: str
    quiet: str
    rule: str
    grid: str
    accent: str
    roles: Mapping[Role, str]
    ramp: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stroke:
    """Weight in CSS pixels, and dash lengths in the same unit (empty for solid)."""

    weight: float
    dash: tuple[float, ...] = ()


STROKES: Final[Mapping[Role, Stroke]] = {
    Role.ON_AXIS: Stroke(2.3),
    Role.LISTENING_WINDOW: Stroke(1.9),
    Role.EARLY_REFLECTIONS: Stroke(1.7, (7.0, 3.0)),
    Role.SOUND_POWER: Stroke(1.6, (2.0, 3.0)),
    Role.IN_ROOM: Stroke(2.1),
    Role.TREND: Stroke(1.4, (9.0, 4.0)),
    Role.QUIET: Stroke(1.0),
    Role.DRIVE_1: Stroke(1.0),
    Role.DRIVE_2: Stroke(1.4),
    Role.DRIVE_3: Stroke(1.8),
    Role.DRIVE_4: Stroke(2.2),
    Role.DRIVE_5: Stroke(2.7),
    Role.BELOW: Stroke(1.1, (1.0, 3.0)),
    Role.MENDS_EVERY: Stroke(6.0),
    Role.MENDS_ONE: Stroke(6.0, (7.0, 2.0)),
    Role.MENDS_NOTHING: Stroke(6.0, (2.0, 2.0)),
}

#: How opaque an uncertainty band and the mark are on their ground.
BAND_OPACITY: Final = 0.16
MARK_OPACITY: Final = 0.15

TOKENS: Final[Mapping[Mode, Tokens]] = {
    Mode.LIGHT: Tokens(
        ground="#fbfaf7",
        raised="#ffffff",
        text="#1d2327",
        quiet="#5b6670",
        rule="#d9d5cc",
        grid="#e7e3da",
        accent="#b4431f",
        roles={
            Role.ON_AXIS: "#14213d",
            Role.LISTENING_WINDOW: "#2c5f8a",
            Role.EARLY_REFLECTIONS: "#1f7a73",
            Role.SOUND_POWER: "#8f6512",
            Role.IN_ROOM: "#14213d",
            Role.TREND: "#2c5f8a",
            Role.QUIET: "#5b6670",
            Role.DRIVE_1: "#3f719c",
            Role.DRIVE_2: "#2c5f8a",
            Role.DRIVE_3: "#1f4a74",
            Role.DRIVE_4: "#1a3860",
            Role.DRIVE_5: "#14213d",
            Role.BELOW: "#5b6670",
            Role.MENDS_EVERY: "#1b5e55",
            Role.MENDS_ONE: "#5f4b8b",
            Role.MENDS_NOTHING: "#7d5a10",
        },
        ramp=("#f3f1ea", "#dde2e3", "#c0ccd4", "#9fb3c3", "#7a96af", "#557799", "#35577f", "#1c365c"),
    ),
    Mode.DARK: Tokens(
        ground="#14171a",
        raised="#1a1e22",
        text="#e9e6df",
        quiet="#a3adb5",
        rule="#333a41",
        grid="#262c32",
        accent="#f08a5d",
        roles={
            Role.ON_AXIS: "#f4f1ea",
            Role.LISTENING_WINDOW: "#8fc1ea",
            Role.EARLY_REFLECTIONS: "#5fc9bd",
            Role.SOUND_POWER: "#e0b45c",
            Role.IN_ROOM: "#f4f1ea",
            Role.TREND: "#8fc1ea",
            Role.QUIET: "#a3adb5",
            Role.DRIVE_1: "#6f9fc8",
            Role.DRIVE_2: "#8fc1ea",
            Role.DRIVE_3: "#b0d3ef",
            Role.DRIVE_4: "#cfe4f5",
            Role.DRIVE_5: "#eaf4fb",
            Role.BELOW: "#a3adb5",
            Role.MENDS_EVERY: "#79d2c1",
            Role.MENDS_ONE: "#bdaef0",
            Role.MENDS_NOTHING: "#e3bd74",
        },
        ramp=("#1b2025", "#232d37", "#2d3e4d", "#3a5468", "#4f7089", "#6d91ac", "#9ab6cb", "#d3dfe6"),
    ),
}


def translucent(colour: str, opacity: float) -> str:
    """``rgba(…)`` of a ``#rrggbb`` colour."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"


def steps(tokens: Tokens, count: int) -> tuple[str, ...]:
    """`count` colours of the ramp (at most eight), spread evenly from its ground end to its ink end."""
    last = len(tokens.ramp) - 1
    if not 1 <= count <= len(tokens.ramp):
        raise ValueError(f"a map has 1 to {len(tokens.ramp)} steps, not {count}")
    if count == 1:
        return (tokens.ramp[0],)
    return tuple(tokens.ramp[round(i * last / (count - 1))] for i in range(count))
