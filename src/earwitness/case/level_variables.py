"""Change with level in ``curves.nc``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, cast

import numpy as np

from earwitness.case.netcdf_file import NetcdfReader, NetcdfWriter, Variable
from earwitness.records.distortion import ChangeWithLevel, Told
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


def level_dims(level: ChangeWithLevel | None) -> Mapping[str, int]:
    """Lengths of the dimensions that it adds."""
    if level is None:
        return {}
    return {
        "level_drive": len(level.drives),
        "level_order": len(level.order),
        "level_band": len(level.band_hz),
        "level_note": len(level.notes),
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
        **{field: file.numbers(name) for field, name, *_ in _NUMBERS},
    )
