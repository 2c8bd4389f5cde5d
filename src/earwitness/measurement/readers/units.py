"""Units of levels and of linear values: how each is called, what it makes of a level, and how it is spelt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from earwitness.measurement.readers.contents import LevelUnit
from earwitness.records.grid import REFERENCE_PRESSURE_PA


@dataclass(frozen=True, slots=True)
class ValueUnit:
    """A unit of levels or of linear values; `scale` takes it to the unit that `level` is relative to.

    Two that differ in their name alone are the same.
    """

    name: str = field(compare=False)
    level: LevelUnit
    linear: bool = False
    scale: float = 1.0


PLAIN_DB: Final = ValueUnit("dB", LevelUnit.DB)
SPL: Final = ValueUnit("dB re 20 µPa", LevelUnit.SPL)
OHM: Final = ValueUnit("ohm", LevelUnit.OHM, linear=True)
RATIO: Final = ValueUnit("1", LevelUnit.RATIO, linear=True)
_PASCAL_DB: Final = ValueUnit("dB re 1 Pa", LevelUnit.PASCAL)
_PER_VOLT_DB: Final = ValueUnit("dB re 1 Pa/V", LevelUnit.PASCAL_PER_DRIVE)
_SPL_PER_VOLT: Final = ValueUnit("dB re 20 µPa/V", LevelUnit.PASCAL_PER_DRIVE, scale=REFERENCE_PRESSURE_PA)
_OHM_DB: Final = ValueUnit("dB re 1 ohm", LevelUnit.OHM)
_LINEAR: Final[Mapping[str, ValueUnit]] = {
    prefix + unit: ValueUnit(prefix + unit, level, linear=True, scale=scale)
    for unit, level in (("Pa", LevelUnit.PASCAL), ("Pa/V", LevelUnit.PASCAL_PER_DRIVE))
    for prefix, scale in (("", 1.0), ("m", 1e-3), ("µ", 1e-6))
}
#: What the case may state, by name.
STATED: Final[Mapping[str, ValueUnit]] = {
    "dB": PLAIN_DB,
    "dB SPL": SPL,
    "dB re 20 µPa": SPL,
    "dB re 1 Pa": _PASCAL_DB,
    "dB re 1 Pa/V": _PER_VOLT_DB,
    "dB re 1 ohm": _OHM_DB,
    "Pa": _LINEAR["Pa"],
    "Pa/V": _LINEAR["Pa/V"],
    "Pa per unit of drive": ValueUnit("Pa per unit of drive", LevelUnit.PASCAL_PER_DRIVE, linear=True),
    "ohm": OHM,
    "1": RATIO,
}
#: Those of linear values, which real and imaginary parts are in too.
LINEAR: Final = {name: unit for name, unit in STATED.items() if unit.linear}
#: Those of sound pressures.
PRESSURES: Final = {
    name: unit
    for name, unit in LINEAR.items()
    if unit.level in (LevelUnit.PASCAL, LevelUnit.PASCAL_PER_DRIVE)
}
#: Units by their spelling without spaces and brackets, in small letters but for the prefix of pascals.
_SPELT: Final[Mapping[str, ValueUnit]] = {
    "db": PLAIN_DB,
    "dbr": PLAIN_DB,
    **dict.fromkeys(("dbspl", "dbre20µpa", "dbre2e-5pa", "dbre0.00002pa"), SPL),
    **dict.fromkeys(("dbpa", "dbrepa", "dbre1pa"), _PASCAL_DB),
    **dict.fromkeys(("dbpa/v", "dbrepa/v", "dbre1pa/v", "dbre1pa/1v"), _PER_VOLT_DB),
    **dict.fromkeys(("dbspl/v", "dbre20µpa/v", "dbre20µpa/1v"), _SPL_PER_VOLT),
    **dict.fromkeys(("dbre1ohm", "dbohm", "dbreohm"), _OHM_DB),
    **{name.lower(): unit for name, unit in _LINEAR.items()},
    **dict.fromkeys(("ohm", "ohms"), OHM),
    "kohm": ValueUnit("kohm", LevelUnit.OHM, linear=True, scale=1e3),
}


def value_unit(text: str) -> ValueUnit | None:
    """The unit that `text` spells; None where it is none that is read."""
    plain = re.sub(r"[\s()\[\]:]", "", text).replace("Ω", "ohm").replace("Ω", "ohm").replace("μ", "µ")
    if plain.startswith(("MPa", "MOhm", "Mohm")):
        return None
    plain = re.sub(r"^upa", "µpa", plain.lower()).replace("20upa", "20µpa").replace("re.", "re")
    if re.fullmatch(r"dbre[\d.]*k?hz", plain):
        return PLAIN_DB
    return _SPELT.get(plain.replace("pascals", "pa").replace("pascal", "pa"))
