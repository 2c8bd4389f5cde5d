"""One take from the fields that an entry or a rule of ``takes.toml`` states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

from earwitness.case.drives import parse_drive
from earwitness.case.toml_text import Place, TomlText
from earwitness.records.errors import CaseError
from earwitness.records.takes import (
    DIRECTIONAL,
    EVERY_PART,
    ON_SURFACES,
    Direction,
    Drive,
    Orbit,
    ReadOption,
    ReadOptions,
    SurfacePlace,
    Take,
    TakeKey,
    TakeKind,
)

#: What both an entry and a rule may say of a take.
FIELDS: Final = (
    "kind",
    "orbit",
    "angle_deg",
    "azimuth_deg",
    "elevation_deg",
    "drive",
    "stimulus",
    "radiator",
    "repeat",
    "level_db",
    "distance_m",
    "read",
)

_LONGEST_OPTION: Final = 200


@dataclass(frozen=True, slots=True)
class Fields:
    """The stated `values` at `place` of ``takes.toml``; `path` is the raw file, `files` all raw files."""

    toml: TomlText
    place: Place
    values: Mapping[str, Any]
    files: Sequence[str]
    path: str = ""

    def take(self) -> Take:
        """The take.

        Raises
        ------
        CaseError
            A field is missing or impossible.
        """
        kind = self._kind()
        direction = self._direction()
        selector = self.text("selector") or ""
        if kind in DIRECTIONAL and direction is None and selector != EVERY_PART:
            raise self.wrong(
                "kind", "has no direction", 'add orbit = "horizontal" or "vertical", and angle_deg'
            )
        radiator = self.text("radiator")
        if kind is TakeKind.NEAR_FIELD and radiator is None:
            raise self.wrong("kind", "names no radiator", 'add radiator = "…", one of those in case.toml')
        distance = self._number("distance_m")
        if distance is not None and distance <= 0:
            raise self.wrong("distance_m", "isn't over 0", "give the distance in metres")
        place = self._place(kind, distance)
        if place is not None:
            distance = None
        key = TakeKey(kind, direction, self._drive(), radiator, self._repeat(), place)
        level = self._number("level_db")
        return Take(self.path, key, selector, self._stimulus(), level, distance, self._read())

    def wrong(self, field: str, problem: str, remedy: str) -> CaseError:
        """The error for one field; a rule's error names the file that it stumbled over."""
        of_file = f"raw/{self.path}: " if self.place[0] == "rule" and self.path else ""
        return self.toml.refuse((*self.place, field), of_file + problem, remedy)

    def text(self, field: str) -> str | None:
        """A text field: one printable line; None where it isn't stated."""
        value = self.values.get(field)
        if value is None:
            return None
        if not isinstance(value, str) or not value or not value.isprintable() or len(value) > 1000:
            raise self.wrong(field, "isn't a line of text", "put it in quotes")
        return value

    def file(self, field: str) -> str | None:
        """A text field that names a raw file."""
        name = self.text(field)
        if name is not None and name not in self.files:
            near = get_close_matches(name, self.files, n=1)
            remedy = f"did you mean {near[0]}?" if near else "add the file first, or correct the name"
            raise self.wrong(field, f"raw/{name} isn't there", remedy)
        return name

    def refuse_unknown(self, allowed: Sequence[str]) -> None:
        """Refuse a field that isn't one of `allowed`, and name the nearest that is."""
        for field in self.values:
            if field not in allowed:
                near = get_close_matches(field, allowed, n=1)
                remedy = f"did you mean {near[0]}?" if near else f"the fields are {', '.join(allowed)}"
                raise self.wrong(field, "is no field of a take", remedy)

    def _kind(self) -> TakeKind:
        stated = self.text("kind")
        kinds = [str(kind) for kind in TakeKind]
        if stated not in kinds:
            problem = f"{stated!r} is no kind of take" if stated else "has no kind"
            raise self.wrong("kind", problem, f"the kinds are {', '.join(kinds)}")
        return TakeKind(stated)

    def _direction(self) -> Direction | None:
        orbit, angle = self.text("orbit"), self._number("angle_deg")
        if orbit is None and angle is None:
            return None
        orbits = [str(o) for o in Orbit]
        if orbit not in orbits:
            problem = f"{orbit!r} is no orbit" if orbit else "an angle without an orbit"
            raise self.wrong(
                "orbit" if orbit else "angle_deg", problem, f"the orbits are {', '.join(orbits)}"
            )
        if angle is None or not -180 <= angle <= 180:
            problem = "an orbit without an angle" if angle is None else "isn't from −180 to 180"
            remedy = "count degrees from the axis, to both sides"
            raise self.wrong("orbit" if angle is None else "angle_deg", problem, remedy)
        return Direction(Orbit(orbit), 180.0 if angle == -180 else angle + 0.0)

    def _place(self, kind: TakeKind, distance_m: float | None) -> SurfacePlace | None:
        """The place of a take on a surface; other kinds have none."""
        azimuth, elevation = self._number("azimuth_deg"), self._number("elevation_deg")
        if kind not in ON_SURFACES:
            for field, value in (("azimuth_deg", azimuth), ("elevation_deg", elevation)):
                if value is not None:
                    raise self.wrong(field, f"stands at a take of kind {kind}", 'only a "surface" has it')
            return None
        if self.text("orbit") is not None or self._number("angle_deg") is not None:
            raise self.wrong("kind", "has an orbit", "give azimuth_deg and elevation_deg in its place")
        if self.text("selector") == EVERY_PART and azimuth is None and elevation is None:
            return None
        if azimuth is None or elevation is None or distance_m is None:
            remedy = "add azimuth_deg, elevation_deg, and distance_m from the centre of rotation"
            raise self.wrong("kind", "doesn't say where on its surface it was measured", remedy)
        if not -360 <= azimuth <= 360:
            raise self.wrong("azimuth_deg", "isn't from −360 to 360", "count degrees to the left")
        if not -90 <= elevation <= 90:
            raise self.wrong("elevation_deg", "isn't from −90 to 90", "count degrees upward")
        turned = (azimuth + 180.0) % 360.0 - 180.0
        return SurfacePlace(180.0 if turned == -180.0 else turned + 0.0, elevation + 0.0, distance_m)

    def _drive(self) -> Drive | None:
        stated = self.text("drive")
        if stated is None:
            return None
        drive = parse_drive(stated)
        if drive is None:
            raise self.wrong("drive", f"{stated!r} is no drive", 'write "2.83 V", "-20 dBFS" or "+4 dBu"')
        return drive

    def _stimulus(self) -> str | None:
        return self.file("stimulus")

    def _read(self) -> ReadOptions:
        stated = self.values.get("read")
        if stated is None:
            return ()
        if not isinstance(stated, dict) or not stated:
            raise self.wrong("read", "isn't a table", 'write it as read = { frequency = "kHz" }')
        for key, value in stated.items():
            if not isinstance(value, str | bool | int | float) or len(str(value)) > _LONGEST_OPTION:
                problem = f"{key} is neither text, a number nor true or false"
                raise self.wrong("read", problem, "state one of these, on one line")
        return tuple(sorted((str(key), _plain(value)) for key, value in stated.items()))

    def _repeat(self) -> int:
        value = self.values.get("repeat", 1)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 9999:
            raise self.wrong("repeat", "isn't a whole number from 1 to 9999", "count repeats from 1")
        return value

    def _number(self, field: str) -> float | None:
        value = self.values.get(field)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
            raise self.wrong(field, "isn't a number that can be", "give a number without quotes")
        return float(value)


def _plain(value: str | float | bool) -> ReadOption:
    """The value itself, without what its file's parser keeps beside it."""
    for plain in (bool, str, int, float):
        if isinstance(value, plain):
            return plain(value)
    raise TypeError(value)
