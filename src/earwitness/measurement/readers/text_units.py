"""Units and words that a column's heading may hold."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from earwitness.measurement.readers.contents import LevelUnit
from earwitness.records.grid import REFERENCE_PRESSURE_PA


class Role(StrEnum):
    """What a column is."""

    FREQUENCY = "frequency"
    VALUE = "level"
    PHASE = "phase"
    REAL = "real"
    IMAGINARY = "imaginary"
    ASIDE = "-"


@dataclass(frozen=True, slots=True)
class ValueUnit:
    """A unit of levels or of linear values; `scale` takes it to the unit that `level` is relative to."""

    name: str
    level: LevelUnit
    linear: bool = False
    scale: float = 1.0


FREQUENCY_UNITS: Final[Mapping[str, float]] = {"Hz": 1.0, "kHz": 1e3}
PLAIN_DB: Final = ValueUnit("dB", LevelUnit.DB)
SPL: Final = ValueUnit("dB re 20 µPa", LevelUnit.SPL)
_PASCAL: Final = ValueUnit("dB re 1 Pa", LevelUnit.PASCAL)
_PER_VOLT: Final = ValueUnit("dB re 1 Pa/V", LevelUnit.PASCAL_PER_DRIVE)
_SPL_PER_VOLT: Final = ValueUnit("dB re 20 µPa/V", LevelUnit.PASCAL_PER_DRIVE, scale=REFERENCE_PRESSURE_PA)
_OHM_DB: Final = ValueUnit("dB re 1 Ω", LevelUnit.OHM)
OHM: Final = ValueUnit("ohm", LevelUnit.OHM, linear=True)
_LINEAR: Final = tuple(
    ValueUnit(prefix + unit, level, linear=True, scale=scale)
    for unit, level in (("Pa", LevelUnit.PASCAL), ("Pa/V", LevelUnit.PASCAL_PER_DRIVE))
    for prefix, scale in (("", 1.0), ("m", 1e-3), ("µ", 1e-6))
)
#: Units by their spelling without spaces and brackets, in small letters but for the prefix of pascals.
_VALUES: Final[Mapping[str, ValueUnit]] = {
    "db": PLAIN_DB,
    "dbr": PLAIN_DB,
    **dict.fromkeys(("dbspl", "dbre20µpa", "dbre2e-5pa", "dbre0.00002pa"), SPL),
    **dict.fromkeys(("dbpa", "dbrepa", "dbre1pa"), _PASCAL),
    **dict.fromkeys(("dbpa/v", "dbrepa/v", "dbre1pa/v", "dbre1pa/1v"), _PER_VOLT),
    **dict.fromkeys(("dbspl/v", "dbre20µpa/v", "dbre20µpa/1v"), _SPL_PER_VOLT),
    **dict.fromkeys(("dbre1ohm", "dbohm", "dbreohm"), _OHM_DB),
    **{unit.name.lower(): unit for unit in _LINEAR},
    **dict.fromkeys(("ohm", "ohms"), OHM),
    "kohm": ValueUnit("kohm", LevelUnit.OHM, linear=True, scale=1e3),
}
#: What ``read.level`` may be.
STATED_VALUES: Final[Mapping[str, ValueUnit]] = {
    "dB": PLAIN_DB,
    "dB SPL": SPL,
    "dB re 20 µPa": SPL,
    "dB re 1 Pa": _PASCAL,
    "dB re 1 Pa/V": _PER_VOLT,
    "Pa": _LINEAR[0],
    "Pa/V": _LINEAR[3],
    "ohm": OHM,
}

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
    rf"|(?P<other>(?:[mµμu]V|(?<!\d)(?<!\d\s)[mµμu]s|m?m/s|rad/s|counts){_NO_LETTER_AFTER}|(?<!\d)(?<!\d\s)%)"
    r")",
    re.IGNORECASE,
)


def value_unit(text: str) -> ValueUnit | None:
    """The unit that `text` spells; None where it is none that is read."""
    plain = re.sub(r"[\s()\[\]:]", "", text).replace("Ω", "ohm").replace("Ω", "ohm").replace("μ", "µ")
    if plain.startswith(("MPa", "MOhm", "Mohm")):
        return None
    plain = re.sub(r"^upa", "µpa", plain.lower()).replace("20upa", "20µpa").replace("re.", "re")
    if re.fullmatch(r"dbre[\d.]*k?hz", plain):
        return PLAIN_DB
    return _VALUES.get(plain.replace("pascals", "pa").replace("pascal", "pa"))


#: Words by what they make of a column; a longer word that begins as one of these does is the same. The first
#: that fits counts: a Frequenzgang is a response.
WORDS: Final[Mapping[Role, tuple[str, ...]]] = {
    Role.ASIDE: (
        "coher", "kohär", "distort", "thd", "klirr", "noise", "rauschen", "snr", "delay", "laufzeit",
        "gruppenlaufzeit", "harmoni", "uncert", "sigma", "std", "index", "minimum", "excess", "weight",
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
    "coh": Role.ASIDE,
}
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
