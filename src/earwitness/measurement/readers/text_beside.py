"""What stands beside a unit in a heading and makes another one of it, or nothing that is read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from earwitness.measurement.readers.text_units import FILLERS, UNIT, role_of

_BRACKETS: Final = re.compile(r"[(\[{][^()\[\]{}]*[)\]}]")
_WORD: Final = re.compile(r"[^\W\d_]+")
#: A power, a product, a quotient, or a digit that hangs on to the unit.
_AFTER: Final = re.compile(r"\s?[\^²³*·⋅×/]|\d|⁻")
#: One over the unit, or volts by it.
_BEFORE: Final = re.compile(r"(?<![\w.,])(?:1|m?[VAWNJ])/$")
#: In brackets these change no unit: levels are those of effective values.
_HARMLESS: Final = frozenset({"rms", "eff", "wrapped", "unwrapped"})
_FREQUENCY: Final = re.compile(
    r"f|x|(?:fr[eé]q|frec)(?:s|u[eê]n(?:cy|cies|z|zen|za|ze|ce|ces|cia|cias|tie|ties))?"
)
_BESIDE_FREQUENCY: Final = frozenset({"centre", "center", "axis", "values", "en"})
_MARKS: Final = re.compile(r"[\s()\[\]{}|.,:;/\\=_\-–]+")


def spoils_its_unit(text: str, bare: str) -> bool:
    """Whether something in a heading makes another unit of one in it: ``[Pa^2]``, ``dB/oct``, ``[Pa peak]``.

    Parameters
    ----------
    bare
        `text` with blanks in place of its units.
    """
    found = list(UNIT.finditer(text))
    if any(_AFTER.match(bare, match.end()) for match in found):
        return True
    if any(match.lastgroup == "linear" and _BEFORE.search(text[: match.start()]) for match in found):
        return True
    # degrees in brackets may be those of a direction
    places = [match.start() for match in found if match.lastgroup != "degree"]
    for group in _BRACKETS.finditer(bare):
        if any(group.start() < place < group.end() for place in places) and _says_more(group.group()):
            return True
    return False


def _says_more(bracketed: str) -> bool:
    """Whether brackets hold anything beside their unit."""

    def blank(match: re.Match[str]) -> str:
        low = match.group().lower()
        harmless = low in _HARMLESS or low in FILLERS or (len(low) > 1 and role_of(low) is not None)
        return " " if harmless else match.group()

    return bool(_MARKS.sub("", _WORD.sub(blank, bracketed)))


def is_plain_frequency(bare: str, words: Sequence[str]) -> bool:
    """Whether a heading without its units says frequency and nothing else.

    Not so ``Angular frequency``, ``log10 frequency``, ``Frequency bin``, ``Frequency [1/s]``.

    Parameters
    ----------
    words
        All words of it.
    """
    left = _MARKS.sub("", _WORD.sub(" ", bare))
    return not left and all(
        _FREQUENCY.fullmatch(low) or low in _BESIDE_FREQUENCY or low in FILLERS
        for low in (word.lower() for word in words)
    )
