"""Findings: one statement each, with its place and its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from earwitness.records.audibility import Audibility
from earwitness.records.causes import FeatureCauses
from earwitness.records.correctability import Correctable
from earwitness.records.features import Feature
from earwitness.records.figures import Evidence, FigureName
from earwitness.records.level_changes import LevelChange
from earwitness.records.next_measurement import NextMeasurement
from earwitness.records.sentences import EMPTY, Sentence
from earwitness.records.testimony import NoteHeld, Tally


@dataclass(frozen=True, slots=True)
class Place:
    """Where a finding can be seen: a curve (or coverage map), a band, a direction, a drive.

    `curve` is a `CurveName` or ``coverage_horizontal`` / ``coverage_vertical``. `level_db` is the level (or
    the angle on a map) at which a mark sits best, where there is one.
    """

    curve: str
    band_hz: tuple[float, float]
    direction: str | None = None
    drive: str | None = None
    level_db: float | None = None


class Judgement(StrEnum):
    """What became of a maker's claim."""

    CONFIRMED = "confirmed"
    DEPENDS = "depends on the definition"
    NOT_CONFIRMED = "not confirmed"
    CANNOT_JUDGE = "can't be judged"


@dataclass(frozen=True, slots=True)
class ClaimReading:
    """A claim held against one admissible definition.

    Attributes
    ----------
    value
        What was found by it; with `bound`, only that it lies there or beyond.
    uncertainty
        Its standard uncertainty; None where what decides it isn't stated.
    holds
        Whether the claim holds by it; None where that can't be said, and `doubt` is why.
    """

    definition: Sentence
    value: float
    unit: str
    uncertainty: float | None
    holds: bool | None
    bound: Literal["at most", "at least"] | None = None
    doubt: Sentence = EMPTY


@dataclass(frozen=True, slots=True)
class ClaimJudgement:
    """A maker's claim held against every admissible definition; `index` is its place in ``case.toml``.

    `decided_by` is the take that would decide one that can't be judged; None where none would.
    """

    index: int
    judgement: Judgement
    readings: tuple[ClaimReading, ...]
    decided_by: NextMeasurement | None = None


@dataclass(frozen=True, slots=True)
class Story:
    """What a finding on a feature tells beyond its statement; empty where there is nothing to tell.

    Attributes
    ----------
    cause
        What causes it, how sure that is in words, and the runner-up.
    heard
        Whether anyone would hear it, and why.
    mend
        Whether an equaliser mends it, and for whom.
    settle
        What would settle what is left open.
    details
        The same with its numbers, one a cause.
    """

    cause: Sentence
    heard: Sentence = EMPTY
    mend: Sentence = EMPTY
    settle: Sentence = EMPTY
    details: tuple[Sentence, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One statement about the loudspeaker.

    Attributes
    ----------
    id
        Stable over builds of the same case: ``figure-sensitivity``, ``claim-2``.
    subject
        What kind of thing it speaks about.
    statement
        The headline, one short sentence with a full stop.
    explanation
        One to three sentences: what it means for a listener, under which conditions.
    note
        The quiet line: figure, method, how sure.
    importance
        0 … 1, the printed order (greatest first).
    place
        Where it is seen; None where there is nothing to point at.
    figures
        The figures it quotes.
    feature, causes, story
        Of a finding on a feature: what stands out, why, and what that comes to.
    change
        Of a finding on a band that changes with the drive, which has causes and a story as well.
    audibility
        Whether it would be heard; None where that isn't known.
    correctable
        Whether an equaliser mends it; None where that isn't known.
    testimony
        Of a finding on a listening note: the note, and how it fares.
    next_measurement
        What would tell most of what is open; None where nothing is, or nothing would.
    """

    id: str
    subject: Literal["feature", "figure", "claim", "level", "testimony"]
    statement: Sentence
    explanation: Sentence
    note: Sentence
    importance: float
    place: Place | None
    figures: tuple[FigureName, ...]
    evidence: Evidence
    claim: ClaimJudgement | None = None
    feature: Feature | None = None
    causes: FeatureCauses | None = None
    story: Story | None = None
    audibility: Audibility | None = None
    correctable: Correctable | None = None
    next_measurement: NextMeasurement | None = None
    testimony: NoteHeld | None = None
    change: LevelChange | None = None


@dataclass(frozen=True, slots=True)
class Findings:
    """``build/findings.json``."""

    schema_version: int
    build_id: str
    case: str
    findings: tuple[Finding, ...]
    tally: Tally | None = None
