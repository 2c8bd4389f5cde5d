"""How much of a response's deviations an equaliser takes away, as variables of ``curves.nc``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.case.netcdf_file import NetcdfReader, NetcdfWriter, Variable
from earwitness.records.correctability import Correctability, Deviation

_OF: Final = {
    "horizontal": "all round in the horizontal plane",
    "vertical": "all round in the vertical plane",
    "window": "within the listening window",
}
#: Field of the record → unit and meaning.
_FIELDS: Final = {
    "common_db2": ("dB2", "square of the deviation that is common to directions"),
    "apart_db2": ("dB2", "variance of deviations about what is common to directions"),
    "uncertainty": ("1", "one standard uncertainty of the common part, common / (common + apart),"),
}
_OVER: Final = ("correctable_frequency",)


def correctability_dims(told: Correctability | None) -> Mapping[str, int]:
    """The dimension that `write_correctability` needs."""
    return {} if told is None else {_OVER[0]: len(told.frequency_hz)}


def write_correctability(file: NetcdfWriter, told: Correctability) -> None:
    """Three variables for each plane and for the listening window."""
    file.numbers("correctable_frequency", Variable(_OVER, "Hz", "frequency"), told.frequency_hz)
    file.flags("correctable_valid", Variable(_OVER, "1", "whether it is valid"), told.valid)
    for of, where in _OF.items():
        for field, (unit, meaning) in _FIELDS.items():
            described = Variable(_OVER, unit, f"{meaning} {where}")
            file.numbers(f"correctable_{of}_{field}", described, getattr(getattr(told, of), field))


def read_correctability(file: NetcdfReader) -> Correctability | None:
    """What `write_correctability` wrote; None where it wrote nothing."""
    if not file.has("correctable_valid"):
        return None
    parts = {
        of: Deviation(**{field: file.numbers(f"correctable_{of}_{field}") for field in _FIELDS}) for of in _OF
    }
    return Correctability(
        frequency_hz=file.numbers("correctable_frequency"), valid=file.truths("correctable_valid"), **parts
    )
