"""What a file's name, its own lines, a part's heading and the format say together."""

from __future__ import annotations

from collections.abc import Mapping

from earwitness.measurement.readers.contents import Part
from earwitness.measurement.recognition.angle import SaidDirection
from earwitness.measurement.recognition.answers import Unclear, quoted
from earwitness.measurement.recognition.drive import SaidDrive, settled_drive
from earwitness.records.takes import Direction, Drive, Orbit

_ON_BOTH_ORBITS = (0.0, 180.0)


def one_direction(said: Mapping[str, SaidDirection], part: Part) -> tuple[Direction | None, list[Unclear]]:
    """The direction of a part, and doubts; `said` is by the name of what says it.

    What the file's format states of the part holds; what says otherwise is a doubt all the same.
    """
    stated = part.direction
    if stated is None and part.position_deg is not None:
        stated = Direction.at(*part.position_deg)
        if stated is None:
            return None, [Unclear("plane", "the file says a direction that lies on neither orbit")]
    angles = {label: one.angle_deg for label, one in said.items() if one.angle_deg is not None}
    if stated is not None:
        angles["file"] = stated.angle_deg
    orbits = {(label, orbit) for label, one in said.items() for orbit in _orbits(one)}
    orbits |= {("file", stated.orbit)} if stated is not None and not _is_shared(stated) else set()
    if not angles:
        return None, _why_no_angle(said)
    doubts = [why for one in said.values() if not one.may_be_settled for why in one.unclear]
    doubts += _other_angles(said, angles)
    doubts += _other_planes(said, stated)
    if doubts:
        return None, doubts
    if stated is not None:
        return stated, []
    angle = next(iter(angles.values()))
    planes = {orbit for _, orbit in orbits}
    if not planes and angle not in _ON_BOTH_ORBITS:
        return None, [Unclear("plane", "the plane isn't said: horizontal or vertical")]
    return Direction(planes.pop() if planes else Orbit.HORIZONTAL, angle), []


def _orbits(said: SaidDirection) -> set[Orbit]:
    pair = {said.direction.orbit} if said.direction is not None and not _is_shared(said.direction) else set()
    return pair | said.orbits


def _is_shared(direction: Direction) -> bool:
    return direction.angle_deg in _ON_BOTH_ORBITS


def _why_no_angle(said: Mapping[str, SaidDirection]) -> list[Unclear]:
    """Why no text says the angle: what the most telling one lacks."""
    for one in sorted(said.values(), key=lambda one: not one.is_sure):
        if one.unclear:
            return list(one.unclear)
    return [Unclear("angle", "the angle isn't said, as in horizontal_+030")]


def _other_angles(said: Mapping[str, SaidDirection], angles: Mapping[str, float]) -> list[Unclear]:
    """Doubts of angles that aren't the same, and of numbers without a sign that aren't its size."""
    (label, angle), *others = angles.items()
    for other, value in others:
        if value != angle:
            return [_contradiction("angle", label, f"{angle:+g}°", other, f"{value:+g}°")]
    for other, one in said.items():
        number = one.magnitude_deg
        if one.angle_deg is None and one.is_sure and number not in (None, abs(angle), angle % 360.0):
            return [_contradiction("angle", label, f"{angle:+g}°", other, f"{number:g}°")]
    return []


def _other_planes(said: Mapping[str, SaidDirection], stated: Direction | None) -> list[Unclear]:
    """Doubts of planes that aren't the same, each with where it is said."""
    found: dict[Orbit, str] = {}
    if stated is not None and not _is_shared(stated):
        found[stated.orbit] = "file"
    for label, one in said.items():
        for orbit, where in sorted(one.planes):
            found.setdefault(orbit, where)
        for orbit in sorted(_orbits(one)):
            found.setdefault(orbit, label)
    if len(found) < 2:
        return []
    (first, here), (second, there) = found.items()
    if here == there:
        return [Unclear("plane", f"both planes are in the {here}")]
    return [_contradiction("plane", here, str(first), there, str(second))]


def one_drive(
    said: Mapping[str, SaidDrive], part: Part, stated: Drive | None
) -> tuple[Drive | None, list[Unclear]]:
    """The drive of a part, and doubts; `stated` holds where nothing else says one."""
    doubts: list[Unclear] = []
    found = {"file": part.drive} if part.drive is not None else {}
    for label, one in said.items():
        drive = settled_drive(one, doubts)
        if drive is not None:
            found[label] = drive
    if doubts:
        return None, doubts
    if not found and stated is not None:
        return _uncontradicted("--drive", stated, said)
    if not found:
        return None, [Unclear("drive", "the drive isn't said, as in 2.83V")]
    (label, drive), *others = found.items()
    for other, value in others:
        if value != drive:
            return None, [_contradiction("drive", label, drive.label, other, value.label)]
    return _uncontradicted(f"the {label}", drive, said)


def _uncontradicted(
    source: str, drive: Drive, said: Mapping[str, SaidDrive]
) -> tuple[Drive | None, list[Unclear]]:
    """The drive that `source` says, but where volts are said beside it that aren't its own."""
    for label, one in said.items():
        hint = one.against(drive)
        if hint:
            line = f"{source} says {drive.label}, and the {label} “{quoted(hint)}”"
            return None, [Unclear("drive", line)]
    return drive, []


def _contradiction(subject: str, first: str, this: str, second: str, that: str) -> Unclear:
    text = f"the {first} says {this}, and the {second} {that}".replace("-", "−")
    if subject == "angle":
        return Unclear("angle", text)
    return Unclear("plane", text) if subject == "plane" else Unclear("drive", text)
