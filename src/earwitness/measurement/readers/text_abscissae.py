"""Headings of first columns that say something else than frequency: time, angle, distance, ω."""

from __future__ import annotations

import re
from typing import Final

_WORD: Final = re.compile(r"[^\W\d_]+")
_BRACKETS: Final = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_WORDS: Final = frozenset({"t", "w", "ω", "omega", "ka", "kr", "rpm", "theta", "θ", "bark", "erb", "mel"})
_BEGINNINGS: Final = (
    "time", "zeit", "temps", "tiempo", "tempo", "angle", "angul", "winkel", "kreisfreq", "distan", "abstand",
    "entfern", "sample", "abtast", "period", "wavelen", "wellenl", "drehzahl", "voltage", "spannung",
    "octave", "oktav", "wavenumber", "wellenzahl",
)  # fmt: skip


def is_other_abscissa(text: str) -> bool:
    """Whether a first column's heading, which names no frequency that is read, names something else.

    Either a word says so (``Time``, ``omega``), or letters in brackets, which are a unit (``x [mm]``).
    """
    if any(re.search(r"[^\W\d_]", inside) for inside in _BRACKETS.findall(text)):
        return True
    words = [word.lower() for word in _WORD.findall(text)]
    return bool(words) and all(word in _WORDS or word.startswith(_BEGINNINGS) for word in words)
