"""Change with level in ``curves.nc``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, cast

import numpy as np

from earwitness.case.netcdf_file import NetcdfReader, NetcdfWriter, Variable
from earwitness.records.distortion import ChangeWithLevel, NearDistortion, Told
from earwitness.records.takes import Drive, DriveUnit, TakeId

_BY_DRIVE: Final = ("level_drive", "frequency")
#: Field, its variable, dimensions, units and meaning.
_NUMBERS: Final = (
    ("arrived_db", "level_arrived", ("level_drive",), "dB re 20 µPa", "mean level at 1 m, 300 Hz to 3 kHz"),
    ("ratio", "level_distortion", _BY_DRIVE, "1", "total harmonic distortion re the fundamental"),
    ("re_mean", "level_distortion_re_mean", _BY_DRIVE, "1", "the same re the fundamental's mean level"),
    ("uncertainty", "level_distortion_uncertainty", _BY_DRIVE, "1", "its standard uncertainty by noise"),
    ("order_ratio", "level_order_distortion", ("level_order", "frequency"), "1", "one order at one drive"),
    ("change_db", "level_change", _BY_DRIVE, "dB", "change of the fundamental against the lowest drive"),
    ("band_hz", "level_band", ("level_band",), "Hz", "middle of a third octave"),
    ("output_db", "level_clean_output", ("level_band",), "dB re 20 µPa", "clean output at 1 m"),
)


_NEAR: Final = "level_near"


def level_dims(level: ChangeWithLevel | None) -> Mapping[str, int]:
    """Lengths of the dimensions that it adds."""
    if level is None:
        return {}
    return {
        "level_drive": len(level.drives),
        "level_order": len(level.order),
        "level_band": len(level.band_hz),
        "level_note": len(level.notes),
        **({_NEAR: len(level.near)} if level.near else {}),
    }


def write_level(file: NetcdfWriter, level: ChangeWithLevel) -> None:
    """Variables ``level_…``, and what is known of all of it as attributes of the file."""
    file.whole({"level_stated": level.stated, "level_hours": level.hours})
    for field, name, dims, units, meaning in _NUMBERS:
        file.numbers(name, Variable(dims, units, meaning), getattr(level, field))
    heard = Variable(
        _BY_DRIVE, "1", "whether distortion is heard above the noise; else it is below its value"
    )
    file.flags("level_heard", heard, level.heard)
    known = Variable(("level_band",), "1", "what is known of the clean output")
    file.flags("level_told", known, level.told, Told)
    file.numbers(
        "level_order", Variable(("level_order",), "1", "order"), np.array(level.order, dtype=np.int32)
    )
    along = ("level_drive",)
    file.texts("level_take", Variable(along, "1", "take at each drive"), level.takes)
    file.texts("level_drive_unit", Variable(along, "1", "V, dBFS or dBu"), [d.unit for d in level.drives])
    file.texts("level_notes", Variable(("level_note",), "1", "what was decided"), level.notes)
    drives = np.array([d.value for d in level.drives], dtype=np.float64)
    file.numbers("level_drive", Variable(along, "1", "electrical drive, in level_drive_unit"), drives)

    if level.near:
        _write_near(file, level.near)


def _write_near(file: NetcdfWriter, near: tuple[NearDistortion, ...]) -> None:
    along, grid = (_NEAR,), (_NEAR, "frequency")
    file.texts(f"{_NEAR}_radiator", Variable(along, "1", "radiator"), [one.radiator for one in near])
    file.texts(f"{_NEAR}_unit", Variable(along, "1", "V, dBFS or dBu"), [one.drive.unit for one in near])
    drives = np.array([one.drive.value for one in near], dtype=np.float64)
    file.numbers(f"{_NEAR}_drive", Variable(along, "1", "highest drive, in its unit"), drives)
    for name, meaning in (("ratio", "in front of it"), ("at_1m", "carried to 1 m on axis")):
        told = Variable(grid, "1", f"total harmonic distortion of a radiator by itself, {meaning}")
        file.numbers(f"{_NEAR}_{name}", told, np.stack([getattr(one, name) for one in near]))


def _read_near(file: NetcdfReader) -> tuple[NearDistortion, ...]:
    if not file.has(f"{_NEAR}_radiator"):
        return ()
    names, units = file.texts(f"{_NEAR}_radiator"), file.texts(f"{_NEAR}_unit")
    numbers = [file.numbers(f"{_NEAR}_{name}") for name in ("drive", "ratio", "at_1m")]
    return tuple(
        NearDistortion(name, Drive(float(value), cast(DriveUnit, unit)), ratio, carried)
        for name, unit, value, ratio, carried in zip(names, units, *numbers, strict=True)
    )


def read_level(file: NetcdfReader) -> ChangeWithLevel | None:
    """What `write_level` wrote; None where it wrote nothing."""
    if not file.has("level_drive"):
        return None
    units = file.texts("level_drive_unit")
    values = file.numbers("level_drive").tolist()
    return ChangeWithLevel(
        takes=tuple(TakeId(take) for take in file.texts("level_take")),
        drives=tuple(Drive(value, cast(DriveUnit, unit)) for value, unit in zip(values, units, strict=True)),
        stated=int(file.whole("level_stated")),
        hours=float(file.whole("level_hours")),
        heard=file.truths("level_heard"),
        order=tuple(int(n) for n in file.numbers("level_order")),
        told=file.numbers("level_told").astype(np.uint8),
        notes=tuple(file.texts("level_notes")),
        near=_read_near(file),
        **{field: file.numbers(name) for field, name, *_ in _NUMBERS},
    )
