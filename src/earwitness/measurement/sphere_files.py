"""A file's directions at one drive as one sphere, for what lies between them."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from earwitness.acoustics.spherical import unit_vectors
from earwitness.measurement.readers.contents import MeasuredResponse, Part, Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.measurement.spheres import MeasuredSphere
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take

#: Parts read at a time.
BLOCK: Final = 256


def measured_sphere(raw: Path, whole: Take, speed_m_s: float) -> MeasuredSphere:
    """All directions of a file that were measured at the drive of `whole`, the first repeat of each, at 1 m.

    Raises
    ------
    ReadError
        The file can't be read; its directions aren't all of the same frequencies and valid there, or
        don't all have phase.
    """
    source = Source(raw / whole.path, whole.path, whole.read)
    parts = [part for part in look(source).parts if _belongs(part, whole)]
    positions = np.array([part.position_deg for part in parts], dtype=np.float64)
    first = _read(source, parts[:1])[0]
    pressure = np.empty((len(parts), first.frequency_hz.size), dtype=np.complex64)
    for start in range(0, len(parts), BLOCK):
        for row, response in enumerate(_read(source, parts[start : start + BLOCK]), start):
            _require_like(source, parts[row], response, first)
            pressure[row] = _at_one_metre(response, speed_m_s)
    return MeasuredSphere(
        unit_vectors(positions[:, 0], positions[:, 1]),
        first.frequency_hz,
        pressure,
        first.phase_deg is not None,
        first.unit,
    )


def _belongs(part: Part, whole: Take) -> bool:
    at_drive = part.drive is None or part.drive == whole.key.drive
    return at_drive and part.repeat == 1 and part.position_deg is not None


def _read(source: Source, parts: list[Part]) -> list[MeasuredResponse]:
    found = reader_of(source).read(source, [part.selector for part in parts])
    return [response for response in found if isinstance(response, MeasuredResponse)]


def _require_like(source: Source, part: Part, response: MeasuredResponse, first: MeasuredResponse) -> None:
    alike = np.array_equal(response.frequency_hz, first.frequency_hz)
    if not np.isfinite(response.level_db).all():
        raise ReadError(
            source.name,
            "isn't valid at all its frequencies, so nothing can be interpolated",
            "export only frequencies that are valid in all directions",
            part.selector,
        )
    if not alike or (response.phase_deg is None) != (first.phase_deg is None):
        raise ReadError(
            source.name,
            "has other frequencies, or phase where others have none, so nothing can be interpolated",
            "export all directions alike",
            part.selector,
        )


def _at_one_metre(
    response: MeasuredResponse, speed_m_s: float
) -> np.ndarray[tuple[int], np.dtype[np.complex64]]:
    """Pressure at 1 m; the phase is what it would be there."""
    distance = 1.0 if response.placed is None else response.placed.distance_m
    size = distance * 10.0 ** (response.level_db / 20.0)
    if response.phase_deg is None:
        return size.astype(np.complex64)
    nearer = 2.0 * np.pi * response.frequency_hz * (distance - 1.0) / speed_m_s
    return np.asarray(size * np.exp(1j * (np.deg2rad(response.phase_deg) + nearer))).astype(np.complex64)
