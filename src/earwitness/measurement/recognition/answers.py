"""What recognition answers with: what is told, what isn't, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKind

Subject = Literal[
    "kind",
    "plane",
    "angle",
    "sign",
    "drive",
    "repeat",
    "radiator",
    "level",
    "stimulus",
    "channel",
    "distance",
]

_LONGEST_QUOTE: Final = 60


@dataclass(frozen=True, slots=True)
class Unclear:
    """One thing that can't be told, on one line without a full stop."""

    subject: Subject
    problem: str

    def __str__(self) -> str:
        return self.problem


def quoted(line: str) -> str:
    """A line of a file, short enough for a problem."""
    plain = " ".join(line.split())
    return f"{plain[: _LONGEST_QUOTE - 1]}…" if len(plain) > _LONGEST_QUOTE else plain


@dataclass(frozen=True, slots=True)
class Said:
    """What the file says for sure, each by itself; None is not said."""

    kind: TakeKind | None = None
    direction: Direction | None = None
    orbit: Orbit | None = None
    drive: Drive | None = None
    radiator: str | None = None


@dataclass(frozen=True, slots=True)
class Recognition:
    """What a part of a file was taken for, or why it can't be told.

    `path` is relative to ``raw/``. `take` is None as long as there is a doubt, each of which a person can
    settle in ``takes.toml`` or by renaming the file; what is sure all the same is in `said`.
    """

    path: str
    take: Take | None
    doubts: tuple[Unclear, ...] = ()
    selector: str = ""
    said: Said = Said()
