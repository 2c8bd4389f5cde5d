"""``curves.nc``: every curve over frequency, with its validity and uncertainty beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import IntEnum
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.case.correctability_variables import (
    correctability_dims,
    read_correctability,
    write_correctability,
)
from earwitness.case.documents import from_json, to_json
from earwitness.case.impedance_variables import impedance_dims, read_impedance, write_impedance
from earwitness.case.level_variables import level_dims, read_level, write_level
from earwitness.case.netcdf_file import (
    Array,
    Attributes,
    NetcdfReader,
    NetcdfWriter,
    Variable,
    band_hz,
    new_file,
    read_file,
)
from earwitness.case.time_variables import read_time, time_dims, write_time
from earwitness.records.curves import CoverageMap, Curve, CurveName, CurveSet
from earwitness.records.grid import Floats
from earwitness.records.long_term import NO_LONG_TERM, LongTerm
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Direction, Orbit, TakeId
from earwitness.records.tones import NO_TONES, ToneSet
from earwitness.records.uncertainty import ComponentName

_COMPONENTS: Final = tuple(ComponentName)
_LEVEL: Final = "dB re 20 µPa"
#: A load that lasts, and self-noise, as JSON: an attribute of the whole file.
_LONG_TERM: Final = "long_term"
#: What is added to steady tones, likewise.
_TONES: Final = "tones"
_LINES: Final = {
    "positive": "first −6 dB going outward on the positive side (left, or up)",
    "negative": "first −6 dB going outward on the negative side (right, or down), as a positive angle",
    "positive_uncertainty": "one standard uncertainty of the positive side",
    "negative_uncertainty": "one standard uncertainty of the negative side",
}
_MEETINGS: Final = {
    "on_axis": "level on axis of the horizontal orbit over the vertical one",
    "behind": "level behind of the horizontal orbit over the vertical one",
}
_EXTRAS: Final = {
    "separable_sound_power_db": (
        "sound_power_separable",
        _LEVEL,
        "sound power, separable in direction cosines",
    ),
    "in_room_trend_db": (
        "estimated_in_room_trend",
        _LEVEL,
        "straight line through the estimated in-room curve",
    ),
    "in_room_residual_db": ("estimated_in_room_residual", "dB", "estimated in-room curve about its trend"),
}


class Stated(IntEnum):
    """Whether a component of a curve's uncertainty is known."""

    NOT_APPLICABLE = 0
    NOT_STATED = 1
    STATED = 2


def save_curves(path: Path, curves: CurveSet) -> None:
    """Write `curves` as NetCDF-4: one variable a curve, ``_valid`` and ``_uncertainty`` beside it.

    Component uncertainties are one variable over (curve, component, frequency); ``rests_on`` says which
    takes, in which order, each curve or coverage map rests on (0: not on it).
    """
    named = sorted(curves.curves.values(), key=lambda curve: list(CurveName).index(curve.name))
    maps = [curves.coverage[orbit] for orbit in sorted(curves.coverage)]
    used = [*(curve.takes for curve in named), *(one.takes for one in maps)]
    takes = sorted({take for ids in used for take in ids})
    dims = {
        "frequency": len(curves.frequency_hz),
        "curve": len(named),
        "component": len(_COMPONENTS),
        "take": len(takes),
        "map": len(maps),
        **{f"angle_{one.orbit}": len(one.angle_deg) for one in maps},
        **time_dims(curves.time),
        **impedance_dims(curves.impedance),
        **level_dims(curves.level),
        **correctability_dims(curves.correctability),
    }
    with new_file(path, dims, "Curves") as file:
        file.whole({"drive": curves.drive, "valid_from_hz": curves.valid_from_hz})
        file.numbers("frequency", Variable(("frequency",), "Hz", "frequency"), curves.frequency_hz)
        file.texts("component", Variable(("component",), "1", "component of uncertainty"), _COMPONENTS)
        file.texts("curve", Variable(("curve",), "1", "name of the curve"), [c.name for c in named])
        file.texts("map", Variable(("map",), "1", "orbit of the coverage map"), [m.orbit for m in maps])
        file.texts("take", Variable(("take",), "1", "take that something rests on"), takes)
        for curve in named:
            _write_curve(file, curves.frequency_hz, curve, curves.drive)
        _write_components(file, named, len(curves.frequency_hz))
        for one in maps:
            _write_map(file, curves.frequency_hz, one)
        for what, ids in (("curve", used[: len(named)]), ("map", used[len(named) :])):
            meaning = f"place of the take among those that the {what} rests on; 0: not among them"
            file.numbers(f"{what}_rests_on", Variable((what, "take"), "1", meaning), _orders(ids, takes))
        _write_extras(file, curves)
        if curves.time is not None:
            write_time(file, curves.time)
        if curves.impedance is not None:
            write_impedance(file, curves.impedance)
        if curves.level is not None:
            write_level(file, curves.level)
        if curves.correctability is not None:
            write_correctability(file, curves.correctability)
        if curves.long_term.anything:
            file.whole({_LONG_TERM: to_json(curves.long_term).decode()})
        if curves.tones.anything:
            file.whole({_TONES: to_json(curves.tones).decode()})


def load_curves(path: Path) -> CurveSet:
    """The curves that `save_curves` wrote, exactly.

    Raises
    ------
    IntegrityError
        The file isn't there, or isn't one that a build wrote.
    """
    return read_file(path, _read)


def _write_curve(file: NetcdfWriter, frequency_hz: Floats, curve: Curve, drive: str) -> None:
    over = ("frequency",)
    index = curve.name in {CurveName.EARLY_REFLECTIONS_DI, CurveName.SOUND_POWER_DI}
    words = curve.name.words if index else f"{curve.name.words} at 1 m for {drive}"
    band = {"valid_band_hz": band_hz(frequency_hz, curve.valid)}
    made_by: Attributes = {
        **band,
        "method": curve.method,
        "source_document": curve.source.document,
        "source_edition": curve.source.edition,
        "source_clause": curve.source.clause,
        "source_standing": str(curve.source.standing),
        "missing_directions": " ".join(f"{d.orbit}:{d.angle_deg!r}" for d in curve.missing),
        "reading": curve.reading,
    }
    file.numbers(curve.name, Variable(over, "dB" if index else _LEVEL, words, made_by), curve.level_db)
    valid = Variable(over, "1", f"{words}: whether it is valid", band)
    file.flags(f"{curve.name}_valid", valid, curve.valid)
    spread = Variable(over, "dB", f"{words}: one standard uncertainty of what is stated", band)
    file.numbers(f"{curve.name}_uncertainty", spread, curve.uncertainty_db)


def _write_components(file: NetcdfWriter, curves: Sequence[Curve], points: int) -> None:
    """One block for all curves: thrice as fast as a variable each."""
    given = [spread for curve in curves for spread in curve.components_db.values() if spread is not None]
    values = np.full(
        (len(curves), len(_COMPONENTS), points), np.nan, dtype=np.result_type(np.float32, *given)
    )
    stated = np.full(values.shape[:2], Stated.NOT_APPLICABLE, dtype=np.uint8)
    for row, curve in enumerate(curves):
        for column, name in enumerate(_COMPONENTS):
            if name in curve.components_db:
                spread = curve.components_db[name]
                stated[row, column] = Stated.NOT_STATED if spread is None else Stated.STATED
                if spread is not None:
                    values[row, column] = spread
    grid = ("curve", "component")
    meaning = "one standard uncertainty by component"
    file.numbers("component_uncertainty", Variable((*grid, "frequency"), "dB", meaning), values)
    file.flags("component_stated", Variable(grid, "1", "whether the component is known"), stated, Stated)


def _write_map(file: NetcdfWriter, frequency_hz: Floats, one: CoverageMap) -> None:
    name, angle = f"coverage_{one.orbit}", f"angle_{one.orbit}"
    band = {"valid_band_hz": band_hz(frequency_hz, one.valid)}
    over = (angle, "frequency")
    file.numbers(angle, Variable((angle,), "degree", f"angle on the {one.orbit} orbit"), one.angle_deg)
    level = f"level on the {one.orbit} orbit re its smoothed on-axis response"
    file.numbers(name, Variable(over, "dB", level, band), one.relative_db)
    file.flags(f"{name}_valid", Variable(over, "1", f"{level}: whether it is valid", band), one.valid)
    stood_in = Variable((angle,), "1", "whether the other side, mirrored, stands in for it")
    file.flags(f"{angle}_mirrored", stood_in, np.isin(one.angle_deg, one.mirrored_deg))
    for line, meaning in _LINES.items():
        values = getattr(one, f"{line}_deg")
        file.numbers(f"{name}_{line}", Variable(("frequency",), "degree", meaning, band), values)


def _write_extras(file: NetcdfWriter, curves: CurveSet) -> None:
    for field, (name, units, meaning) in _EXTRAS.items():
        values = getattr(curves, field)
        if values is not None:
            band = {"valid_band_hz": band_hz(curves.frequency_hz, np.isfinite(values))}
            file.numbers(name, Variable(("frequency",), units, meaning, band), values)
    for where, meaning in _MEETINGS.items():
        if where in curves.meeting_difference_db:
            values = curves.meeting_difference_db[where]
            band = {"valid_band_hz": band_hz(curves.frequency_hz, np.isfinite(values))}
            file.numbers(f"meeting_{where}", Variable(("frequency",), "dB", meaning, band), values)


def _orders(of: Sequence[Sequence[TakeId]], takes: Sequence[TakeId]) -> Array:
    column = {take: i for i, take in enumerate(takes)}
    order = np.zeros((len(of), len(takes)), dtype=np.int32)
    for row, used in enumerate(of):
        order[row, [column[take] for take in used]] = np.arange(1, len(used) + 1)
    return order


def _read(file: NetcdfReader) -> CurveSet:
    if tuple(file.texts("component")) != _COMPONENTS:
        raise ValueError("components of uncertainty of another version")
    takes = [TakeId(take) for take in file.texts("take")]
    names = [CurveName(name) for name in file.texts("curve")]
    values, stated = file.numbers("component_uncertainty"), file.numbers("component_stated")
    used = file.numbers("curve_rests_on")
    curves = {
        name: _read_curve(file, name, _spreads(values[row], stated[row]), _ordered(used[row], takes))
        for row, name in enumerate(names)
    }
    used = file.numbers("map_rests_on")
    orbits = file.texts("map")
    return CurveSet(
        frequency_hz=file.numbers("frequency"),
        drive=str(file.whole("drive")),
        curves=curves,
        coverage={o: _read_map(file, o, _ordered(used[row], takes)) for row, o in enumerate(orbits)},
        valid_from_hz=float(file.whole("valid_from_hz")),
        meeting_difference_db={
            where: file.numbers(f"meeting_{where}") for where in _MEETINGS if file.has(f"meeting_{where}")
        },
        time=read_time(file),
        impedance=read_impedance(file),
        level=read_level(file),
        correctability=read_correctability(file),
        long_term=from_json(LongTerm, str(file.whole(_LONG_TERM)).encode())
        if file.has_whole(_LONG_TERM)
        else NO_LONG_TERM,
        tones=from_json(ToneSet, str(file.whole(_TONES)).encode()) if file.has_whole(_TONES) else NO_TONES,
        **{field: file.numbers(n) if file.has(n) else None for field, (n, _, _) in _EXTRAS.items()},
    )


def _spreads(values: Floats, stated: Array) -> Mapping[ComponentName, Floats | None]:
    return {
        name: values[i] if stated[i] == Stated.STATED else None
        for i, name in enumerate(_COMPONENTS)
        if stated[i] != Stated.NOT_APPLICABLE
    }


def _ordered(order: Array, takes: Sequence[TakeId]) -> tuple[TakeId, ...]:
    return tuple(takes[i] for i in np.argsort(order, kind="stable") if order[i])


def _read_curve(
    file: NetcdfReader,
    name: CurveName,
    spreads: Mapping[ComponentName, Floats | None],
    takes: tuple[TakeId, ...],
) -> Curve:
    document, edition, clause, standing = (
        str(file.attribute(name, f"source_{part}")) for part in ("document", "edition", "clause", "standing")
    )
    missing = [word.split(":") for word in str(file.attribute(name, "missing_directions")).split()]
    return Curve(
        name=name,
        level_db=file.numbers(name),
        valid=file.truths(f"{name}_valid"),
        uncertainty_db=file.numbers(f"{name}_uncertainty"),
        components_db=spreads,
        method=str(file.attribute(name, "method")),
        source=Source(document, edition, clause, Standing(standing)),
        takes=takes,
        missing=tuple(Direction(Orbit(orbit), float(angle)) for orbit, angle in missing),
        reading=str(file.attribute(name, "reading")),
    )


def _read_map(file: NetcdfReader, orbit: str, takes: tuple[TakeId, ...]) -> CoverageMap:
    name = f"coverage_{orbit}"
    angle_deg = file.numbers(f"angle_{orbit}")
    return CoverageMap(
        orbit=orbit,
        angle_deg=angle_deg,
        relative_db=file.numbers(name),
        valid=file.truths(f"{name}_valid"),
        takes=takes,
        mirrored_deg=tuple(angle_deg[file.truths(f"angle_{orbit}_mirrored")].tolist()),
        **{f"{line}_deg": file.numbers(f"{name}_{line}") for line in _LINES},
    )
