"""From one entry for every part of a file to a take for each, and for what lies between them on a sphere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.measurement.readers.contents import Part, Source
from earwitness.measurement.readers.placement import selector_of
from earwitness.measurement.readers.registry import look
from earwitness.measurement.spheres import lacking
from earwitness.records.errors import ReadError
from earwitness.records.takes import (
    DIRECTIONAL,
    EVERY_PART,
    ON_SURFACES,
    Direction,
    ReadOptions,
    SurfacePlace,
    Take,
    TakeKey,
    TakeKind,
)

#: How the selector of a direction between those of its file begins.
INTERPOLATED: Final = "interpolated "
#: An entry rounds the direction that its file says by no more than this.
_SAME_DEG: Final = 0.5
_File = tuple[str, ReadOptions]


def expanded(takes: Sequence[Take], raw: Path) -> tuple[Take, ...]:
    """All takes of a case by id, those of whole files replaced by one for each of the file's parts.

    A part that has an entry of its own stays as that says, which may be no other direction than the file's.
    A sphere that lacks directions of the standard gives takes for these, too, where nothing else in the case
    does; their selectors say that they are interpolated.

    Parameters
    ----------
    raw
        The folder that the takes' paths are relative to.

    Raises
    ------
    ReadError
        A file can't be read, doesn't say what its parts are, says another direction than an entry does, or
        one of its parts is the same take as another.
    """
    single = {take.id: take for take in takes if take.selector != EVERY_PART}
    told = _told_of(single.values(), raw)
    owners: dict[TakeKey, Take] = {take.key: take for take in single.values()}
    spheres: list[tuple[Take, tuple[Part, ...]]] = []
    for whole in (take for take in takes if take.selector == EVERY_PART):
        of_file = (whole.path, whole.read)
        parts = told[of_file] if of_file in told else _parts(whole, raw)
        spheres.append((whole, parts))
        for part in parts:
            take = _of_part(whole, part)
            if take is None or take.id in single:
                continue
            owner = owners.setdefault(take.key, take)
            if owner is not take:
                raise ReadError(
                    whole.path,
                    f"its part {take.selector!r} is the same take as raw/{owner.id} ({take.key.label})",
                    "number one of the files with repeat, or remove its entry from takes.toml",
                )
            single[take.id] = take
    for whole, parts in spheres:
        single |= {take.id: take for take in _between(whole, parts, set(owners))}
    return tuple(sorted(single.values(), key=lambda take: take.id))


def is_interpolated(take: Take) -> bool:
    """Whether a take lies between the directions of its file."""
    return take.selector.startswith(INTERPOLATED)


def _told_of(takes: Iterable[Take], raw: Path) -> dict[_File, tuple[Part, ...]]:
    """What the files say of their parts that have entries of their own, none of which says otherwise."""
    told: dict[_File, tuple[Part, ...]] = {}
    for take in takes:
        # a recording's channel says nothing of where its microphone stood
        if take.selector and take.key.kind is not TakeKind.SWEEP and take.key.direction is not None:
            of_file = (take.path, take.read)
            if of_file not in told:
                told[of_file] = _parts(take, raw)
            _require_where_the_file_says(take, told[of_file])
    return told


def _parts(take: Take, raw: Path) -> tuple[Part, ...]:
    return look(Source(raw / take.path, take.path, take.read)).parts


def _require_where_the_file_says(take: Take, parts: Sequence[Part]) -> None:
    """Refuse an entry of one part whose direction isn't the one that the file says of that part."""
    said = [part.position_deg for part in parts if part.selector == take.selector and part.position_deg]
    direction = take.key.direction
    if not said or direction is None:
        return
    azimuth, elevation = said[0]
    if _apart_deg((direction.azimuth_deg, direction.elevation_deg), said[0]) > _SAME_DEG:
        raise ReadError(
            take.path,
            f"says azimuth {azimuth:g}°, elevation {elevation:g}° of its part {take.selector!r}, and "
            f"takes.toml {direction.label}",
            "correct the entry's orbit and angle_deg, or which side rig.positive_… in case.toml says is +",
        )


def _apart_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    """The angle between two directions, each azimuth and elevation."""
    (azimuth, elevation), (azimuth_2, elevation_2) = np.deg2rad(one), np.deg2rad(other)
    half_chord = (
        np.sin((elevation - elevation_2) / 2.0) ** 2
        + np.cos(elevation) * np.cos(elevation_2) * np.sin((azimuth - azimuth_2) / 2.0) ** 2
    )
    return float(np.rad2deg(2.0 * np.arcsin(min(np.sqrt(half_chord), 1.0))))


def _between(whole: Take, parts: Sequence[Part], there: Set[TakeKey]) -> Iterator[Take]:
    """Takes of directions that a sphere lacks, at each drive that it was measured at."""
    if whole.key.kind is not TakeKind.RESPONSE:
        return
    drives = {drive for part in parts if (drive := part.drive or whole.key.drive)}
    for drive in sorted(drives):
        of_several = f" at {drive.value:g} {drive.unit}" if len(drives) > 1 else ""
        at_drive = [part for part in parts if (part.drive or whole.key.drive) == drive]
        positions = [part.position_deg for part in at_drive if part.position_deg is not None]
        for direction in lacking(positions):
            key = replace(whole.key, direction=direction, drive=drive)
            if key not in there:
                named = selector_of(direction.azimuth_deg, direction.elevation_deg)
                yield replace(whole, key=key, selector=f"{INTERPOLATED}{named}{of_several}")


def _on_surface(whole: Take, part: Part) -> Take:
    """The take of one part of a file that was measured on surfaces: its source's place is their centre."""
    if part.position_deg is None or part.distance_m is None:
        raise ReadError(
            whole.path,
            f"doesn't say where its part {part.selector!r} was measured",
            "give each part an entry of its own in takes.toml, with azimuth_deg, elevation_deg, distance_m",
        )
    azimuth, elevation = part.position_deg
    turned = (azimuth + 180.0) % 360.0 - 180.0
    place = SurfacePlace(180.0 if turned == -180.0 else turned, elevation, part.distance_m)
    kind = TakeKind.SURFACE_RESPONSE if part.kind is TakeKind.RESPONSE else whole.key.kind
    drive, repeat = part.drive or whole.key.drive, max(part.repeat, whole.key.repeat)
    return replace(whole, key=TakeKey(kind, drive=drive, repeat=repeat, place=place), selector=part.selector)


def _of_part(whole: Take, part: Part) -> Take | None:
    """The take of one part; None for a direction on neither orbit."""
    if whole.key.kind in ON_SURFACES:
        return _on_surface(whole, part)
    key = replace(
        whole.key,
        kind=part.kind or whole.key.kind,
        drive=part.drive or whole.key.drive,
        repeat=part.repeat if part.repeat != 1 else whole.key.repeat,
    )
    if key.kind in DIRECTIONAL:
        direction = part.direction
        if direction is None and part.position_deg is None:
            raise ReadError(
                whole.path,
                f"doesn't say in which direction its part {part.selector!r} was measured",
                "give each part an entry of its own in takes.toml, with selector, orbit and angle_deg",
            )
        if direction is None and part.position_deg is not None:
            direction = Direction.at(*part.position_deg)
        if direction is None:
            return None
        key = replace(key, direction=direction)
    return replace(whole, key=key, selector=part.selector)
