"""``distortion.nc``: harmonics by order at each drive, as other programs read it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count, takewhile
from pathlib import Path
from typing import Final, cast

import numpy as np

from earwitness.case.netcdf_file import NetcdfReader, NetcdfWriter, Variable, new_file, read_file
from earwitness.records.distortion import LevelSeries
from earwitness.records.takes import Drive, DriveUnit, TakeId

#: What the variables of a series begin with: on axis, and near radiators, the first, second and so on.
_ON_AXIS: Final = "on_axis"
_NEAR: Final = "near_field"


def save_levels(path: Path, series: Sequence[LevelSeries]) -> None:
    """Write at most one series on axis and one near each radiator as NetCDF-4."""
    near = [one for one in series if one.radiator is not None]
    on_axis = [one for one in series if one.radiator is None]
    named = dict(zip([_ON_AXIS] * len(on_axis), on_axis, strict=True))
    named |= {_near(number): one for number, one in enumerate(near)}
    dims: dict[str, int] = {}
    for place, one in named.items():
        dims |= {f"{place}_drive": len(one.drives), f"{place}_note": len(one.notes)}
        dims |= {"order": len(one.order), "frequency": len(one.frequency_hz)}
    with new_file(path, dims, "Distortion") as file:
        for place, one in named.items():
            _write(file, place, one)
        for one in list(named.values())[:1]:
            file.numbers("frequency", Variable(("frequency",), "Hz", "excitation"), one.frequency_hz)
            orders = np.array(one.order, dtype=np.int32)
            file.numbers(
                "order", Variable(("order",), "1", "order of the harmonic; 1 is the fundamental"), orders
            )


def _near(number: int) -> str:
    """``near_field``, ``near_field_2``, and so on."""
    return _NEAR if not number else f"{_NEAR}_{number + 1}"


def load_levels(path: Path) -> tuple[LevelSeries, ...]:
    """The series that `save_levels` wrote, exactly.

    Raises
    ------
    IntegrityError
        The file isn't there, or isn't one that a build wrote.
    """
    return read_file(path, _read)


def _write(file: NetcdfWriter, place: str, one: LevelSeries) -> None:
    along, grid = (f"{place}_drive",), (f"{place}_drive", "order", "frequency")

    def texts(name: str, dims: tuple[str, ...], meaning: str, values: Sequence[str]) -> None:
        file.texts(f"{place}_{name}", Variable(dims, "1", meaning), values)

    file.whole({f"{place}_radiator": one.radiator or ""})
    texts("take", along, "take at each drive", one.takes)
    texts("drive_unit", along, "V (RMS at the terminals), dBFS or dBu", [d.unit for d in one.drives])
    drives = np.array([d.value for d in one.drives], dtype=np.float64)
    file.numbers(f"{place}_drive", Variable(along, "1", "electrical drive, in drive_unit"), drives)
    texts("notes", (f"{place}_note",), "what was decided", one.notes)
    words, where = {"re": "real", "im": "imaginary"}, " at 1 m" if one.radiator is None else ""
    for part, values in (("re", one.pressure.real), ("im", one.pressure.imag)):
        meaning = f"{words[part]} part of the RMS sound pressure of the order at its drive{where}"
        file.numbers(f"{place}_pressure_{part}", Variable(grid, "Pa", meaning), values)
    noise = Variable(grid, "Pa2", "what noise alone adds to the square of the pressure")
    file.numbers(f"{place}_noise_power", noise, one.noise_power)
    held = Variable(grid, "1", "whether the sweep holds the order; what noise hides is held too")
    file.flags(f"{place}_valid", held, one.valid)
    free = Variable(("order", "frequency"), "1", "whether the level is that of the free field")
    file.flags(f"{place}_free_field", free, one.free_field)
    if one.carried is not None:
        carried = Variable(("order", "frequency"), "1", "pressure at 1 m re that in front of the radiator")
        file.numbers(f"{place}_carried", carried, one.carried)


def _read(file: NetcdfReader) -> tuple[LevelSeries, ...]:
    near = takewhile(lambda place: file.has(f"{place}_drive"), map(_near, count()))
    places = [place for place in (_ON_AXIS,) if file.has(f"{place}_drive")]
    return tuple(_one(file, place) for place in (*places, *near))


def _one(file: NetcdfReader, place: str) -> LevelSeries:
    units = file.texts(f"{place}_drive_unit")
    values = file.numbers(f"{place}_drive").tolist()
    real, imaginary = (file.numbers(f"{place}_pressure_{part}") for part in ("re", "im"))
    pressure = np.empty(real.shape, dtype=np.result_type(real.dtype, np.complex64))
    pressure.real, pressure.imag = real, imaginary
    return LevelSeries(
        radiator=str(file.whole(f"{place}_radiator")) or None,
        takes=tuple(TakeId(take) for take in file.texts(f"{place}_take")),
        drives=tuple(Drive(value, cast(DriveUnit, unit)) for value, unit in zip(values, units, strict=True)),
        frequency_hz=file.numbers("frequency"),
        order=tuple(int(n) for n in file.numbers("order")),
        pressure=pressure,
        noise_power=file.numbers(f"{place}_noise_power"),
        valid=file.truths(f"{place}_valid"),
        free_field=file.truths(f"{place}_free_field"),
        notes=tuple(file.texts(f"{place}_notes")),
        carried=file.numbers(f"{place}_carried") if file.has(f"{place}_carried") else None,
    )
