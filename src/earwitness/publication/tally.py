"""How all listening notes of a case fare together, in words."""

from __future__ import annotations

from earwitness.records.sentences import EMPTY, Number, Sentence, say
from earwitness.records.testimony import Tally

_ROOT = "publication:told_together"


def tally_sentence(found: Tally | None) -> Sentence:
    """``Of 5 notes that can be tested 4 are supported; …``, and what a seal proves."""
    if found is None:
        return EMPTY
    told = EMPTY
    if found.testable:
        told = say(
            "Of ",
            _count(found.testable, "testable"),
            " that can be tested, sealed before any results were built, the data support ",
            Number(str(found.supported), found.supported, f"{_ROOT}/supported"),
            " and contradict ",
            Number(str(found.contradicted), found.contradicted, f"{_ROOT}/contradicted"),
            "; the same notes at shuffled places would hit ",
            Number(f"{found.by_chance:.1f}", found.by_chance, f"{_ROOT}/by_chance"),
            ", and as many as these or more with a probability of ",
            Number(f"{100.0 * found.as_many:.0f} %", found.as_many, f"{_ROOT}/as_many"),
            ". ",
        )
    if found.others:
        told += say(
            "Of ",
            _count(found.others, "others"),
            " of earlier cases, held against this loudspeaker, the data support ",
            Number(str(found.others_supported), found.others_supported, f"{_ROOT}/others_supported"),
            ". ",
        )
    return told + say(
        "A seal shows that the words weren't changed since; it doesn't prove when they were written, for "
        "clock and folder are the reviewer's own."
    )


def _count(number: int, name: str) -> Number:
    return Number(f"{number} note" if number == 1 else f"{number} notes", number, f"{_ROOT}/{name}")
