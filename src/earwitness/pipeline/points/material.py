"""What points of quality are made from, and how they say their numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from earwitness.derive.directivity import TakePowers, directivity, take_powers
from earwitness.derive.numerals import frequency, quantity
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Figure
from earwitness.records.quality import Point, PointName, Series, Verdict
from earwitness.records.responses import Directivity, Responses
from earwitness.records.sentences import EMPTY, Number, Part, Sentence, Term, Words, say, typeset
from earwitness.records.takes import Direction, Orbit, Take, TakeId, TakeKind


@dataclass(frozen=True)
class Material:
    """One case as it was built: what it states, what was recorded, and what came of it."""

    facts: CaseFacts
    takes: tuple[Take, ...]
    impulse_responses: Mapping[TakeId, ImpulseResponse]
    responses: Responses
    curves: CurveSet
    figures: tuple[Figure, ...]

    def of_kind(self, kind: TakeKind) -> list[Take]:
        """The takes of a kind, by id."""
        return sorted((t for t in self.takes if t.key.kind is kind), key=lambda t: t.id)

    @cached_property
    def directions(self) -> tuple[Direction, ...]:
        """The direction of each row of the responses."""
        return tuple(d for t in self.responses.takes if (d := t.key.direction) is not None)

    @cached_property
    def powers(self) -> TakePowers:
        """The takes at the reference drive."""
        return take_powers(self.responses, self.facts.unit.symmetry)

    @cached_property
    def field(self) -> Directivity:
        """The directions of those takes."""
        return directivity(self.powers)


class Teller:
    """Collects the numbers that a point's sentences hold, and makes the point."""

    def __init__(self, name: PointName) -> None:
        self.name = name
        self._values: dict[str, float] = {}

    def db(self, key: str, value: float, decimals: int = 1) -> Number:
        """A level or a difference of levels."""
        return self.number(key, value, "dB", decimals)

    def number(self, key: str, value: float, unit: str = "", decimals: int = 0) -> Number:
        """A number with its unit."""
        self._values[key] = float(value)
        return quantity(float(value), unit, f"quality:{self.name}/{key}", decimals)

    def hz(self, key: str, value: float) -> Number:
        """A frequency, to two digits."""
        self._values[key] = float(value)
        return frequency(float(value), f"quality:{self.name}/{key}", 2)

    def count(self, key: str, value: int) -> Number:
        """How many."""
        self._values[key] = float(value)
        return Number(f"{value}", float(value), f"quality:{self.name}/{key}")

    def point(
        self,
        verdict: Verdict,
        sentence: Sentence,
        limit: Sentence,
        remedy: Sentence = EMPTY,
        *,
        takes: Sequence[TakeId] = (),
        series: Sequence[Series] = (),
    ) -> Point:
        """The point."""
        return Point(
            name=self.name,
            verdict=verdict,
            sentence=sentence,
            limit=limit,
            remedy=remedy,
            values=dict(sorted(self._values.items())),
            takes=tuple(takes),
            series=tuple(series),
        )

    def cannot_tell(self, why: str | Sentence, remedy: str | Sentence) -> Point:
        """The point of which nothing can be said."""
        return self.point(Verdict.CANNOT_TELL, say(why), EMPTY, say(remedy))


def named(text: str) -> Part:
    """A name as part of a sentence, with or without digits."""
    return Term(text) if any(c.isdigit() for c in text) else Words(typeset(text))


def joined(items: Sequence[str], most: int = 3) -> Sentence:
    """``a, b and c``; ``a, b, c and others`` where there are more."""
    shown = [named(item) for item in items[:most]]
    if len(items) > most:
        return say(*_separated(shown), " and others")
    if len(shown) < 2:
        return say(*shown)
    return say(*_separated(shown[:-1]), " and ", shown[-1])


def _separated(parts: Sequence[Part]) -> list[Part | str]:
    found: list[Part | str] = [parts[0]]
    for part in parts[1:]:
        found += [", ", part]
    return found


def series(name: str, x: npt.ArrayLike, y: npt.ArrayLike, uncertainty: npt.ArrayLike | None = None) -> Series:
    """A line of a picture from arrays; NaN becomes None."""
    spread = () if uncertainty is None else _optional(uncertainty)
    return Series(name, tuple(np.asarray(x, dtype=np.float64).tolist()), _optional(y), spread)


def _optional(values: npt.ArrayLike) -> tuple[float | None, ...]:
    rounded = np.round(np.asarray(values, dtype=np.float64), 4)
    return tuple(v if np.isfinite(v) else None for v in rounded.tolist())


def over_angle(directions: Sequence[Direction], values: npt.ArrayLike) -> list[Series]:
    """Values (R,) over the angle, a line for each orbit of which more than one direction has one."""
    known = np.asarray(values, dtype=np.float64)
    lines = []
    for orbit in Orbit:
        rows = [i for i, d in enumerate(directions) if d.orbit is orbit]
        rows.sort(key=lambda i: directions[i].angle_deg)
        if len(rows) > 1:
            lines.append(series(str(orbit), [directions[i].angle_deg for i in rows], known[rows]))
    return lines


def verdict_of(size: float, limits: tuple[float, float]) -> Verdict:
    """To look at above the first limit, unfit above the other."""
    return Verdict.UNFIT if size > limits[1] else Verdict.LOOK if size > limits[0] else Verdict.FINE
