"""TOML tables read strictly: what a table may hold is what a frozen dataclass has, and mistakes are one line.

The line names the file, the place in it, what is wrong, and what there might be instead. Only types that a
scenario needs are known: numbers, words, switches, and tuples of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields
from types import UnionType
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

Part = TypeVar("Part")

#: A quantity means the same wherever it stands, and so do its limits. These are above 0,
POSITIVE: Final = frozenset(
    [
        "width_m",
        "height_m",
        "depth_m",
        "diameter_m",
        "radiates_m",
        "radius_m",
        "volume_m3",
        "mass_kg",
        "stiffness",
        "force_factor",
        "mass_share",
        "frequency_hz",
        "q",
        "corner_hz",
        "centre_hz",
        "resonance_hz",
        "bass_limit_hz",
        "edge_hz",
        "tuning_hz",
        "at_hz",
        "first_hz",
        "last_hz",
        "mains_hz",
        "length_m",
        "leak",
        "port",
        "ring_ohm",
        "core_inductance_h",
        "full_scale_pa",
        "full_scale_v",
        "distance_m",
        "gap_m",
        "drive_v",
        "tail_s",
        "wanted_s",
        "peak",
        "sample_rate_hz",
        "force_half_m",
        "stiffness_double_m",
        "inductance_reach_m",
        "contact_stiffness",
        "coil_k_per_w",
        "coil_s",
        "magnet_k_per_w",
        "magnet_s",
        "threshold_v",
        "attack_s",
        "release_s",
        "ratio",
        "clips_v",
        "softness",
        "at_m_s",
        "drives_v",
        "sense_ohm",
        "voltage_full_scale_v",
        "current_full_scale_v",
        "load_s",
        "rest_s",
        "seconds",
    ]
)
#: these 0 or above,
NOT_NEGATIVE: Final = frozenset(
    [
        "damping",
        "resistance_ohm",
        "inductance_h",
        "semi_inductance",
        "capacitance_f",
        "beside_ohm",
        "output_ohm",
        "latency_s",
        "delay_s",
        "pad_db",
        "edge_radius_m",
        "round_one_edge_from_hz",
        "noise_pa",
        "ambient_pa",
        "hum_pa",
        "loopback",
        "angle_spread_deg",
        "order",
        "fade_in_s",
        "fade_out_s",
        "seed",
        "knee_db",
        "pause_s",
        "noise_v",
        "hum_v",
        "hiss_pa",
    ]
)
#: and these between two numbers.
BETWEEN: Final[Mapping[str, tuple[float, float]]] = {
    "temperature_c": (-40.0, 60.0),
    "humidity_percent": (0.0, 100.0),
    "peak": (0.0, 1.0),
    "elevation_deg": (-90.0, 90.0),
    "inside": (0.0, 1.0),
}


class ScenarioError(ValueError):
    """A scenario says something that can't be built; the message is one line."""


@dataclass(frozen=True, slots=True)
class Table:
    """A TOML table, and how to call it in a message: ``heron.toml: enclosures 1, drive_units 2``."""

    place: str
    content: Mapping[str, Any]

    def error(self, what: str) -> ScenarioError:
        """The error that says `what` is wrong here."""
        return ScenarioError(f"{self.place}: {what}")

    def take(self, kind: Any, key: str, default: Any = MISSING) -> Any:
        """The value of a key, of a type as in a dataclass's annotation.

        Raises
        ------
        ScenarioError
            Where there is none and no default, or it is of another type.
        """
        if key not in self.content:
            if default is MISSING:
                raise self.error(f"{key} is missing")
            return default
        return self._within(key, self._checked(kind, key, self.content[key]))

    def table(self, key: str) -> Table:
        """The table under a key, an empty one where there is none."""
        content = self.content.get(key, {})
        if not isinstance(content, dict):
            raise self.error(f"{key} is a table: write [{key}]")
        return Table(f"{self.place}, {key}", content)

    def tables(self, key: str) -> Iterator[Table]:
        """The tables of a list of tables, none where there is no such key."""
        content = self.content.get(key, [])
        if not isinstance(content, list) or not all(isinstance(entry, dict) for entry in content):
            raise self.error(f"{key} is a list of tables: write [[{key}]]")
        for number, entry in enumerate(content, start=1):
            name = entry.get("name", number)
            yield Table(f"{self.place}, {key} {name}", entry)

    def only(self, *keys: str) -> None:
        """Refuse keys that nobody reads."""
        strange = [key for key in self.content if key not in keys]
        if strange:
            raise self.error(f"there is no {strange[0]}; there may be: {', '.join(keys)}")

    def build(self, kind: type[Part], *read_elsewhere: str, **given: Any) -> Part:
        """A dataclass out of this table.

        Parameters
        ----------
        kind
            The dataclass.
        read_elsewhere
            Keys of the table that aren't fields, or that the caller has read for `given`.
        given
            Fields that don't come from the table as they are.

        Raises
        ------
        ScenarioError
            Where a field is missing, a key strange, a value of the wrong type, or the dataclass refuses.
        """
        hints = get_type_hints(kind)
        own = {field.name: field for field in fields(kind) if field.name not in given}  # type: ignore[arg-type]
        self.only(*own, *read_elsewhere)
        values = {
            name: self.take(hints[name], name)
            for name, field in own.items()
            if name in self.content or (field.default is MISSING and field.default_factory is MISSING)
        }
        return self.made(kind, **values, **given)

    def made(self, make: Callable[..., Part], *values: Any, **named: Any) -> Part:
        """What `make` gives; where it refuses, the message says that it was here."""
        try:
            return make(*values, **named)
        except ValueError as error:
            raise self.error(str(error)) from error

    def _checked(self, kind: Any, key: str, value: Any) -> Any:
        origin, arguments = get_origin(kind), get_args(kind)
        if origin in (Union, UnionType):
            return self._checked(next(each for each in arguments if each is not type(None)), key, value)
        if origin is Literal:
            if value not in arguments:
                raise self.error(f"{key} is {value!r}; it may be: {', '.join(map(str, arguments))}")
            return value
        if origin is tuple:
            return self._checked_tuple(arguments, key, value)
        if kind is float:
            if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                raise self.error(f"{key} is {value!r}, where a number is wanted")
            return float(value)
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            wanted = {int: "a whole number", str: "a word", bool: "true or false"}[kind]
            raise self.error(f"{key} is {value!r}, where {wanted} is wanted")
        return value

    def _within(self, key: str, value: Any) -> Any:
        """The value, where its numbers are possible ones of their quantity."""
        for number in value if isinstance(value, tuple) else (value,):
            if not isinstance(number, int | float) or isinstance(number, bool):
                continue
            low, high = BETWEEN.get(key, (-math.inf, math.inf))
            if key in POSITIVE and number <= 0.0:
                raise self.error(f"{key} is {number:g}; it lies above 0")
            if key in NOT_NEGATIVE and number < 0.0:
                raise self.error(f"{key} is {number:g}; it isn't negative")
            if not low <= number <= high:
                raise self.error(f"{key} is {number:g}; it lies between {low:g} and {high:g}")
        return value

    def _checked_tuple(self, arguments: tuple[Any, ...], key: str, value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise self.error(f"{key} is {value!r}, where a list is wanted")
        if arguments[-1] is Ellipsis:
            return tuple(self._checked(arguments[0], key, entry) for entry in value)
        if len(value) != len(arguments):
            raise self.error(f"{key} has {len(value)} entries, where {len(arguments)} are wanted")
        return tuple(self._checked(each, key, entry) for each, entry in zip(arguments, value, strict=True))
