"""What a file's own lines say: those of which every word is understood, and doubts of others that matter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from earwitness.measurement.recognition.answers import Subject, Unclear, quoted
from earwitness.measurement.recognition.tokens import Text, Token, text_of
from earwitness.measurement.recognition.words import (
    ANGLE,
    AZIMUTH,
    DERIVED_IN_LINES,
    ELEVATION,
    HEADER_WORDS,
    NEGATIONS,
    OF_OTHERS,
    ON_AXIS,
    SAYS_DRIVE,
    SAYS_PLANE,
)
from earwitness.records.takes import TakeKind

HEADER: Final = "header"

_MOST_LINES: Final = 200
_LONGEST_LINE: Final = 200
_MOST_TOKENS: Final = 12
#: Where time runs the other way, a phase that falls rises.
_OTHER_TIME: Final = re.compile(
    r"(?:e|exp)\s*\^?\s*[({\[]?\s*[-−]\s*[ijwω]{1,2}\s*[*·]?\s*[wωt]", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Header:
    """The lines of one file: in one text those that are understood, the others, and doubts of these."""

    text: Text
    others: tuple[str, ...]
    doubts: tuple[Unclear, ...]


def header_of(lines: Sequence[str]) -> Header:
    """What `lines` say of where and how the file was measured."""
    tokens: list[Token] = []
    others: list[str] = []
    doubts: list[Unclear] = []
    for line in islice(lines, _MOST_LINES):
        text = text_of(line[:_LONGEST_LINE], HEADER)
        if _is_understood(text) and len(line) <= _LONGEST_LINE and not _lacks_unit(text):
            tokens += text.tokens
            continue
        others.append(line)
        subject = _subject(text)
        if subject is not None:
            doubts.append(Unclear(subject, f"its line “{quoted(line)}” isn't understood"))
    whole = Text(tuple(tokens))
    if bool(whole.words & AZIMUTH) != bool(whole.words & ELEVATION):
        doubts.append(Unclear("angle", "its lines say only one of azimuth and elevation"))
    return Header(whole, tuple(others), tuple(doubts))


def why_derived(lines: Sequence[str], kind: TakeKind) -> list[Unclear]:
    """Doubts of lines that say of a response of the loudspeaker that it isn't what was measured."""
    for line in islice(lines, _MOST_LINES):
        text = text_of(line[:_LONGEST_LINE], HEADER)
        if not text.words & NEGATIONS and (_is_derived(text, kind) or _OTHER_TIME.search(line)):
            return [Unclear("kind", f"its line “{quoted(line)}” says no response as it was measured")]
    return []


def _is_derived(text: Text, kind: TakeKind) -> bool:
    """Whether a line says something else than a response as it was measured."""
    words, numbers = text.words, [token for token in text.tokens if token.is_number]
    near = kind is not TakeKind.NEAR_FIELD and (text.has("near", "field") or "nearfield" in words)
    # "nominal impedance: 8 ohm" is the loudspeaker's, and the response no impedance
    impedance = bool(words & {"impedance", "impedanz", "impedancia"}) and not numbers
    is_level = any(t.value and text.unit(i).startswith("db") for i, t in enumerate(text.tokens))
    return (
        bool(words & DERIVED_IN_LINES)
        or text.has("minimum", "phase")
        or near
        or impedance
        or ("offset" in words and is_level)
        or _is_weighted(text)
    )


def _is_weighted(text: Text) -> bool:
    """Whether a line says a weighting other than none."""
    says = text.words & {"weighting", "weighted", "bewertung", "ponderation", "ponderacion"}
    return bool(says) and bool(text.words & {"a", "b", "c", "d"})


def _subject(text: Text) -> Subject | None:
    """What a line that isn't understood may say of the take; None where it speaks of something else."""
    words = text.words
    if words & OF_OTHERS:
        return None
    has_number = any(token.is_number for token in text.tokens)
    if has_number and words & (AZIMUTH | ELEVATION | ANGLE - {"off"}):
        return "angle"
    if words & SAYS_PLANE:
        return "plane"
    return "drive" if has_number and words & SAYS_DRIVE and not _has_volts(text) else None


def _has_volts(text: Text) -> bool:
    """Whether a number has volts: these are held against the drive."""
    return any(
        t.is_number and text.unit(i).removeprefix("m").startswith("v") for i, t in enumerate(text.tokens)
    )


def _lacks_unit(text: Text) -> bool:
    """Whether a line gives a drive as a bare number."""
    numbers = [i for i, token in enumerate(text.tokens) if token.is_number]
    return bool(text.words & SAYS_DRIVE) and bool(numbers) and not any(text.unit(i) for i in numbers)


def _is_understood(text: Text) -> bool:
    words = text.words
    on_axis = any(text.find(pair) is not None for pair in ON_AXIS)
    axis = on_axis or not words & {"axis", "achse", "axe", "eje"}
    return bool(words) and words <= HEADER_WORDS and axis and len(text.tokens) <= _MOST_TOKENS
