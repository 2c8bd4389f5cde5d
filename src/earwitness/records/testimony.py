"""Testimony: what the reviewer heard, sealed before the data were seen, and how it fares against them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from earwitness.records.sentences import Sentence


class Amount(StrEnum):
    """What a note says of a band."""

    TOO_MUCH = "too much"
    TOO_LITTLE = "too little"


class Quality(StrEnum):
    """What a sound is like: a closed vocabulary; `records.qualities` says what each is held to mean."""

    BOOMY = "boomy"
    THIN = "thin"
    MUDDY = "muddy"
    BOXY = "boxy"
    NASAL = "nasal"
    FORWARD = "forward"
    DISTANT = "distant"
    HARSH = "harsh"
    SIBILANT = "sibilant"
    BRIGHT = "bright"
    DARK = "dark"
    DULL = "dull"


class HeardFrom(StrEnum):
    """Where the listener was: it names what a note is held against."""

    STRAIGHT_AHEAD = "straight ahead"
    IN_THE_ROOM = "in the room"
    OFF_TO_THE_SIDE = "off to the side"
    STANDING = "standing"


class HeardAt(StrEnum):
    """How loud it was, where a note says so: then it is held against what changes with the level."""

    HIGH_LEVEL = "high level"


@dataclass(frozen=True, slots=True)
class Note:
    """One sealed listening note.

    Attributes
    ----------
    number
        From 1, in the order of sealing.
    text
        The reviewer's own words.
    amount, band_hz, heard_from
        What of it can be held against data; None where the note doesn't say.
    sealed_at
        UTC by the reviewer's own clock, ISO 8601.
    quality
        The word of the vocabulary that gave band and amount; None where the reviewer gave them.
    heard_at
        None where the note doesn't say how loud it was.
    built
        Id of the results that were there then; empty where there were none.
    raw_digest
        Of the raw files as they were.
    previous
        Seal of the note before; empty for the first.
    seal
        SHA-256 over all of the above.
    """

    number: int
    text: str
    amount: Amount | None
    band_hz: tuple[float, float] | None
    heard_from: HeardFrom
    sealed_at: str
    built: str
    raw_digest: str
    previous: str
    seal: str
    quality: Quality | None = None
    heard_at: HeardAt | None = None


class Outcome(StrEnum):
    """How a note fares."""

    SUPPORTED = "supported"
    CONTRADICTED = "contradicted"
    NOT_SEEN = "not seen in the data"
    NOT_TESTABLE = "not testable"


@dataclass(frozen=True, slots=True)
class NoteHeld:
    """A note held against the data.

    Attributes
    ----------
    deviation_db
        Mean over the band of the curve over its own trend, with its standard uncertainty; None where the note
        isn't testable.
    by_chance
        Share of all places of a band as wide at which the same note would be supported.
    """

    note: Note
    outcome: Outcome
    deviation_db: float | None
    uncertainty_db: float | None
    by_chance: float | None
    reason: Sentence


@dataclass(frozen=True, slots=True)
class Tally:
    """All testable notes of a case together that were sealed before any results were built.

    `by_chance` are hits that notes at shuffled places would have, and `as_many` the probability of as many as
    there are or more; `others` are testable notes of earlier cases held against this one, and their hits.
    """

    testable: int
    supported: int
    contradicted: int
    by_chance: float
    as_many: float
    others: int = 0
    others_supported: int = 0
