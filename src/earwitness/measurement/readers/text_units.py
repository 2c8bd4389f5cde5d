"""What a column's heading may hold: words, and where in it a unit stands."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class Role(StrEnum):
    """What a column is."""

    FREQUENCY = "frequency"
    VALUE = "level"
    PHASE = "phase"
    REAL = "real"
    IMAGINARY = "imaginary"
    ASIDE = "-"


FREQUENCY_UNITS: Final[Mapping[str, float]] = {"Hz": 1.0, "kHz": 1e3}
_NOT_AFTER_LETTER: Final = r"(?<![^\W\d_])"
_NO_LETTER_AFTER: Final = r"(?![^\W\d_])"
_RE: Final = r"re[.:]?\s*(?:[\d.]{1,8}(?:e-5)?\s*)?(?:[µμu]?Pa|k?Hz|ohm|Ω|Ω|V)"
#: Everything in a heading that is a unit, whether it is one that is read or not.
UNIT: Final = re.compile(
    rf"{_NOT_AFTER_LETTER}(?:"
    rf"(?P<decibel>dB\s?(?:SPL|{_RE}|\([^()]{{0,20}}\))?[a-z]{{0,4}}(?:\s?/\s?1?\s?V{_NO_LETTER_AFTER})?)"
    rf"|(?P<linear>(?:[mµμuk]?Pa(?:scals?)?(?:\s?/\s?V)?|[km]?(?:ohms?|Ω|Ω)){_NO_LETTER_AFTER})"
    rf"|(?P<frequency>(?<!\d)(?<!\d\s)[kM]?Hz{_NO_LETTER_AFTER})"
    rf"|(?P<radian>rad(?:ians?)?{_NO_LETTER_AFTER}(?!\s?/))"
    rf"|(?P<degree>(?<!\d)(?<!\d\s)(?:(?:deg|degrees?|grad|grados?|gradi|degrés?){_NO_LETTER_AFTER}|°))"
    rf"|(?P<other>(?:[mµμu]V|gons?|gradians?|(?<!\d)(?<!\d\s)[mµμu]s|m?m/s|rad/s|counts){_NO_LETTER_AFTER}|(?<!\d)(?<!\d\s)%)"
    r")",
    re.IGNORECASE,
)


#: Words by what they make of a column; a longer word that begins as one of these does is the same. The first
#: that fits counts: a Frequenzgang is a response.
WORDS: Final[Mapping[Role, tuple[str, ...]]] = {
    Role.ASIDE: (
        "coher", "kohär", "distort", "thd", "klirr", "noise", "rauschen", "snr", "delay", "laufzeit",
        "gruppenlaufzeit", "groupdelay", "verzerr", "distors", "harmoni", "uncert", "sigma", "std", "index",
        "minimum", "excess", "weight", "bewertet", "power", "leistung", "schallleistung", "schalleistung",
        "intensi", "directivity", "energ", "decay", "waterfall", "velocity", "schnelle", "displacement",
        "excursion", "auslenkung", "current", "strom", "voltage", "spannung",
    ),
    Role.VALUE: (
        "spl", "level", "pegel", "niveau", "nivel", "livello", "magn", "betrag", "modul", "ampl", "gain",
        "response", "pressure", "schalldruck", "impedan", "impédan", "frequenzgang",
    ),
    Role.FREQUENCY: ("freq", "fréq", "frec"),
    Role.PHASE: ("phas", "fase", "phi", "φ", "ϕ"),
    Role.REAL: ("real", "réel", "reell"),
    Role.IMAGINARY: ("imag",),
}  # fmt: skip
#: Words that are only these letters.
EXACT: Final[Mapping[str, Role]] = {
    "f": Role.FREQUENCY,
    "re": Role.REAL,
    "im": Role.IMAGINARY,
    "mag": Role.VALUE,
    "amp": Role.VALUE,
    "abs": Role.VALUE,
    "lp": Role.VALUE,
    "p": Role.VALUE,
    "z": Role.VALUE,
    "ph": Role.PHASE,
    "arg": Role.PHASE,
    **dict.fromkeys(("coh", "lw", "etc", "hd", "csd", "di"), Role.ASIDE),
}
#: Words that say that a level was made of measured ones; a longer word that begins as one does is the same.
_DERIVED: Final = (
    "normali", "normier", "smooth", "geglä", "gegla", "glätt", "glatt", "liss", "suaviz", "averag",
    "gemittel", "mittelwert", "simul", "predict", "vorherge", "differen", "target", "offset", "relativ",
    "inroom", "raumantw", "spatial",
)  # fmt: skip
_DERIVED_EXACT: Final = frozenset({"norm", "rel", "sim", "diff", "delta", "δ", "mean", "avg", "moyenne"})
#: Exact words of one letter mean something only where they stand alone.
FILLERS: Final = frozenset({"in", "part", "teil", "sound", "value", "wert", "of", "the", "unit", "acoustic"})
SPL_WORDS: Final = ("spl", "schalldruckpegel")
IMPEDANCE_WORDS: Final = ("impedan", "impédan", "z")


def role_of(word: str) -> Role | None:
    """What a word makes of its column; None for words that say nothing of that."""
    for role, beginnings in WORDS.items():
        if word.startswith(beginnings):
            return role
    return EXACT.get(word)


def is_derived(word: str) -> bool:
    """Whether a word says that its column was made of measured ones: smoothed, normalised, averaged."""
    return word.startswith(_DERIVED) or word in _DERIVED_EXACT
