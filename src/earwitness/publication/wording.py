"""Small pieces of prose that several parts of a publication share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.records.figures import FigureName
from earwitness.records.sentences import Part, Quoted, Sentence, Term, Words, say, typeset

NOT_STATED: Final = say("not stated")

#: What the page calls each figure of merit.
FIGURE_LABELS: Final[Mapping[FigureName, Sentence]] = {
    FigureName.SENSITIVITY: say("Sensitivity"),
    FigureName.F3: say(Term("F3")),
    FigureName.F6: say(Term("F6")),
    FigureName.F10: say(Term("F10")),
    FigureName.TOLERANCE_ON_AXIS: say("Tolerance, on axis"),
    FigureName.TOLERANCE_LISTENING_WINDOW: say("Tolerance, listening window"),
    FigureName.IN_ROOM_TILT: say("In-room tilt"),
    FigureName.IN_ROOM_SMOOTHNESS: say("In-room smoothness"),
    FigureName.COVERAGE_HORIZONTAL: say("Coverage, sideways"),
    FigureName.COVERAGE_VERTICAL: say("Coverage, up and down"),
    FigureName.SOUND_POWER_SAMPLING: say("Sound power, two estimates"),
    FigureName.ORBIT_AGREEMENT: say("Both orbits on axis"),
    FigureName.GROUP_DELAY: say("Group delay at ", Term("F6")),
    FigureName.EXCESS_DELAY: say("Excess group delay"),
    FigureName.BURST_DECAY: say("Decay of a short tone"),
    FigureName.IMPEDANCE_MINIMUM: say("Least impedance"),
    FigureName.IMPEDANCE_RATING: say("Least impedance of the rated one"),
    FigureName.AMPLIFIER_LOAD: say("Load on an amplifier"),
    FigureName.BOX_TUNING: say("Tuning of the box"),
    FigureName.TOTAL_Q: say("Total ", Term("Q"), " in the box"),
    FigureName.DISTORTION_0_3: say("Distortion below ", Term("0.3 %"), " from"),
    FigureName.DISTORTION_1: say("Distortion below ", Term("1 %"), " from"),
    FigureName.DISTORTION_3: say("Distortion below ", Term("3 %"), " from"),
    FigureName.DISTORTION_10: say("Distortion below ", Term("10 %"), " from"),
    FigureName.COMPRESSION: say("Level at which it changes"),
    FigureName.COMPRESSION_NARROW: say("Level at which a narrow band changes"),
    FigureName.CLEAN_OUTPUT: say("Clean output"),
    FigureName.HELD_LEVEL: say("Held down at the highest drive"),
    FigureName.LIMITER_THRESHOLD: say("Limiter sets in at"),
    FigureName.NEAR_DISTORTION: say("Distortion of one radiator"),
    FigureName.LOAD_CHANGE: say("Change under a load"),
    FigureName.LIMITING: say("Limiter under a load"),
    FigureName.COIL_TIME: say("Time constant of a voice coil"),
    FigureName.MAGNET_TIME: say("Time constant of its magnet"),
    FigureName.SELF_NOISE: say("Self-noise"),
    FigureName.MODULATION_SECOND: say("Modulation, second order"),
    FigureName.MODULATION_THIRD: say("Modulation, third order"),
    FigureName.MULTITONE: say("Between many tones"),
    FigureName.LEVEL_AT_DRIVE: say("Level at that drive"),
    FigureName.LATENCY: say("Latency"),
    FigureName.RATTLE: say("A rattle or a rub"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A label and what stands beside it."""

    label: Sentence
    text: Sentence


def line(label: str, text: Sentence) -> Line:
    """A line whose label is a plain name."""
    return Line(say(named(label)), text)


def named(text: str) -> Part:
    """A name as a part of a sentence: a term where it holds digits, plain words where it doesn't."""
    return Term(text) if any(c.isdigit() for c in text) else Words(typeset(text))


def quoted_or_not_stated(text: str | None, reference: str) -> Sentence:
    """The text of a field of ``case.toml``, or "not stated"."""
    return say(Quoted(text, reference)) if text else NOT_STATED


def date_words(date: dt.date) -> str:
    """``2 November 2026``."""
    return f"{date.day} {date:%B} {date.year}"
