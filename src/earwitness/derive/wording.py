"""Small parts of sentences: constants and bands with their references."""

from __future__ import annotations

from collections.abc import Iterable

from earwitness.derive.formatting import frequency_text
from earwitness.records.sentences import EMPTY, Number, Sentence, say


def module_number(text: str, value: float, path: str) -> Number:
    """A number that a method's module defines; `path` is ``module/CONSTANT`` or ``module/CONSTANT/0``."""
    return Number(text, value, f"method:{path}")


def band_words(module: str, constant: str, band_hz: tuple[float, float]) -> Sentence:
    """A band that a module defines: ``300 Hz to 3 kHz``."""
    low, high = (
        module_number(frequency_text(edge), edge, f"{module}/{constant}/{i}")
        for i, edge in enumerate(band_hz)
    )
    return say(low, " to ", high)


def listing(items: Iterable[Sentence], between: str = ", ", last: str = " and ") -> Sentence:
    """``a, b and c``."""
    found = list(items)
    if len(found) < 2:
        return found[0] if found else EMPTY
    joined = found[0]
    for item in found[1:-1]:
        joined = joined + say(between) + item
    return joined + say(last) + found[-1]
