"""Our own ``responses.nc``, of another case or of a data pack, as a raw file.

Each of its rows is a part with the direction, drive and repeat that it has there. The pressures are per unit
of drive at 1 m already, their time of flight removed; where they aren't valid there, they aren't here. What
that case found of their uncertainty stays behind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Part,
    Placed,
    Source,
    rows_of,
)
from earwitness.measurement.readers.hdf5_file import Hdf5File, hdf5_file
from earwitness.records.errors import ReadError
from earwitness.records.grid import REFERENCE_DISTANCE_M
from earwitness.records.takes import Direction, Drive, DriveUnit, Orbit, TakeKind

Float64s = npt.NDArray[np.float64]

SCHEMA_VERSION: Final = 1
MAX_ROWS: Final = 5_000
_GRID: Final = ("pressure_re", "pressure_im", "pressure_valid")
_INTERPOLATION: Final = "pressure_uncertainty_interpolation"
_NUMBERS: Final = ("has_phase", "seen_angle", "orbit_angle", "drive", "repeat")
_TEXTS: Final = ("orbit", "drive_unit")


class NetcdfReader:
    """The reader of responses that a build wrote."""

    name = "netcdf"
    suffixes = frozenset({".nc"})
    level_option = ""
    options: Mapping[str, str] = {}

    def look(self, source: Source) -> Contents:
        """What the file holds."""
        parts = _held(source).parts
        return Contents(Form.RESPONSES, parts, (), f"{len(parts)} responses of a case, at 1 m")

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[MeasuredResponse]:
        """The rows that `selectors` name."""
        held = _held(source)
        rows = rows_of(source, [part.selector for part in held.parts], selectors)
        return [held.response(row) for row in rows]


READER: Final = NetcdfReader()


@dataclass(frozen=True)
class _Held:
    """T rows: parts; pressure and validity (T, F); phase and seen angle (T,)."""

    parts: tuple[Part, ...]
    frequency_hz: Float64s
    pressure: npt.NDArray[np.complex128]
    valid: npt.NDArray[np.bool_]
    has_phase: npt.NDArray[np.bool_]
    seen_angle_deg: Float64s
    interpolation_db: Float64s | None

    def response(self, row: int) -> MeasuredResponse:
        """One row between its first and its last valid frequency, NaN where it isn't valid between."""
        valid = self.valid[row]
        run = slice(int(valid.argmax()), valid.size - int(valid[::-1].argmax()))
        pressure, frequency = self.pressure[row, run], self.frequency_hz[run]
        level = np.full(frequency.shape, np.nan)
        np.log10(np.abs(pressure), out=level, where=valid[run])
        between = self.interpolation_db
        return MeasuredResponse(
            frequency,
            20.0 * level,
            np.rad2deg(np.angle(pressure)) if self.has_phase[row] else None,
            LevelUnit.PASCAL_PER_DRIVE,
            Placed(REFERENCE_DISTANCE_M, float(self.seen_angle_deg[row]), without_delay=True),
            None if between is None else between[row, run],
        )


def _held(source: Source) -> _Held:
    """All of the file, checked."""
    with hdf5_file(source) as file:
        _require_ours(file, source)
        frequency = file.reals("frequency")
        real, imaginary, valid = (file.reals(name) for name in _GRID)
        number = {name: file.reals(name) for name in _NUMBERS}
        text = {name: file.texts(name) for name in _TEXTS}
        between = file.reals(_INTERPOLATION) if _INTERPOLATION in file.datasets else None
    lengths = {v.size for v in number.values()} | {len(v) for v in text.values()}
    shapes = {grid.shape for grid in (real, imaginary, valid, between) if grid is not None}
    if shapes != {(*lengths, frequency.size)}:
        raise _other(source, "has arrays that don't go together")
    if not 0 < len(real) <= MAX_ROWS:
        raise ReadError(source.name, f"has {len(real)} responses", f"give one with up to {MAX_ROWS}")
    rising = np.isfinite(frequency).all() and frequency[0] > 0.0 and bool((np.diff(frequency) > 0.0).all())
    if frequency.size < 2 or not rising:
        raise _other(source, "has frequencies that don't rise")
    pressure = np.empty(real.shape, dtype=np.complex128)
    pressure.real, pressure.imag = real, imaginary
    parts = tuple(_part(source, number, text, row) for row in range(len(real)))
    twice = len(parts) - len({part.selector for part in parts})
    if twice:
        raise _other(source, "holds the same take more than once")
    is_valid = valid != 0.0
    _require_pressures(source, parts, pressure, is_valid)
    if between is not None and not (between[is_valid] >= 0.0).all():
        raise _other(source, "has an uncertainty that is none")
    return _Held(
        parts, frequency, pressure, is_valid, number["has_phase"] != 0.0, number["seen_angle"], between
    )


def _require_ours(file: Hdf5File, source: Source) -> None:
    """Refuse what no build wrote, or what is of another version."""
    missing = [name for name in ("frequency", *_GRID, *_NUMBERS, *_TEXTS) if name not in file.datasets]
    if file.attribute("", "title") != "Responses" or missing:
        raise _other(source, "is no responses.nc of a case")
    version = file.attribute("", "schema_version")
    if version != SCHEMA_VERSION:
        raise _other(source, f"is of version {version}, and {SCHEMA_VERSION} is read")


def _other(source: Source, problem: str) -> ReadError:
    remedy = (
        "give the responses.nc of a build or of a data pack as it is, or name its reader with read.reader"
    )
    return ReadError(source.name, problem, remedy)


def _part(source: Source, number: Mapping[str, Float64s], text: Mapping[str, list[str]], row: int) -> Part:
    """The take of one row as a part."""
    orbit, unit, repeat = text["orbit"][row], text["drive_unit"][row], number["repeat"][row]
    angle, value = float(number["orbit_angle"][row]), float(number["drive"][row])
    on_orbit = orbit in list(Orbit) and -180.0 < angle <= 180.0
    driven = (
        (unit == "V" and 0.0 < value < np.inf)
        or (unit == "dBFS" and -np.inf < value <= 0.0)
        or (unit == "dBu" and np.isfinite(value))
    )
    if not on_orbit or not driven or not 1 <= repeat <= 9999 or not np.isfinite(number["seen_angle"][row]):
        raise _other(source, f"says no direction, drive and repeat that can be in row {row + 1}")
    direction = Direction(Orbit(orbit), angle)
    drive = Drive(value, cast(DriveUnit, unit))
    again = f" repeat {int(repeat)}" if repeat > 1 else ""
    return Part(
        selector=f"{orbit} {angle:+.7g} at {value:.7g} {unit}{again}",
        position_deg=(direction.azimuth_deg, direction.elevation_deg),
        direction=direction,
        kind=TakeKind.RESPONSE,
        drive=drive,
        repeat=int(repeat),
    )


def _require_pressures(
    source: Source,
    parts: Sequence[Part],
    pressure: npt.NDArray[np.complex128],
    valid: npt.NDArray[np.bool_],
) -> None:
    """Refuse rows that are nowhere valid, and valid values that are no pressure."""
    size = np.abs(pressure)
    wrong = {
        "is valid at fewer than two frequencies": valid.sum(axis=-1) < 2,
        "is valid where it is no pressure": (valid & ~(np.isfinite(size) & (size > 0.0))).any(axis=-1),
    }
    for problem, rows in wrong.items():
        if rows.any():
            where = parts[int(rows.argmax())].selector
            raise ReadError(source.name, problem, "leave it out, or build that case again", where)
