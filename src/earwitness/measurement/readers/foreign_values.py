"""Whether what a reader of another distribution gives is what it should be: every field by itself.

Nothing is taken for granted of a field, whatever its annotation says.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from earwitness.measurement.readers.contents import (
    MAX_FREQUENCY_HZ,
    MAX_LEVEL_DB,
    SAMPLE_RATES_HZ,
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Part,
    Placed,
    Recording,
)
from earwitness.records.takes import EVERY_PART, Direction, Drive, Orbit, TakeKind

_LONGEST: Final = 1_000
#: What lies beyond is no distance of a microphone, no drive, and no phase.
_DISTANCES_M: Final = (1e-3, 1e3)
_VOLTS: Final = (1e-6, 1e4)
_DBFS: Final = (-300.0, 0.0)
_DBU: Final = (-300.0, 60.0)
_MAX_PHASE_DEG: Final = 1e9


def wrong_contents(contents: object) -> str:
    """What is wrong with what a reader says of a file; empty where nothing is."""
    if not isinstance(contents, Contents):
        return f"says {type(contents).__name__} instead of Contents"
    said: Any = contents
    if not isinstance(said.form, Form) or not isinstance(said.parts, tuple) or not said.parts:
        return "says neither sound nor responses, or no parts"
    if not all(isinstance(part, Part) for part in said.parts) or not isinstance(said.words, tuple):
        return "says a part that is none, or words that are no tuple"
    texts = [said.remark, *said.words, *(text for part in said.parts for text in (part.selector, part.words))]
    if not all(isinstance(text, str) and text.isprintable() and len(text) <= _LONGEST for text in texts):
        return "says words that are no line of text"
    names = {part.selector for part in said.parts}
    if len(names) < len(said.parts) or EVERY_PART in names:
        return f"says two parts of the same name, or one that is called {EVERY_PART}"
    wrong = [problem for part in said.parts if (problem := _wrong_part(part))]
    if said.sample_rate_hz is not None and not _is_within(said.sample_rate_hz, *SAMPLE_RATES_HZ):
        wrong.append("says a sample rate that is none")
    return wrong[0] if wrong else ""


def wrong_signal(signal: object) -> str:
    """What is wrong with a part that a reader gave; empty where nothing is."""
    if isinstance(signal, Recording):
        return _wrong_recording(signal)
    if isinstance(signal, MeasuredResponse):
        return _wrong_response(signal)
    return f"gives {type(signal).__name__} instead of a Recording or a MeasuredResponse"


def _wrong_part(part: Part) -> str:
    """What is wrong with what a reader says of one part."""
    said: Any = part
    if said.position_deg is not None and not _is_position(said.position_deg):
        return "says a position_deg that is no azimuth and elevation"
    if said.kind is not None and not isinstance(said.kind, TakeKind):
        return "says a kind that is no TakeKind"
    if said.drive is not None and not _is_drive(said.drive):
        return "says a drive that is none"
    if isinstance(said.repeat, bool) or not isinstance(said.repeat, int) or said.repeat < 1:
        return "says a repeat that is no whole number from 1 on"
    if said.direction is not None and not _is_direction(said.direction):
        return "says a direction that is none"
    return ""


def _is_within(value: object, low: float, high: float) -> bool:
    """Whether it is a number between two."""
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


def _is_position(given: object) -> bool:
    """Whether it is an azimuth and an elevation as AES69 has them, in degrees."""
    if not isinstance(given, tuple) or len(given) != 2:
        return False
    return _is_within(given[0], -720.0, 720.0) and _is_within(given[1], -90.0, 90.0)


def _is_drive(given: object) -> bool:
    if not isinstance(given, Drive):
        return False
    said: Any = given
    if said.unit == "V":
        return _is_within(said.value, *_VOLTS)
    if said.unit == "dBu":
        return _is_within(said.value, *_DBU)
    return said.unit == "dBFS" and _is_within(said.value, *_DBFS)


def _is_direction(given: object) -> bool:
    if not isinstance(given, Direction):
        return False
    said: Any = given
    return isinstance(said.orbit, Orbit) and _is_within(said.angle_deg, -180.0, 180.0)


def _wrong_recording(signal: Recording) -> str:
    samples: Any = signal.samples
    rate: Any = signal.sample_rate_hz
    if (
        not isinstance(samples, np.ndarray)
        or samples.dtype != np.float32
        or samples.ndim != 2
        or samples.shape[0] != 1
        or not samples.size
    ):
        return "gives samples that aren't float32 of shape (1, n)"
    if not np.isfinite(samples).all():
        return "gives samples that are no numbers"
    if not samples.any():
        return "gives silence"
    if not isinstance(rate, int) or not SAMPLE_RATES_HZ[0] <= rate <= SAMPLE_RATES_HZ[1]:
        return f"gives {rate!r} as a sample rate" if isinstance(rate, int) else "gives no sample rate"
    return ""


def _wrong_response(signal: MeasuredResponse) -> str:
    given: Any = signal
    wrong = _wrong_arrays(given)
    if wrong:
        return wrong
    level, rising = signal.level_db, np.diff(signal.frequency_hz, prepend=0.0) > 0.0
    phase, between = (0.0 if a is None else a for a in (signal.phase_deg, signal.interpolation_db))
    # a level that is NaN isn't valid at its frequency
    loud = np.any(np.abs(level) > MAX_LEVEL_DB)
    problems = {
        "gives frequencies that don't rise": not rising.all() or signal.frequency_hz[-1] > MAX_FREQUENCY_HZ,
        "gives levels that no response has": loud or np.isfinite(level).sum() < 2,
        "gives phases that no response has": np.any(np.abs(phase) > _MAX_PHASE_DEG),
        "gives an interpolation_db under 0": np.any(np.less(between, 0.0)),
        "gives levels without their unit": not isinstance(given.unit, LevelUnit),
        "gives placed, which is no Placed": given.placed is not None and not _is_placed(given.placed),
    }
    return next((problem for problem, there in problems.items() if there), "")


def _wrong_arrays(given: Any) -> str:
    """What is wrong with the arrays of a response by themselves; where its level is NaN, others may be."""
    optional = [array for array in (given.phase_deg, given.interpolation_db) if array is not None]
    for array in (given.frequency_hz, given.level_db, *optional):
        if not isinstance(array, np.ndarray) or array.dtype != np.float64 or array.ndim != 1:
            return "gives values that aren't float64 of shape (n,)"
        if array.size != given.frequency_hz.size or array.size < 2:
            return "gives arrays of other lengths, or fewer than two frequencies"
    heard = ~np.isnan(given.level_db)
    if not all(np.isfinite(array[heard]).all() for array in (given.level_db, *optional)):
        return "gives values that are no numbers"
    return "" if np.isfinite(given.frequency_hz).all() else "gives frequencies that are no numbers"


def _is_placed(given: object) -> bool:
    """Whether it says where a microphone stood."""
    if not isinstance(given, Placed):
        return False
    said: Any = given
    return (
        _is_within(said.distance_m, *_DISTANCES_M)
        and (said.seen_angle_deg is None or _is_within(said.seen_angle_deg, -180.0, 180.0))
        and isinstance(said.without_delay, bool)
    )
