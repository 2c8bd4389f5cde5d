"""The drive that a text says in volts RMS or dBFS; what needs more than the text to become one is unclear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from earwitness.measurement.recognition.answers import Unclear
from earwitness.measurement.recognition.tokens import Sign, Text
from earwitness.measurement.recognition.words import ANGLE, LEVELS, PLANES, PLANES_BEFORE_NUMBERS
from earwitness.records.takes import Drive

_VOLTS: Final = {"v": 1.0, "vrms": 1.0, "veff": 1.0, "mv": 1e-3, "mvrms": 1e-3}
_PEAK: Final = frozenset({"vp", "vpk", "vpp", "vpeak"})
_WATTS: Final = frozenset({"w", "mw", "watt", "watts"})
_OTHER_DECIBELS: Final = frozenset({"dbu", "dbv", "dbm"})
_POWERED_MICROPHONE: Final = frozenset({"phantom", "p48", "speisung"})
#: As `add` refuses it: no loudspeaker is driven with it.
_VOLTS_BELOW: Final = 1000.0


@dataclass(frozen=True, slots=True)
class SaidDrive:
    """Drives that a text says, the places of the numbers that say one, and what is unclear."""

    drives: frozenset[Drive]
    places: frozenset[int]
    unclear: tuple[Unclear, ...]


def drive_in(text: Text) -> SaidDrive:
    """What `text` says of the drive."""
    drives: set[Drive] = set()
    places: set[int] = set()
    unclear: list[str] = []
    other: list[str] = []
    for index, token in enumerate(text.tokens):
        if token.value is None:
            continue
        unit, shown = text.unit(index), f"{token.text} {text.word(index + 1)}"
        if (compound := _compound(text, index)) is not None:
            drives.add(Drive(compound))
            places |= {index, index + 2}
        elif unit in _VOLTS and _may_be_volts(text, index):
            places.add(index)
            unclear += _why_not_volts(text, index)
            drives.add(Drive(round(token.value * _VOLTS[unit], 9)))
        elif unit == "dbfs":
            places.add(index)
            if token.value and token.sign not in (Sign.MINUS, Sign.HYPHEN):
                unclear.append(
                    "a drive above digital full scale is in the name; −20dBFS has its sign"
                    if token.sign in (Sign.NONE, Sign.PLUS)
                    else f"whether {shown} has a minus isn't clear"
                )
            drives.add(Drive(-token.value if token.value else 0.0, "dBFS"))
        elif unit in _PEAK or unit in _WATTS or unit in _OTHER_DECIBELS:
            places.add(index)
            other.append(f"{shown} is no drive in volts RMS or dBFS: {_lacking(unit)}")
        elif unit in _VOLTS and text.tokens[index + 1].joined:
            other.append(f"whether {shown} is a drive isn't clear")
        elif _is_level(text, index):
            unclear.append(f"{token.text} is a level, and not said re what")
    if not drives:
        unclear += other
    return SaidDrive(frozenset(drives), frozenset(places), tuple(Unclear("drive", why) for why in unclear))


def _is_level(text: Text, index: int) -> bool:
    """Whether the number at `index` is a signed level, which may change a drive that is said beside it."""
    unit, is_signed = text.unit(index), text.tokens[index].sign is not Sign.NONE
    return is_signed and (unit == "db" or (not unit and text.word(index - 1) in LEVELS))


def settled_drive(said: SaidDrive, unclear: list[Unclear]) -> Drive | None:
    """The one drive of a text; adds to `unclear` where there are several, or one that can't be."""
    unclear += said.unclear
    if len(said.drives) > 1:
        labels = ", ".join(sorted(drive.label for drive in said.drives))
        unclear.append(Unclear("drive", f"more than one drive is in the name: {labels}"))
    if len(said.drives) != 1 or said.unclear:
        return None
    (drive,) = said.drives
    if drive.unit == "V" and drive.value <= 0.0:
        unclear.append(Unclear("drive", "a drive of zero volts is in the name"))
        return None
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        unclear.append(Unclear("drive", f"{drive.label} is no drive of a loudspeaker"))
        return None
    return drive


def _compound(text: Text, index: int) -> float | None:
    """Volts written around their unit: ``2V83``."""
    token, unit, rest = text.tokens[index], text.at(index + 1), text.at(index + 2)
    if unit is None or rest is None or unit.text != "v" or not (unit.joined and rest.joined):
        return None
    alone = token.sign is Sign.NONE and not token.joined and token.text.isdecimal() and len(token.text) <= 3
    if not alone or rest.sign is not Sign.NONE or not rest.text.isdecimal() or text.unit(index + 2):
        return None
    return float(f"{token.text}.{rest.text}")


def _may_be_volts(text: Text, index: int) -> bool:
    """Whether a number before a V is volts, and not an angle before the word for vertical."""
    token, unit = text.tokens[index], text.tokens[index + 1]
    glued = token.joined and token.sign is not Sign.HYPHEN
    if glued or token.sign not in (Sign.NONE, Sign.HYPHEN):
        return False
    if unit.joined or unit.text != "v":
        return True
    before, beyond = text.word(index - 1), text.at(index + 2)
    named = before in PLANES or before in PLANES_BEFORE_NUMBERS or before in ANGLE
    return not named and (beyond is None or beyond.is_word)


def _why_not_volts(text: Text, index: int) -> list[str]:
    """Reasons to doubt the volts at `index`: a decimal point that may have been lost, another use."""
    token, before = text.tokens[index], text.at(index - 1)
    reasons = []
    is_whole = "." not in token.text and "," not in token.text
    if before is not None and before.value is not None and is_whole and before.where == token.where:
        short = len(before.text) <= 2 and before.text.isdecimal()
        plain = before.sign in (Sign.NONE, Sign.HYPHEN) and (
            before.text == "0" or not before.text.startswith("0")
        )
        if short and plain:
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
