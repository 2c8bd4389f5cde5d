"""Which array of a file is what, as the case states it (``read`` in ``takes.toml``).

A file of arrays doesn't say what they are, so nothing is inferred from their names: the case names each
array. Only what their lengths leave no doubt about is told from them: along which axis frequency runs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from typing import Final

from earwitness.measurement.readers.arrays import MAX_LENGTH, MAX_VALUES, ArrayInfo, Holding, listing
from earwitness.measurement.readers.contents import Form, Source
from earwitness.measurement.readers.options import is_number, one_of, whole_number
from earwitness.measurement.readers.units import STATED
from earwitness.records.errors import ReadError
from earwitness.records.takes import Orbit, ReadOption

OPTIONS: Final[Mapping[str, str]] = {
    "frequency": "the array of frequencies",
    "frequency_unit": "what they are in: Hz, kHz or rad/s",
    "level": "the array of levels or magnitudes",
    "phase": "the array of phases beside `level`",
    "phase_unit": "what they are in: deg or rad",
    "complex": "the array of complex pressures or impedances, instead of `level`",
    "real": "the array of their real parts, with `imaginary`, instead of `complex`",
    "imaginary": "the array of their imaginary parts",
    "unit": f"what the values are in: {', '.join(STATED)} (a ratio)",
    "samples": "the array of samples, where the file holds sound or impulse responses",
    "sample_rate": "the array that holds their rate, or the rate in Hz itself",
    "pa_per_unit": "what 1 in the samples is in pascals, where the case's calibration doesn't hold",
    "impulse_response": "true for a near field that is an impulse response and no recording of a sweep",
    "azimuth": "the array of azimuths (AES69: +90 is the loudspeaker's left), or one number",
    "elevation": "the array of elevations (AES69: upward), or one number",
    "angle": "the array of angles on an orbit, with the signs that takes.toml has",
    "orbit": "the orbit of all these angles: horizontal or vertical",
    "angle_unit": "what azimuths, elevations and angles are in: deg or rad",
    "labels": "the array of texts that say what each response is",
    "axis": "along which axis frequency or time runs, 1 or 2, where the lengths don't tell",
}
FREQUENCY_UNITS: Final = {"Hz": 1.0, "kHz": 1e3, "rad/s": 0.15915494309189535}
ANGLE_UNITS: Final = {"deg": 1.0, "rad": 57.29577951308232}


class Way(StrEnum):
    """How a file's values are held; each is the option that names their (first) array."""

    LEVEL = "level"
    COMPLEX = "complex"
    PARTS = "real"
    SAMPLES = "samples"


@dataclass(frozen=True, slots=True)
class ArrayMapping:
    """The arrays of a file by what they are, all found to be there and to hold what they should.

    `second` is the array of phases or of imaginary parts. `axis` is stated, 0 or 1. A position is the name of
    an array or one number.
    """

    way: Way
    values: str
    second: str | None = None
    frequency: str | None = None
    sample_rate: str | float | None = None
    azimuth: str | float | None = None
    elevation: str | float | None = None
    angle: str | None = None
    orbit: Orbit | None = None
    labels: str | None = None
    axis: int | None = None

    @property
    def form(self) -> Form:
        """Sound or responses."""
        return Form.SOUND if self.way is Way.SAMPLES else Form.RESPONSES


def stated_mapping(source: Source, arrays: Mapping[str, ArrayInfo]) -> ArrayMapping:
    """What the case states of a file's arrays.

    Raises
    ------
    ReadError
        Nothing is stated (with the file's arrays and an example), too little or too much, an array isn't
        there, or it holds something else.
    """
    options = _Options(source, arrays)
    way = options.way()
    options.require_consistent(way)
    second = {Way.LEVEL: "phase", Way.PARTS: "imaginary"}.get(way)
    mapping = ArrayMapping(
        way=way,
        values=options.values(way),
        second=options.array(second, MAX_VALUES) if second else None,
        frequency=options.array("frequency"),
        sample_rate=options.array_or_number("sample_rate"),
        azimuth=options.array_or_number("azimuth"),
        elevation=options.array_or_number("elevation"),
        angle=options.array("angle"),
        orbit=options.orbit(),
        labels=options.array("labels", holding=Holding.TEXT),
        axis=options.axis(),
    )
    options.require_different()
    return mapping


def _wrong(source: Source, key: str, problem: str, remedy: str) -> ReadError:
    return ReadError(source.name, problem, remedy, f"read.{key}")


@dataclass(frozen=True, slots=True)
class _Options:
    """What is stated, held against the arrays that are there."""

    source: Source
    arrays: Mapping[str, ArrayInfo]

    def way(self) -> Way:
        """The one way that is stated."""
        ways = [way for way in Way if self.source.option(way) is not None]
        if len(ways) > 1:
            problem = f"{ways[0]} and {ways[1]} are both stated"
            raise _wrong(self.source, ways[1], problem, "state the one that holds the values")
        if not ways:
            if not self.arrays:
                raise ReadError(self.source.name, "holds no arrays", "export the responses into it")
            problem = f"what its arrays are isn't stated: {_cut(listing(self.arrays))}"
            raise ReadError(self.source.name, problem, f"state it, as in {example(self.arrays)}")
        return ways[0]

    def values(self, way: Way) -> str:
        """The array of the values themselves."""
        holding = Holding.COMPLEX if way is Way.COMPLEX else Holding.NUMBERS
        return self._there(way, self.source.option(way), MAX_VALUES, holding)

    def array(self, key: str, longest: int = MAX_LENGTH, holding: Holding = Holding.NUMBERS) -> str | None:
        """The name that is stated under `key`, of an array that is there; None where nothing is."""
        stated = self.source.option(key)
        return None if stated is None else self._there(key, stated, longest, holding)

    def _there(self, key: str, stated: ReadOption | None, longest: int, holding: Holding) -> str:
        name = str(stated)
        info = self.arrays.get(name)
        if info is None:
            near = get_close_matches(name, self.arrays, n=1)
            remedy = f"did you mean {near[0]}?" if near else f"it holds {_cut(listing(self.arrays))}"
            raise _wrong(self.source, key, f"there is no array {name!r}", remedy)
        if info.holding is not holding:
            problem = f"{name} ({info.label}) doesn't hold {_HELD[holding]}"
            raise _wrong(self.source, key, problem, _CURE.get(info.holding, _PLAIN))
        if info.size > longest:
            problem = f"{name} has {info.size} entries, more than the {longest} that are read"
            raise _wrong(self.source, key, problem, "export fewer frequencies or directions")
        if info.size == 0:
            raise _wrong(self.source, key, f"{name} is empty", "export it again")
        return name

    def array_or_number(self, key: str) -> str | float | None:
        """A number, or the name of an array."""
        stated = self.source.option(key)
        return float(stated) if is_number(stated) else self.array(key)

    def orbit(self) -> Orbit | None:
        """The orbit of the angles."""
        stated = one_of(self.source, "orbit", [str(orbit) for orbit in Orbit])
        return None if stated is None else Orbit(stated)

    def axis(self) -> int | None:
        """The stated axis, counted from 0."""
        stated = whole_number(self.source, "axis", 1, 2, "state 1 or 2")
        return None if stated is None else stated - 1

    def require_consistent(self, way: Way) -> None:
        """Refuse what lacks its other half, what doesn't go with `way`, and what is said twice."""
        stated = [key for key, _ in self.source.options]
        for key in stated:
            if key in _GOES_WITH and way not in _GOES_WITH[key]:
                problem = f"{key} is stated, and {way}"
                remedy = f"{key} goes with {' or '.join(_GOES_WITH[key])}; leave one of them out"
                raise _wrong(self.source, key, problem, remedy)
        needed = [(str(way), key) for key in _NEEDED[way]]
        needed += [(key, other) for key, other in _HALVES if key in stated]
        for key, other in needed:
            if not set(other.split(" or ")) & set(stated):
                problem = f"{key} is stated without {other}"
                raise _wrong(self.source, key, problem, f"state it too, as in {example(self.arrays)}")
        placed = [key for key in ("azimuth", "angle", "labels") if key in stated]
        if len(placed) > 1:
            problem = f"{placed[0]} and {placed[1]} both say what the responses are"
            raise _wrong(self.source, placed[1], problem, "leave one of them out")

    def require_different(self) -> None:
        """Refuse one array that is stated as two things."""
        taken: dict[str, str] = {}
        for key in _ARRAYS:
            name = self.source.option(key)
            if not isinstance(name, str):
                continue
            first = taken.setdefault(name, key)
            if first != key:
                problem = f"{name} is stated as {first} and as {key}"
                raise _wrong(self.source, key, problem, "name the array that holds each")


#: The options that name an array.
_ARRAYS: Final = (
    "frequency", "level", "complex", "real", "phase", "imaginary", "samples", "sample_rate", "azimuth",
    "elevation", "angle", "labels",
)  # fmt: skip
_RESPONSES: Final = (Way.LEVEL, Way.COMPLEX, Way.PARTS)
#: What is only stated beside certain ways of holding values.
_GOES_WITH: Final[Mapping[str, tuple[Way, ...]]] = {
    "frequency": _RESPONSES,
    "frequency_unit": _RESPONSES,
    "unit": _RESPONSES,
    "phase": (Way.LEVEL,),
    "phase_unit": (Way.LEVEL,),
    "imaginary": (Way.PARTS,),
    "sample_rate": (Way.SAMPLES,),
    "pa_per_unit": (Way.SAMPLES,),
    "impulse_response": (Way.SAMPLES,),
}
_NEEDED: Final[Mapping[Way, tuple[str, ...]]] = {
    Way.LEVEL: ("frequency",),
    Way.COMPLEX: ("frequency",),
    Way.PARTS: ("imaginary", "frequency"),
    Way.SAMPLES: ("sample_rate",),
}
#: What means nothing without another option.
_HALVES: Final = (
    ("azimuth", "elevation"),
    ("elevation", "azimuth"),
    ("orbit", "angle"),
    ("angle_unit", "angle or azimuth"),
    ("phase_unit", "phase"),
)
_HELD: Final = {Holding.NUMBERS: "real numbers", Holding.COMPLEX: "complex numbers", Holding.TEXT: "texts"}
_PLAIN: Final = "export it as a plain array of numbers"
_CURE: Final = {
    Holding.COMPLEX: "complex numbers are stated as complex",
    Holding.NUMBERS: "real numbers are stated as level, or as real with imaginary",
}


def example(arrays: Mapping[str, ArrayInfo]) -> str:
    """A mapping to paste and correct: made from names and lengths, and with its unit left open on purpose."""
    plain = {
        name: info for name, info in arrays.items() if info.holding in (Holding.NUMBERS, Holding.COMPLEX)
    }
    said = {
        key: next(
            (name for name, info in plain.items() if len(info.lengths) <= 1 and like.search(name)), None
        )
        for key, like in _LIKELY.items()
    }
    others = {name: info for name, info in plain.items() if name not in said.values()}
    values = max(others, key=lambda name: others[name].size, default="…")
    if said["sample_rate"] is not None and said["frequency"] is None:
        stated = [f'samples = "{values}"', f'sample_rate = "{said["sample_rate"]}"']
    else:
        is_complex = values in others and others[values].holding is Holding.COMPLEX
        way = Way.COMPLEX if is_complex else Way.LEVEL
        stated = [f'frequency = "{said["frequency"] or "…"}"', f'{way} = "{values}"', 'unit = "…"']
    if said["azimuth"] is not None:
        elevation = f'"{said["elevation"]}"' if said["elevation"] is not None else "0"
        stated += [f'azimuth = "{said["azimuth"]}"', f"elevation = {elevation}"]
    elif said["angle"] is not None:
        stated += [f'angle = "{said["angle"]}"', 'orbit = "…"']
    return f"read = {{ {', '.join(stated)} }}"


#: Names that arrays often have, for the example alone.
_LIKELY: Final = {
    key: re.compile(rf"(?:^|[._/])(?:{names})$", re.IGNORECASE)
    for key, names in (
        ("frequency", r"f|w|omega|freq\w*"),
        ("sample_rate", r"fs|sr|sample_?rate|rate"),
        ("azimuth", r"az\w*"),
        ("elevation", r"el\w*"),
        ("angle", r"angles?|deg\w*"),
    )
}


def _cut(text: str, limit: int = 150) -> str:
    return text if len(text) <= limit else text[: limit - 1] + "…"
