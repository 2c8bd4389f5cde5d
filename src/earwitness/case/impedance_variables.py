"""Impedance as variables of ``responses.nc`` (as measured) and ``curves.nc`` (as drawn)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Final

import numpy as np
from pydantic import TypeAdapter

from earwitness.case.netcdf_file import Attributes, NetcdfReader, NetcdfWriter, Variable
from earwitness.records.impedance import BoxFit, Extreme, Impedance, MeasuredImpedance, Wrinkle
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName

_ALONG: Final = ("frequency",)
_TAKES: Final = "impedance_takes"
_MEASURED: Final = "impedance_re"
_DERIVED: Final = "impedance_magnitude"
#: Field of `Impedance` → variable, unit and meaning.
_CURVES: Final = {
    "magnitude_ohm": (_DERIVED, "ohm", "magnitude of the impedance at the terminals"),
    "phase_deg": ("impedance_phase", "degree", "its phase"),
    "uncertainty_ohm": ("impedance_uncertainty", "ohm", "one standard uncertainty of its magnitude"),
    "load_ohm": (
        "impedance_amplifier_load",
        "ohm",
        "resistor that heats an ideal class-B amplifier as much at the worst moment",
    ),
}


@dataclass(frozen=True, slots=True)
class _Found:
    """What isn't a curve, kept as JSON beside the magnitude."""

    minima: tuple[Extreme, ...]
    maxima: tuple[Extreme, ...]
    wrinkles: tuple[Wrinkle, ...]
    box: BoxFit | None
    not_stated: tuple[ComponentName, ...]


def impedance_dims(found: MeasuredImpedance | Impedance | None) -> Mapping[str, int]:
    """The dimensions that the writers need beside ``frequency``."""
    return {} if found is None else {"impedance_take": len(found.takes)}


def write_measured(file: NetcdfWriter, measured: MeasuredImpedance) -> None:
    """The impedance as it was measured."""
    _write_takes(file, measured.takes)
    about: Attributes = {
        "drive": measured.drive,
        "has_phase": int(measured.has_phase),
        "known_resistor": int(measured.known_resistor),
    }
    for part, values in (("re", measured.ohms.real), ("im", measured.ohms.imag)):
        words = {"re": "real", "im": "imaginary"}[part]
        meaning = f"{words} part of the impedance at the terminals"
        file.numbers(f"impedance_{part}", Variable(_ALONG, "ohm", meaning, about), values)
    file.flags("impedance_valid", Variable(_ALONG, "1", "whether the impedance is valid"), measured.valid)
    noise = Variable(_ALONG, "ohm", "one standard uncertainty of its magnitude: noise")
    file.numbers("impedance_uncertainty_noise", noise, measured.noise_ohm)
    if measured.repeat_ohm is not None:
        repeat = Variable(_ALONG, "ohm", "one standard uncertainty of its magnitude: repeat")
        file.numbers("impedance_uncertainty_repeat", repeat, measured.repeat_ohm)


def read_measured(file: NetcdfReader) -> MeasuredImpedance | None:
    """What `write_measured` wrote; None where it wrote nothing."""
    if not file.has(_MEASURED):
        return None
    repeat = "impedance_uncertainty_repeat"
    return MeasuredImpedance(
        takes=_read_takes(file),
        drive=str(file.attribute(_MEASURED, "drive")),
        ohms=file.numbers(_MEASURED) + 1j * file.numbers("impedance_im"),
        valid=file.truths("impedance_valid"),
        has_phase=bool(file.attribute(_MEASURED, "has_phase")),
        noise_ohm=file.numbers("impedance_uncertainty_noise"),
        repeat_ohm=file.numbers(repeat) if file.has(repeat) else None,
        known_resistor=bool(file.attribute(_MEASURED, "known_resistor")),
    )


def write_impedance(file: NetcdfWriter, found: Impedance) -> None:
    """The impedance as it is drawn, and what was found in it."""
    _write_takes(file, found.takes)
    unknown = tuple(name for name, values in found.components_ohm.items() if values is None)
    beside = asdict(_Found(found.minima, found.maxima, found.wrinkles, found.box, unknown))
    about: Attributes = {
        "drive": found.drive,
        "known_resistor": int(found.known_resistor),
        "found": json.dumps(beside, sort_keys=True, allow_nan=False),
    }
    for field, (name, units, meaning) in _CURVES.items():
        described = Variable(_ALONG, units, meaning, about if name == _DERIVED else {})
        file.numbers(name, described, getattr(found, field))
    for component, values in found.components_ohm.items():
        if values is not None:
            meaning = f"one standard uncertainty of its magnitude: {component}"
            file.numbers(f"impedance_uncertainty_{component}", Variable(_ALONG, "ohm", meaning), values)


def read_impedance(file: NetcdfReader) -> Impedance | None:
    """What `write_impedance` wrote; None where it wrote nothing."""
    if not file.has(_DERIVED):
        return None
    beside = TypeAdapter(_Found).validate_json(str(file.attribute(_DERIVED, "found")))
    components = {
        name: None if name in beside.not_stated else file.numbers(f"impedance_uncertainty_{name}")
        for name in ComponentName
        if name in beside.not_stated or file.has(f"impedance_uncertainty_{name}")
    }
    return Impedance(
        takes=_read_takes(file),
        drive=str(file.attribute(_DERIVED, "drive")),
        known_resistor=bool(file.attribute(_DERIVED, "known_resistor")),
        **{field: np.asarray(file.numbers(name)) for field, (name, _, _) in _CURVES.items()},
        components_ohm=components,
        minima=beside.minima,
        maxima=beside.maxima,
        wrinkles=beside.wrinkles,
        box=beside.box,
    )


def _write_takes(file: NetcdfWriter, takes: tuple[TakeId, ...]) -> None:
    file.texts(_TAKES, Variable(("impedance_take",), "1", "takes of the impedance"), takes)


def _read_takes(file: NetcdfReader) -> tuple[TakeId, ...]:
    return tuple(TakeId(take) for take in file.texts(_TAKES))
