"""The drive that a text says in volts RMS, dBFS or dBu; what needs more than the text for it is unclear."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import isclose, sqrt
from typing import Final

from earwitness.measurement.recognition.answers import Unclear
from earwitness.measurement.recognition.sets import Sets
from earwitness.measurement.recognition.tokens import Sign, Text, Token, text_of
from earwitness.measurement.recognition.words import (
    ANGLE,
    LEVELS,
    OTHER_NUMBERS,
    OTHER_VOLTS,
    PLANES,
    PLANES_BEFORE_NUMBERS,
)
from earwitness.records.takes import Drive

_VOLTS: Final = {
    "v": 1.0,
    "vrms": 1.0,
    "veff": 1.0,
    "volt": 1.0,
    "volts": 1.0,
    "mv": 1e-3,
    "mvrms": 1e-3,
}
#: Peak volts, each with the RMS of a sine that has them.
_PEAK: Final = {"vp": sqrt(0.5), "vpk": sqrt(0.5), "vpeak": sqrt(0.5), "vpp": sqrt(0.125)}
#: Numbers that stand for volts in names, also where no unit does.
_USUAL_VOLTS: Final = frozenset({0.283, 2.83, 2.828, 28.3})
#: Three digits behind a comma may be thousands, before millivolts behind a point as well.
_THOUSANDS: Final = re.compile("[1-9][0-9]{0,2}(?:,[0-9]{3}|[.][0-9]{3}(?=m))m?")
_SAME: Final = 0.01
_SHOWN: Final = {Sign.PLUS: "+", Sign.PLUS_WORD: "+", Sign.MINUS: "−", Sign.HYPHEN: "−"}
_WATTS: Final = frozenset({"w", "mw", "watt", "watts"})
_OTHER_DECIBELS: Final = frozenset({"dbv", "dbm"})
#: Words before a whole number of volts.
_BEFORE_VOLTS: Final = frozenset({"drive", "voltage", "spannung", "tension", "at", "mit", "bei", "con"})
_POWERED_MICROPHONE: Final = frozenset({"phantom", "p48", "speisung"})
#: As `add` refuses it: no loudspeaker is driven with it.
_VOLTS_BELOW: Final = 1000.0
#: The most dBu that a line has, 24 V RMS: twice the volts of what studio outputs give (common practice).
DBU_TO: Final = 30.0


@dataclass(frozen=True, slots=True)
class SaidDrive:
    """Drives that a text says, the places of the numbers that say one, and what is unclear.

    `hints` are volts RMS that may be the drive, each with how they are said: another drive contradicts them.
    """

    drives: frozenset[Drive]
    places: frozenset[int]
    unclear: tuple[Unclear, ...]
    hints: tuple[tuple[float, str], ...] = ()

    def against(self, drive: Drive) -> str:
        """How the first hint of other volts than `drive` is said; empty where there is none."""
        others = (said for volts, said in self.hints if not isclose(volts, drive.value, rel_tol=_SAME))
        return next(others, "") if drive.unit == "V" else ""


@dataclass(frozen=True, slots=True)
class _Number:
    """What one number says: a drive, doubts of it, and a doubt that holds where no other number says one."""

    places: frozenset[int]
    drive: Drive | None = None
    doubts: tuple[str, ...] = ()
    instead: str = ""


def drive_in(text: Text, sets: Sets | None = None) -> SaidDrive:
    """What `text` says of the drive, among the `sets` of its likes where there are any."""
    each = range(len(text.tokens))
    numbers = [number for i in each if (number := _number(text, i, sets)) is not None]
    drives = frozenset(number.drive for number in numbers if number.drive is not None)
    doubts = [doubt for number in numbers for doubt in number.doubts]
    if not drives:
        doubts += [number.instead for number in numbers if number.instead]
    places = frozenset(place for number in numbers for place in number.places)
    hints = tuple(
        (token.value or 0.0, token.text) for i, token in enumerate(text.tokens) if _is_bare(text, i)
    )
    return SaidDrive(drives, places, tuple(Unclear("drive", doubt) for doubt in doubts), hints)


def volts_in(lines: Sequence[str]) -> tuple[tuple[float, str], ...]:
    """Volts in lines that say more than is understood, each with its line: RMS, of a sine for peak values."""
    found = []
    for line in lines:
        text = text_of(line, "line")
        if text.words & OTHER_VOLTS:
            continue
        for index, token in enumerate(text.tokens):
            scale = (_VOLTS | _PEAK).get(text.unit(index))
            if scale and token.value is not None:
                found.append((token.value * scale, line))
    return tuple(found)


def _is_bare(text: Text, index: int) -> bool:
    """Whether a number has no unit, and is one that stands for volts."""
    token = text.tokens[index]
    parted = token.sign in (Sign.NONE, Sign.HYPHEN) and text.word(index - 1) not in OTHER_NUMBERS
    return token.value in _USUAL_VOLTS and parted and not text.unit(index)


def _number(text: Text, index: int, sets: Sets | None) -> _Number | None:
    """What the number at `index` says of the drive; None where that is nothing."""
    token, unit = text.tokens[index], text.unit(index)
    shown, here = f"{token.text} {text.word(index + 1)}", frozenset({index})
    if token.value is None:
        is_drive = unit in _VOLTS or unit in _PEAK or unit in ("dbfs", "dbu")
        doubt = f"whether {shown} is a drive isn't clear"
        return _Number(frozenset(), doubts=(doubt,)) if is_drive else None
    if unit in _VOLTS or unit == "v?":
        return _volts(text, index, shown, sets)
    if unit == "dbfs":
        return _full_scale(token, shown, here)
    if unit == "dbu":
        return _line_level(token, shown, here)
    if unit in _PEAK or unit in _WATTS or unit in _OTHER_DECIBELS:
        return _Number(here, instead=f"{shown} is no drive in volts RMS, dBFS or dBu: {_lacking(unit)}")
    is_level = _is_level(text, index)
    level = f"{_SHOWN.get(token.sign, '')}{token.text}"
    return _Number(frozenset(), doubts=(f"{level} is a level, and not said re what",)) if is_level else None


def _volts(text: Text, index: int, shown: str, sets: Sets | None) -> _Number | None:
    """A number before a V: volts, an angle before the letter for vertical, or a doubt."""
    token, compound = text.tokens[index], _compound(text, index)
    if compound is not None:
        return _Number(frozenset({index, index + 2}), Drive(compound))
    if text.unit(index) in _VOLTS and _is_volts(text, index):
        drive = Drive(round((token.value or 0.0) * _VOLTS[text.unit(index)], 9))
        return _Number(frozenset({index}), drive, tuple(_why_not_volts(text, index, sets)))
    if _is_angle_before_v(text, index):
        return None
    return _Number(frozenset(), doubts=(f"whether {shown} is a drive isn't clear",))


def _full_scale(token: Token, shown: str, here: frozenset[int]) -> _Number:
    """A level re full scale, which is never above it: a hyphen before it is a minus."""
    value = token.value or 0.0
    doubts: tuple[str, ...] = ()
    if value and token.sign in (Sign.NONE, Sign.PLUS):
        doubts = ("a drive above digital full scale is in the name; −20dBFS has its sign",)
    elif value and token.sign not in (Sign.MINUS, Sign.HYPHEN):
        doubts = (f"whether {shown} has a minus isn't clear",)
    return _Number(here, Drive(-value if value else 0.0, "dBFS"), doubts)


def _line_level(token: Token, shown: str, here: frozenset[int]) -> _Number:
    """A level at an analogue input: of either sign, so that a hyphen behind something may only part it."""
    value = token.value or 0.0
    if token.sign is Sign.HYPHEN:
        return _Number(here, doubts=(f"whether {shown} has a minus isn't clear; write it behind a _",))
    if token.sign not in (Sign.NONE, Sign.PLUS, Sign.PLUS_WORD, Sign.MINUS):
        return _Number(here, doubts=(f"whether {shown} has a sign isn't clear",))
    drive = Drive(-value if token.sign is Sign.MINUS and value else value, "dBu")
    return _Number(here, drive)


def _is_level(text: Text, index: int) -> bool:
    """Whether the number at `index` is a signed level, which may change a drive that is said beside it."""
    unit, is_signed = text.unit(index), text.tokens[index].sign is not Sign.NONE
    return is_signed and (unit == "db" or (not unit and text.word(index - 1) in LEVELS))


def settled_drive(said: SaidDrive, unclear: list[Unclear]) -> Drive | None:
    """The one drive of a text; adds to `unclear` where there are several, or one that can't be."""
    unclear += said.unclear
    if len(said.drives) > 1:
        labels = ", ".join(sorted(drive.label for drive in said.drives))
        unclear.append(Unclear("drive", f"more than one drive is said: {labels}"))
    if len(said.drives) != 1 or said.unclear:
        return None
    (drive,) = said.drives
    if drive.unit == "V" and drive.value <= 0.0:
        unclear.append(Unclear("drive", "a drive of zero volts is said"))
        return None
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        unclear.append(Unclear("drive", f"{drive.label} is no drive of a loudspeaker"))
        return None
    if drive.unit == "dBu" and drive.value > DBU_TO:
        unclear.append(Unclear("drive", f"{drive.label} is more than lines have"))
        return None
    return drive


def _compound(text: Text, index: int) -> float | None:
    """Volts written around their unit: ``2V83``."""
    token, unit, rest = text.tokens[index], text.at(index + 1), text.at(index + 2)
    if unit is None or rest is None or unit.text != "v" or not (unit.joined and rest.joined):
        return None
    alone = _may_begin(token) and token.text.isdecimal() and len(token.text) <= 3
    if not alone or rest.sign is not Sign.NONE or not rest.text.isdecimal() or text.unit(index + 2):
        return None
    return float(f"{token.text}.{rest.text}")


def _may_begin(token: Token) -> bool:
    """Whether nothing before a number makes it a part of something else: a hyphen parts it there."""
    return token.sign is Sign.HYPHEN or (token.sign is Sign.NONE and not token.joined)


def _is_volts(text: Text, index: int) -> bool:
    """Whether a number before a V is volts for sure, and not an angle before the letter for vertical.

    A V apart from its number belongs to it where that has decimals, or no word before it that it may count.
    """
    token, unit = text.tokens[index], text.tokens[index + 1]
    if not _may_begin(token):
        return False
    if unit.joined or unit.text != "v":
        return True
    before, beyond = text.at(index - 1), text.at(index + 2)
    counts = (
        before is not None and before.is_word and before.where == token.where and not text.is_unit(index - 1)
    )
    known = text.word(index - 1) in _BEFORE_VOLTS
    has_decimals = not token.text.isdecimal() and text.word(index - 1) not in OTHER_NUMBERS
    alone = beyond is None or beyond.is_word or beyond.where != token.where
    return alone and not _is_angle_before_v(text, index) and (has_decimals or known or not counts)


def _is_angle_before_v(text: Text, index: int) -> bool:
    """Whether a number is the angle that a word before it says, and the V apart behind it isn't its unit."""
    before = text.word(index - 1)
    named = before in PLANES or before in PLANES_BEFORE_NUMBERS or before in ANGLE
    signed = text.tokens[index].sign not in (Sign.NONE, Sign.HYPHEN)
    return not text.tokens[index + 1].joined and text.word(index + 1) == "v" and (named or signed)


def _why_not_volts(text: Text, index: int, sets: Sets | None) -> list[str]:
    """Reasons to doubt the volts at `index`: a decimal point that may have been lost, another use."""
    token, before = text.tokens[index], text.at(index - 1)
    reasons = []
    if _THOUSANDS.fullmatch(f"{token.text}{text.unit(index)[:1].replace('v', '')}"):
        reasons.append(f"whether {token.text} has a decimal or a thousand isn't clear")
    if text.word(index - 1) == "e" and token.joined and text.is_unit(index - 1):
        reasons.append(f"whether {token.text} V is a power of ten isn't clear")
    is_whole = "." not in token.text and "," not in token.text
    if before is not None and before.value is not None and is_whole and before.where == token.where:
        short = len(before.text) <= 2 and before.text.isdecimal()
        plain = before.sign in (Sign.NONE, Sign.HYPHEN) and (
            before.text == "0" or not before.text.startswith("0")
        )
        if short and plain and not (sets is not None and sets.are_whole(text, index)):
            reasons.append(f"{before.text} {token.text} V may be {before.text}.{token.text} V")
    if text.words & _POWERED_MICROPHONE and token.value == 48.0:
        reasons.append("48 V may be the microphone's supply")
    return reasons


def _lacking(unit: str) -> str:
    if unit in _WATTS:
        return "watts need the impedance that they were worked out for"
    if unit in _PEAK:
        return "it is a peak value"
    return "what it is at the terminals isn't said"
