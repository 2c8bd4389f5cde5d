"""What a file's own lines say: only those of which every word is understood."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import Final

from earwitness.measurement.recognition.tokens import Text, Token, text_of
from earwitness.measurement.recognition.words import HEADER_WORDS, ON_AXIS

HEADER: Final = "header"

_MOST_LINES: Final = 200
_LONGEST_LINE: Final = 200
_MOST_TOKENS: Final = 12


def header_text(lines: Sequence[str]) -> Text:
    """The tokens of the lines that say where and how the file was measured, in one text."""
    tokens: list[Token] = []
    for line in islice(lines, _MOST_LINES):
        text = text_of(line[:_LONGEST_LINE], HEADER)
        if _is_understood(text) and len(line) <= _LONGEST_LINE:
            tokens += text.tokens
    return Text(tuple(tokens))


def _is_understood(text: Text) -> bool:
    words = text.words
    on_axis = any(text.find(pair) is not None for pair in ON_AXIS)
    axis = on_axis or not words & {"axis", "achse", "axe", "eje"}
    return bool(words) and words <= HEADER_WORDS and axis and len(text.tokens) <= _MOST_TOKENS
