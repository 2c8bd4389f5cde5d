"""The case's directions as an AES69 file (``FreeFieldDirectivityTF``), the same bytes for the same case.

The convention has no room for validity or uncertainty, so the file holds the measured directions alone, none
that are interpolated, and the frequencies at which all of them are valid. It says what its data are in beside
them, which the convention leaves open.

Source: AES69-2022, convention FreeFieldDirectivityTF 1.1, as the convention file of sofar 1.3.0 has it
(read).
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import h5netcdf
import numpy as np
import numpy.typing as npt

from earwitness.derive.directivity import TakePowers, take_powers
from earwitness.measurement.expansion import is_interpolated
from earwitness.records.errors import NotAvailableError
from earwitness.records.facts import Unit
from earwitness.records.grid import Floats
from earwitness.records.responses import Responses

#: The day that stands in the file where a case has no revision yet: files are the same for the same case.
NO_DATE: Final = dt.date(1970, 1, 1)
DISTANCE_M: Final = 1.0
LEAST_FREQUENCIES: Final = 2
_LICENSE: Final = "No license provided, ask the author for permission"
_METRE: Final = {"Type": "cartesian", "Units": "metre"}


@dataclass(frozen=True)
class Directions:
    """R directions at one drive: positions (R, 2) in degrees, pressures in Pa at 1 m, shape (R, F).

    Without phase the pressures are real.
    """

    drive: str
    position_deg: Floats
    frequency_hz: Floats
    pressure: npt.NDArray[np.complex128]
    has_phase: bool


def directions(responses: Responses) -> Directions:
    """The measured directions of a case at its reference drive, where all of them are valid.

    Raises
    ------
    NotAvailableError
        There is no frequency at which they are, or no take with a direction and a drive.
    """
    takes = take_powers(responses)
    between = np.array([is_interpolated(take) for take in takes.takes])
    heard = np.asarray(takes.valid.any(axis=-1)) & ~between
    rows = [d for d, used in enumerate(takes.mixing > 0.0) if heard[used].all()]
    mixing = takes.mixing[rows]
    if not rows:
        raise NotAvailableError("no direction is valid at any frequency")
    inside = np.asarray(takes.valid[(mixing > 0.0).any(axis=0)].all(axis=0))
    if np.count_nonzero(inside) < LEAST_FREQUENCIES:
        raise NotAvailableError("no frequency is valid in every direction")
    power = mixing @ takes.power[:, inside]
    turn, has_phase = _phase(responses, takes, mixing, inside)
    found = [takes.directions[row] for row in rows]
    return Directions(
        drive=takes.drive.label,
        position_deg=np.array([(d.azimuth_deg, d.elevation_deg) for d in found]),
        frequency_hz=takes.frequency_hz[inside],
        pressure=np.sqrt(power) * turn,
        has_phase=has_phase,
    )


def _phase(
    responses: Responses, takes: TakePowers, mixing: Floats, inside: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.complex128], bool]:
    """Unit phases (R, F) of the first take of each direction; ones where any of them has no phase."""
    rows = np.array(takes.rows)[(mixing > 0.0).argmax(axis=-1)]
    if not np.asarray(responses.has_phase)[rows].all():
        return np.ones((len(rows), int(inside.sum())), dtype=np.complex128), False
    pressure = np.asarray(responses.pressure, dtype=np.complex128)[np.ix_(rows, inside)]
    return np.asarray(np.exp(1j * np.angle(pressure))), True


def aes69_file(found: Directions, unit: Unit, program: str, day: dt.date | None) -> bytes:
    """The file's bytes.

    Parameters
    ----------
    program
        Name and version of this program, parted by a space.
    day
        The day of the newest revision; None where there is none yet.
    """
    image = io.BytesIO()
    with h5netcdf.File(image, "w") as file:
        file.dimensions = {
            "M": 1,
            "R": len(found.position_deg),
            "E": 1,
            "N": found.frequency_hz.size,
            "C": 3,
            "I": 1,
        }
        for name, text in _said(found, unit, program, day or NO_DATE).items():
            file.attrs[name] = text
        _write_placement(file, found)
        _variable(file, "N", ("N",), found.frequency_hz, {"LongName": "frequency", "Units": "hertz"})
        for part, values in (("Real", found.pressure.real), ("Imag", found.pressure.imag)):
            _variable(file, f"Data.{part}", ("M", "R", "N"), values[None], {"Units": "pascal"})
    return image.getvalue()


def _said(found: Directions, unit: Unit, program: str, day: dt.date) -> Mapping[str, str]:
    """What the file says of itself."""
    name, _, version = program.partition(" ")
    stamp = f"{day.isoformat()} 00:00:00"
    phase = (
        "each direction's time of flight is removed from its phase"
        if found.has_phase
        else "there is no phase: the imaginary parts are zero"
    )
    return {
        "Conventions": "SOFA",
        "Version": "2.1",
        "SOFAConventions": "FreeFieldDirectivityTF",
        "SOFAConventionsVersion": "1.1",
        "DataType": "TF",
        "RoomType": "free field",
        "Title": unit.name,
        "DateCreated": stamp,
        "DateModified": stamp,
        "APIName": name,
        "APIVersion": version,
        "ApplicationName": name,
        "ApplicationVersion": version,
        "AuthorContact": "",
        "Organization": "",
        "License": _LICENSE,
        "DatabaseName": unit.name,
        "SourceType": unit.kind or "loudspeaker",
        "SourceManufacturer": unit.maker or "not stated",
        "Description": f"Sound pressure in pascal (RMS) at 1 m for a drive of {found.drive}; {phase}.",
    }


def _write_placement(file: Any, found: Directions) -> None:
    """Where source, listener and receivers stand."""
    ahead, up, origin = np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 1.0]]), np.zeros((1, 3))
    one = ("I", "C")
    _variable(file, "ListenerPosition", one, origin, _METRE)
    _variable(file, "ListenerView", one, ahead, _METRE)
    _variable(file, "ListenerUp", one, up, {})
    distance = np.full((len(found.position_deg), 1), DISTANCE_M)
    spherical = {"Type": "spherical", "Units": "degree, degree, metre"}
    _variable(file, "ReceiverPosition", ("R", "C"), np.hstack([found.position_deg, distance]), spherical)
    point = {"Reference": "the reference point of the case"}
    _variable(file, "SourcePosition", one, origin, {**_METRE, **point})
    _variable(file, "SourceView", one, ahead, {**_METRE, "Reference": "the reference axis of the case"})
    _variable(file, "SourceUp", one, up, {"Reference": "upward, the loudspeaker standing as it is used"})
    _variable(file, "EmitterPosition", ("E", "C"), origin, _METRE)


def _variable(
    file: Any, name: str, dims: tuple[str, ...], values: Floats, attributes: Mapping[str, str]
) -> None:
    made = file.create_variable(name, dims, "f8", data=np.ascontiguousarray(values))
    for key, text in attributes.items():
        made.attrs[key] = text
