"""``responses.nc``: every directional response, one row a take, as other programs read it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final, cast

import numpy as np

from earwitness.case.impedance_variables import impedance_dims, read_measured, write_measured
from earwitness.case.netcdf_file import (
    Attributes,
    NetcdfReader,
    NetcdfWriter,
    Variable,
    band_hz,
    new_file,
    read_file,
)
from earwitness.records.responses import Origin, Responses, Splice, ToldApart
from earwitness.records.takes import Direction, Drive, DriveUnit, Orbit, Take, TakeId, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

_COORDINATES: Final = "kind orbit orbit_angle azimuth elevation drive drive_unit repeat"
_ANGLES: Final = "AES69: azimuth counter-clockwise from above, +90 the loudspeaker's left; elevation up"
#: Fields of `ToldApart` over frequency → unit and meaning.
_TOLD_APART: Final = {
    "frequency_hz": ("Hz", "frequency"),
    "order": ("1", "order of outgoing waves"),
    "condition": ("1", "condition of the matrix of all waves"),
    "residual": ("1", "what the waves leave of the pressures, root mean square re theirs"),
}


def save_responses(path: Path, responses: Responses) -> None:
    """Write `responses` as NetCDF-4, long: one row a take, complex values as ``_re`` and ``_im``."""
    takes, frequency = len(responses.takes), len(responses.frequency_hz)
    dims = {
        "take": takes,
        "frequency": frequency,
        "sample": responses.impulse_response.shape[-1],
        "note": len(responses.notes),
    }
    dims |= impedance_dims(responses.impedance)
    if responses.told_apart is not None:
        dims["separation_frequency"] = len(responses.told_apart.frequency_hz)
    band: Attributes = {
        "valid_band_hz": band_hz(responses.frequency_hz, responses.valid),
        "coordinates": _COORDINATES,
    }
    with new_file(path, dims, "Responses") as file:
        file.whole({"lead_s": responses.lead_s, "valid_from_hz": responses.valid_from_hz})
        file.numbers("frequency", Variable(("frequency",), "Hz", "frequency"), responses.frequency_hz)
        _write_takes(file, responses.takes)
        _write_per_take(file, responses)
        grid = ("take", "frequency")
        unit = _pressure_unit(responses.takes)
        for part, values in (("re", responses.pressure.real), ("im", responses.pressure.imag)):
            words = {"re": "real", "im": "imaginary"}[part]
            meaning = f"{words} part of the sound pressure at 1 m per unit of drive"
            file.numbers(f"pressure_{part}", Variable(grid, unit, meaning, band), values)
        file.flags(
            "pressure_valid", Variable(grid, "1", "whether the pressure is valid", band), responses.valid
        )
        origin = Variable(grid, "1", "where the pressure comes from", band)
        file.flags("pressure_origin", origin, responses.origin, Origin)
        for name, spread in sorted(responses.components.items()):
            meaning = f"one standard uncertainty of the pressure: {name}"
            file.numbers(f"pressure_uncertainty_{name}", Variable(grid, "dB", meaning, band), spread)
        if responses.repeat_degrees is not None:
            meaning = "degrees of freedom of what repeats of near fields tell"
            file.numbers("repeat_degrees", Variable(("frequency",), "1", meaning), responses.repeat_degrees)
        impulse = Variable(("take", "sample"), unit, "gated impulse response at 1 m per unit of drive")
        file.numbers("impulse_response", impulse, responses.impulse_response)
        if responses.impedance is not None:
            write_measured(file, responses.impedance)
        if responses.told_apart is not None:
            _write_told_apart(file, responses.told_apart)


def load_responses(path: Path) -> Responses:
    """The responses that `save_responses` wrote, exactly.

    Raises
    ------
    IntegrityError
        The file isn't there, or isn't one that a build wrote.
    """
    return read_file(path, _read_responses)


def _read_responses(file: NetcdfReader) -> Responses:
    real, imaginary = file.numbers("pressure_re"), file.numbers("pressure_im")
    pressure = np.empty(real.shape, dtype=np.result_type(real.dtype, np.complex64))
    pressure.real, pressure.imag = real, imaginary
    spread = {
        n: file.numbers(f"pressure_uncertainty_{n}")
        for n in ComponentName
        if file.has(f"pressure_uncertainty_{n}")
    }
    near = file.texts("near_field_takes")
    takes = _read_takes(file)
    aside = file.truths("set_aside").tolist()
    return Responses(
        takes=takes,
        frequency_hz=file.numbers("frequency"),
        pressure=pressure,
        valid=file.truths("pressure_valid"),
        origin=file.numbers("pressure_origin"),
        has_phase=file.truths("has_phase"),
        seen_angle_deg=file.numbers("seen_angle"),
        components=spread,
        impulse_response=file.numbers("impulse_response"),
        sample_rate_hz=file.numbers("sample_rate"),
        gate_s=file.numbers("gate"),
        lead_s=float(file.whole("lead_s")),
        near_field_takes=tuple(tuple(TakeId(i) for i in ids.split("\n") if i) for ids in near),
        valid_from_hz=float(file.whole("valid_from_hz")),
        notes=tuple(file.texts("notes")),
        splices=_read_splices(file, takes),
        set_aside=tuple(take.id for take, out in zip(takes, aside, strict=True) if out),
        told_apart=_read_told_apart(file),
        microphone_m=file.numbers("microphone") if file.has("microphone") else None,
        repeat_degrees=file.numbers("repeat_degrees") if file.has("repeat_degrees") else None,
        impedance=read_measured(file),
    )


def _write_per_take(file: NetcdfWriter, responses: Responses) -> None:
    along = ("take",)
    seen = "angle of the microphone as seen from the reference point"
    file.flags("has_phase", Variable(along, "1", "whether the phase means something"), responses.has_phase)
    file.numbers("seen_angle", Variable(along, "degree", seen), responses.seen_angle_deg)
    rate = Variable(along, "Hz", "sample rate of the impulse response; 0 where there is none")
    file.numbers("sample_rate", rate, responses.sample_rate_hz)
    gate = Variable(along, "s", "end of the gate after the arrival; 0 where there is none")
    file.numbers("gate", gate, responses.gate_s)
    if responses.microphone_m is not None:
        meaning = "where the microphone stood from the reference point: ahead, to the left, up"
        file.numbers("microphone", Variable(("take", "axis"), "m", meaning), responses.microphone_m)
    near = ["\n".join(ids) for ids in responses.near_field_takes]
    file.texts("near_field_takes", Variable(along, "1", "near-field takes spliced in, one a line"), near)
    _write_splices(file, responses)
    aside = [take.id in responses.set_aside for take in responses.takes]
    meaning = "whether the take departs so far from its repeats that it counts for nothing"
    file.flags("set_aside", Variable(along, "1", meaning), np.array(aside))
    file.texts("notes", Variable(("note",), "1", "what the reduction decided, and why"), responses.notes)


def _write_splices(file: NetcdfWriter, responses: Responses) -> None:
    """Three numbers a take; NaN where nothing was spliced in."""
    splices = [responses.splices.get(take.id) for take in responses.takes]
    for name, units, meaning, values in (
        ("splice_low", "Hz", "lower end of the splice", [s and s.low_hz for s in splices]),
        ("splice_high", "Hz", "upper end of the splice", [s and s.high_hz for s in splices]),
        (
            "splice_mismatch",
            "dB",
            "gated over near field in the splice",
            [s and s.mismatch_db for s in splices],
        ),
    ):
        plain = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
        file.numbers(name, Variable(("take",), units, meaning), plain)


def _read_splices(file: NetcdfReader, takes: Sequence[Take]) -> dict[TakeId, Splice]:
    columns = [file.numbers(f"splice_{name}").tolist() for name in ("low", "high", "mismatch")]
    rows = zip(takes, *columns, strict=True)
    return {take.id: Splice(low, high, apart) for take, low, high, apart in rows if not np.isnan(low)}


def _write_told_apart(file: NetcdfWriter, told: ToldApart) -> None:
    along = ("separation_frequency",)
    for field, (units, meaning) in _TOLD_APART.items():
        file.numbers(
            f"separation_{field.removesuffix('_hz')}", Variable(along, units, meaning), getattr(told, field)
        )
    taken = Variable(along, "1", "whether the separated response was taken")
    file.flags("separation_taken", taken, told.taken)


def _read_told_apart(file: NetcdfReader) -> ToldApart | None:
    if not file.has("separation_taken"):
        return None
    values = {field: file.numbers(f"separation_{field.removesuffix('_hz')}") for field in _TOLD_APART}
    return ToldApart(**values, taken=file.truths("separation_taken"))


def _write_takes(file: NetcdfWriter, takes: Sequence[Take]) -> None:
    """The coordinates along ``take``; an empty text or NaN stands for what a take doesn't have."""
    directions = [take.key.direction for take in takes]
    drives = [take.key.drive for take in takes]

    def texts(name: str, meaning: str, values: Sequence[object]) -> None:
        described = Variable(("take",), "1", meaning)
        file.texts(name, described, ["" if value is None else str(value) for value in values])

    def numbers(name: str, units: str, meaning: str, values: Sequence[float | None]) -> None:
        plain = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
        file.numbers(name, Variable(("take",), units, meaning), plain)

    texts("path", "raw file", [take.path for take in takes])
    texts("selector", "part of the raw file; empty for the whole", [take.selector for take in takes])
    texts("kind", "kind of take", [take.key.kind for take in takes])
    texts("orbit", "plane of the orbit", [d and d.orbit for d in directions])
    numbers("orbit_angle", "degree", "angle on the orbit", [d.angle_deg if d else None for d in directions])
    numbers("azimuth", "degree", f"azimuth ({_ANGLES})", [d.azimuth_deg if d else None for d in directions])
    numbers(
        "elevation", "degree", f"elevation ({_ANGLES})", [d.elevation_deg if d else None for d in directions]
    )
    numbers("drive", "1", "electrical drive, in drive_unit", [d.value if d else None for d in drives])
    texts("drive_unit", "V (RMS at the terminals), dBFS or dBu", [d and d.unit for d in drives])
    repeats = np.array([take.key.repeat for take in takes], dtype=np.int32)
    file.numbers("repeat", Variable(("take",), "1", "which of several repeats"), repeats)
    texts("radiator", "radiator measured near by", [take.key.radiator for take in takes])
    texts("stimulus", "raw file that was played", [take.stimulus for take in takes])
    numbers("level", "dB re 20 µPa", "a calibrator's level", [take.level_db for take in takes])
    numbers("distance", "m", "distance from the radiator", [take.distance_m for take in takes])
    options = [json.dumps(dict(take.read), sort_keys=True) if take.read else "" for take in takes]
    texts("read", "what the case states of the file's form, as JSON", options)


def _read_takes(file: NetcdfReader) -> tuple[Take, ...]:
    text = {
        n: file.texts(n)
        for n in ("path", "selector", "kind", "orbit", "drive_unit", "radiator", "stimulus", "read")
    }
    number = {n: file.numbers(n).tolist() for n in ("orbit_angle", "drive", "repeat", "level", "distance")}
    return tuple(
        _one_take({n: v[i] for n, v in text.items()}, {n: v[i] for n, v in number.items()})
        for i in range(len(text["path"]))
    )


def _one_take(text: Mapping[str, str], number: Mapping[str, float]) -> Take:
    direction = Direction(Orbit(text["orbit"]), number["orbit_angle"]) if text["orbit"] else None
    unit = text["drive_unit"]
    drive = Drive(number["drive"], cast(DriveUnit, unit)) if unit else None
    key = TakeKey(TakeKind(text["kind"]), direction, drive, text["radiator"] or None, int(number["repeat"]))
    level, distance = (None if np.isnan(number[n]) else number[n] for n in ("level", "distance"))
    read = tuple(json.loads(text["read"]).items()) if text["read"] else ()
    return Take(text["path"], key, text["selector"], text["stimulus"] or None, level, distance, read)


def _pressure_unit(takes: Sequence[Take]) -> str:
    """Pascals per volt, per digital full scale, or said in words where a case has both."""
    units = {take.key.drive.unit for take in takes if take.key.drive}
    named = {
        frozenset({"V"}): "Pa/V",
        frozenset({"dBFS"}): "Pa per full scale",
        frozenset({"dBu"}): "Pa per 0 dBu",
    }
    return named.get(frozenset(units), "Pa per unit of drive")
