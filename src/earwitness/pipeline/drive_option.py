"""The drive that a call states."""

from __future__ import annotations

import re
from typing import Final

from earwitness.case.drives import parse_drive
from earwitness.measurement.recognition.answers import Unclear
from earwitness.measurement.recognition.drive import DBU_TO, drive_in, settled_drive
from earwitness.measurement.recognition.tokens import text_of
from earwitness.records.errors import CallError
from earwitness.records.takes import Drive

#: Volts that no loudspeaker is driven with; a file's name can't say them either.
_VOLTS_BELOW: Final = 1000.0
#: What a name may say of a drive, the option may say as well.
_DRIVE: Final = re.compile(r"[+\-−]?[0-9.,]+[ _]?[A-Za-z]+")


def drive_of(text: str | None) -> Drive | None:
    """The drive that the option states; None where it isn't given.

    Raises
    ------
    CallError
        It isn't one.
    """
    if text is None:
        return None
    drive = parse_drive(text)
    doubts: list[Unclear] = []
    if drive is None and _DRIVE.fullmatch(text.strip()):
        drive = settled_drive(drive_in(text_of(text, "--drive")), doubts)
    if doubts:
        raise CallError(f"--drive {text!r} is no drive ({doubts[0]}); write it like 2.83V, -20dBFS or +4dBu")
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V, -20dBFS or +4dBu")
    if drive.unit == "dBFS" and drive.value > 0.0:
        raise CallError(f"--drive {text!r} is above digital full scale; write the sign, as in -20dBFS")
    if drive.unit == "dBu" and drive.value > DBU_TO:
        raise CallError(f"--drive {text!r} is more than lines have; give dBu up to {DBU_TO:g}")
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        raise CallError(
            f"--drive {text!r} is no drive of a loudspeaker; give volts RMS, under {_VOLTS_BELOW:g}"
        )
    return drive
