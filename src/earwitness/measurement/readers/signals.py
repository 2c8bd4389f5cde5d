"""What takes hold, read from their files: each file once, whatever reader it goes to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse, Recording, Source
from earwitness.measurement.readers.registry import reader_of
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take, TakeKind


def read_responses(raw: Path, takes: Sequence[Take]) -> list[MeasuredResponse]:
    """The responses of `takes`, whose paths are relative to `raw`, in their order.

    Raises
    ------
    ReadError
        A file can't be read, or holds sound where a response is meant, ohms where no impedance is, or a ratio
        where no microphone's response is.
    """
    found = _read(raw, takes)
    responses = [signal for signal in found if isinstance(signal, MeasuredResponse)]
    for take, signal in zip(takes, found, strict=True):
        if not isinstance(signal, MeasuredResponse):
            raise _other_than_meant(take, "sound")
        if signal.unit is LevelUnit.OHM and take.key.kind is not TakeKind.IMPEDANCE:
            raise _other_than_meant(take, "an impedance in ohms")
        if signal.unit is LevelUnit.RATIO and take.key.kind is not TakeKind.MICROPHONE_CALIBRATION:
            raise _other_than_meant(take, "a ratio", reader_of(source_of(raw, take)).level_option)
    return responses


def read_sounds(raw: Path, takes: Sequence[Take]) -> list[Recording]:
    """The recordings of `takes`, whose paths are relative to `raw`, in their order.

    Raises
    ------
    ReadError
        A file can't be read, or holds a response where sound is meant.
    """
    found = _read(raw, takes)
    return [sound_of(signal, take) for take, signal in zip(takes, found, strict=True)]


def sound_of(signal: MeasuredResponse | Recording, take: Take) -> Recording:
    """What was read for a take that is meant as sound.

    Raises
    ------
    ReadError
        It is a response.
    """
    if not isinstance(signal, Recording):
        raise _other_than_meant(take, "a response")
    return signal


def source_of(raw: Path, take: Take) -> Source:
    """The file of a take, for its reader."""
    made = take.key.kind is TakeKind.STIMULUS
    return Source(raw / take.path, take.path, take.read, may_touch_full_scale=made)


def _read(raw: Path, takes: Sequence[Take]) -> list[MeasuredResponse | Recording]:
    rows: dict[Source, list[int]] = {}
    for row, take in enumerate(takes):
        rows.setdefault(source_of(raw, take), []).append(row)
    found: dict[int, MeasuredResponse | Recording] = {}
    for source, these in rows.items():
        signals = reader_of(source).read(source, [takes[row].selector for row in these])
        found.update(zip(these, signals, strict=True))
    return [found[row] for row in range(len(takes))]


def _other_than_meant(take: Take, found: str, option: str = "") -> ReadError:
    kind = str(take.key.kind).replace("_", " ")
    settled = f"its kind or read.{option}" if option else "its kind"
    return ReadError(take.path, f"holds {found}, and is meant as {kind}", f"correct {settled} in takes.toml")
