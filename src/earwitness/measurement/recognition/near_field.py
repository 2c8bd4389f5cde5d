"""What a near field's name says of its radiator, and how far from it the microphone stood."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Final

from earwitness.measurement.recognition.answers import Unclear
from earwitness.measurement.recognition.kind import INCHES, LENGTHS
from earwitness.measurement.recognition.tokens import Sign, Text
from earwitness.measurement.recognition.words import (
    KIND_PAIRS,
    KINDS,
    NEAR,
    RADIATOR_PLACES,
    RADIATORS,
    SAYS_NOTHING,
)

_RADIATOR: Final = re.compile(r"[a-z][a-z0-9_]{0,39}", re.ASCII)
_MARKERS: Final = NEAR | set(KINDS) | {word for pair in KIND_PAIRS for word in pair}


def radiator_in(text: Text, spent: Collection[int], known: Collection[str]) -> str | Unclear:
    """The name of the radiator: words for one, with what tells it from another, and its number.

    Where the case names its radiators (`known`), it is one of those. Any other word behind the one for near
    field may be a part of the name, and is a doubt.
    """
    pieces: list[tuple[bool, str]] = []
    strange: list[str] = []
    behind = False
    for index, token in enumerate(text.tokens):
        if index in spent or (token.is_number and text.unit(index)):
            continue
        if token.is_word and token.text in _MARKERS:
            behind = True
        elif token.is_number:
            after = bool(pieces) and text.word(index - 1) == pieces[-1][1]
            if after and token.sign is Sign.NONE and len(token.text) == 1:
                pieces.append((token.joined, token.text))
        elif token.text in RADIATORS | RADIATOR_PLACES or token.text in known:
            pieces.append((token.joined, token.text))
        elif behind and not _is_times(text, index) and token.text not in SAYS_NOTHING:
            strange.append(token.text)
    name = "".join(piece if joined or not i else f"_{piece}" for i, (joined, piece) in enumerate(pieces))
    named = {text for _, text in pieces}
    if not _RADIATOR.fullmatch(name) or not named & (RADIATORS | set(known)):
        return Unclear("radiator", "the radiator isn't said, as in near_field_woofer")
    if known and name not in known:
        return Unclear("radiator", f"the case has no radiator {name}: it has {', '.join(sorted(known))}")
    if strange and not known:
        line = f"whether {strange[0]} belongs to the radiator's name isn't clear; case.toml doesn't name it"
        return Unclear("radiator", line)
    return name


def times_unclear(text: Text, radiator: str, alike: Mapping[str, int]) -> Unclear | None:
    """A doubt where a name says ``2x`` or ``x2``, and the case describes another number of alike radiators.

    `alike` says for each radiator of the case how many are stated to be the same, itself among them.
    """
    said = {
        token.value
        for index, token in enumerate(text.tokens)
        if token.value is not None
        and (text.unit(index) == "x" or (text.word(index - 1) == "x" and token.joined))
    }
    if not said or said == {float(alike.get(radiator, 1))}:
        return None
    count = " and ".join(f"{value:g}" for value in sorted(said))
    line = f"the name says {count} times {radiator}, and case.toml describes {alike.get(radiator, 0)} alike"
    return Unclear("radiator", f"{line}; give each its place and same_as under unit.radiators")


def _is_times(text: Text, index: int) -> bool:
    """Whether a word is a unit, or the x before how many."""
    after = text.at(index + 1)
    before_number = after is not None and after.is_number and after.joined
    return text.is_unit(index) or (text.word(index) == "x" and before_number)


def distance_in(text: Text) -> float | Unclear | None:
    """Metres from the radiator; None where nothing is said."""
    found = set()
    for index, token in enumerate(text.tokens):
        unit = text.unit(index)
        if token.value is not None and unit in INCHES:
            return Unclear(
                "radiator", "whether the inches are a distance or a size isn't said; give millimetres"
            )
        if token.value is not None and unit in LENGTHS and token.sign in (Sign.NONE, Sign.HYPHEN):
            found.add(round(token.value * LENGTHS[unit], 6))
    if len(found) > 1 or 0.0 in found:
        return Unclear("radiator", "more than one distance is in the name, or one of zero")
    return found.pop() if found else None
