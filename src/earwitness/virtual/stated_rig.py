"""What a reviewer states of a rig: lines of ``case.toml``, from the rig in use."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

from earwitness.virtual.rig import Rig


def stated(rig: Rig, name: str) -> Mapping[tuple[str, str], str]:
    """Values by table and key, as TOML has them. What isn't there to be stated is left out.

    Angles are unsure by what the turntable is set by eye, root sum of squares of offset and spread.
    """
    table = rig.turntable
    values: dict[tuple[str, str], str] = {
        ("rig", "distance_m"): f"{table.distance_m:g}",
        ("rig", "rotation_behind_m"): f"{table.rotation_behind_m:g}",
        ("rig", "temperature_c"): f"{rig.air.temperature_c:g}",
        ("rig", "room"): f'"{name.replace("_", " ")}"',
    }
    for surface in rig.room.surfaces:
        if surface.side == "floor":
            values["rig", "height_m"] = f"{surface.distance_m:g}"
            values["rig", "microphone_height_m"] = f"{surface.distance_m + table.microphone_up_m:g}"
    if unsure_deg := math.hypot(table.angle_offset_deg, table.angle_spread_deg):
        values["uncertainty", "angle_deg"] = f"{unsure_deg:.2g}"
    return values


def restated(text: str, values: Mapping[tuple[str, str], str]) -> str:
    """The text of a ``case.toml`` with other values where it states some; the rest stays to the letter."""
    return "".join(_lines(text, values))


def _lines(text: str, values: Mapping[tuple[str, str], str]) -> Iterator[str]:
    table = ""
    for line in text.splitlines(keepends=True):
        if header := re.match(r"\[(\w+)\]", line):
            table = header[1]
        elif line.startswith("["):
            table = ""
        key = re.match(r"(\w+) = ", line)
        value = values.get((table, key[1])) if key else None
        yield line if key is None or value is None else f"{key[0]}{value}\n"
