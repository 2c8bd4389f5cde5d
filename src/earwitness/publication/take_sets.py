"""Long lists of takes under a name of their own.

A curve of the whole sphere rests on every direction, and so do the figures on it; each list stands once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from earwitness.derive.wording import listing
from earwitness.records.sentences import Number, Sentence, say
from earwitness.records.takes import DIRECTIONAL, Take, TakeId, TakeKind

#: A list of at most so many takes stands where it is needed.
LONGEST_INLINE: Final = 12


@dataclass(frozen=True, slots=True)
class TakeSet:
    """One list of takes: its name in page and PDF, what they are, and how many."""

    anchor: str
    words: Sentence
    value: Sentence
    takes: tuple[TakeId, ...]
    count: int

    @property
    def title(self) -> Sentence:
        """The list's heading."""
        return say("Takes: ") + self.words


def anchor_of(index: str) -> str:
    """The name in page and PDF of the list with this index."""
    return f"takes-{index}"


def take_sets(lists: Iterable[tuple[TakeId, ...]], takes: tuple[Take, ...]) -> tuple[TakeSet, ...]:
    """The long ones among `lists`, each once, in the order of their first use."""
    by_id = {t.id: t for t in takes}
    long = dict.fromkeys(found for found in lists if len(found) > LONGEST_INLINE)
    return tuple(
        TakeSet(
            anchor_of(str(i)), _words([by_id[t] for t in found]), _count(len(found), i), found, len(found)
        )
        for i, found in enumerate(long)
    )


def _count(count: int, index: int) -> Sentence:
    return say(Number(f"{count}", float(count), f"publication:take_sets/{index}/count"), " takes")


def _words(takes: list[Take]) -> Sentence:
    # On axis and behind lie on both orbits and say nothing about which.
    turned = {
        str(t.key.direction.orbit)
        for t in takes
        if t.key.direction and t.key.kind in DIRECTIONAL and t.key.direction.angle_deg not in (0.0, 180.0)
    }
    orbits = listing(say(orbit) for orbit in sorted(turned)) + say(" orbit")
    near = any(t.key.kind is TakeKind.NEAR_FIELD for t in takes)
    return say(orbits if turned else say("no orbit"), ", with near field" if near else "")
