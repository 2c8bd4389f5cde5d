"""Prose whose every digit carries its reference.

A sentence is a tuple of parts. `Words` hold no digit. A digit can stand only in a `Number` (a typed field of
a figure, a curve or the case), in a `Term` (a name that has digits in it, such as F6 or IEC 60268-5), or in
`Quoted` text that a person wrote in the case's own files.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Words:
    """Plain words, without any digit."""

    text: str
    kind: Literal["words"] = "words"

    def __post_init__(self) -> None:
        if any(c.isdigit() for c in self.text):
            raise ValueError(f"words must not hold digits: {self.text!r}")


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is printed, with where it comes from.

    `reference` is a path into the results: ``figure:sensitivity/value/value``,
    ``figure:coverage_horizontal/value/clauses/0/positive_deg``, ``case:rig.distance_m``,
    ``curve:on_axis/valid_from_hz``. `text` is what the reader sees, sign and unit included.
    """

    text: str
    value: float
    reference: str
    kind: Literal["number"] = "number"


@dataclass(frozen=True, slots=True)
class Term:
    """A name that has digits in it: a figure's, a document's, a file's."""

    text: str
    kind: Literal["term"] = "term"


@dataclass(frozen=True, slots=True)
class Quoted:
    """Text that a person wrote in the case's files; `reference` names the field (``case:unit.name``)."""

    text: str
    reference: str
    kind: Literal["quoted"] = "quoted"


Part = Words | Number | Term | Quoted


@dataclass(frozen=True, slots=True)
class Sentence:
    """Parts in order; they join without any separator."""

    parts: tuple[Part, ...]

    def __str__(self) -> str:
        return "".join(p.text for p in self.parts)

    def __add__(self, other: Sentence) -> Sentence:
        return Sentence(self.parts + other.parts)

    @property
    def numbers(self) -> tuple[Number, ...]:
        """The numbers in it."""
        return tuple(p for p in self.parts if isinstance(p, Number))


def typeset(text: str) -> str:
    """Plain text as print sets it: an apostrophe is a ’."""
    return text.replace("'", "’")


def say(*parts: str | Part | Sentence) -> Sentence:
    """Make a sentence: plain strings become `Words`, set as print sets them; sentences are spliced in.

    An empty string leaves nothing, so that what says nothing is `EMPTY`.
    """
    flat: list[Part] = []
    for part in parts:
        if isinstance(part, str):
            flat += [Words(typeset(part))] if part else []
        elif isinstance(part, Sentence):
            flat.extend(part.parts)
        else:
            flat.append(part)
    return Sentence(tuple(flat))


EMPTY = Sentence(())
