"""Stimulus files with their sidecars: one for each level, of a sweep, a multitone, noise, or a run."""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from earwitness.acoustics import signals
from earwitness.case import durable
from earwitness.case.drives import drive_in_name
from earwitness.case.sidecar import sidecar_of, sidecar_text
from earwitness.measurement.readers.audio import MAX_FRAMES
from earwitness.measurement.readers.contents import SAMPLE_RATES_HZ
from earwitness.methods.line_level import volts_of_dbu
from earwitness.pipeline.asked_signals import LONGEST_S, Asked, Float64s, samples_of, sounding_s
from earwitness.records.errors import CallError
from earwitness.records.stimuli import Signal, StimulusFacts, SweepSignal
from earwitness.records.takes import Drive

#: No peak stands higher, between the samples neither.
HIGHEST_PEAK_DBFS: Final = -0.1
_ROUNDING_DB: Final = 0.005
#: Below this a sweep has too few steps of 24 bits left.
LOWEST_LEVEL_DBFS: Final = -80.0


@dataclass(frozen=True, slots=True)
class Layout:
    """What all files of a call share: sample rate, silences, and what a full-scale sine gives.

    `full_scale_v` is in volts RMS at the loudspeaker's terminals; None where levels are in dBFS alone.
    """

    sample_rate_hz: int = 48_000
    lead_s: float = 0.5
    tail_s: float = 1.0
    full_scale_v: float | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """A file that was written, or was there already with the same bytes (`new` is False then)."""

    sound: Path
    facts: StimulusFacts
    new: bool


def write_stimuli(folder: Path, asked: Asked, levels: Sequence[Drive], layout: Layout) -> tuple[Written, ...]:
    """Write a sound file and its sidecar for each level, in the order of their levels.

    The same call gives the same bytes. A level is RMS re a full-scale sine (AES17), of a sweep that of a
    steady sine at its peak.

    Parameters
    ----------
    levels
        In dBFS, or in volts RMS at the terminals where `layout` says what full scale gives.

    Raises
    ------
    CallError
        What is asked for can't be played without clipping, contradicts itself, or a file of that name is
        there with another content; then nothing is written.
    """
    _require_layout(asked, layout)
    sounds, signal = samples_of(asked, layout.sample_rate_hz)
    made = []
    for level in _in_order(levels, layout):
        wave = _at_level(sounds, signal, level)
        name = f"{asked.name}_{drive_in_name(level.drive)}.wav"
        facts, data = _file(name, wave, signal, level, layout)
        made.append((folder / facts.file, facts, data))
    new = [_is_new(sound, data) for sound, _, data in made]
    folder.mkdir(parents=True, exist_ok=True)
    for sound, facts, data in made:
        # the sidecar last: where it is, its sound is whole
        durable.write_atomically(sound, data)
        durable.write_atomically(sidecar_of(sound), sidecar_text(facts).encode("utf-8"))
    return tuple(Written(sound, facts, is_new) for (sound, facts, _), is_new in zip(made, new, strict=True))


@dataclass(frozen=True, slots=True)
class _Level:
    drive: Drive
    dbfs: float


def _require_layout(asked: Asked, layout: Layout) -> None:
    """Refuse what no file can be."""
    rate = layout.sample_rate_hz
    low, high = SAMPLE_RATES_HZ
    if not low <= rate <= high:
        raise CallError(f"a sample rate of {rate} Hz isn't from {low:g} to {high:g}")
    if not 0.0 < asked.first_hz < asked.last_hz:
        raise CallError(f"a band from {asked.first_hz:g} to {asked.last_hz:g} Hz doesn't rise from above 0")
    if asked.last_hz > rate / 2.0:
        raise CallError(
            f"{asked.last_hz:g} Hz is above half the sample rate, {rate / 2.0:g} Hz; lower it or raise --rate"
        )
    if not 0.0 < asked.seconds <= LONGEST_S:
        raise CallError(
            f"{asked.seconds:g} s is no length of a stimulus; give over 0 and up to {LONGEST_S:g}"
        )
    if not (0.0 <= layout.lead_s <= LONGEST_S and 0.0 <= layout.tail_s <= LONGEST_S):
        raise CallError(f"the silences must be from 0 to {LONGEST_S:g} s")
    whole = (sounding_s(asked) + layout.lead_s + layout.tail_s) * rate
    if whole > MAX_FRAMES:
        raise CallError(f"{whole:.0f} samples are more than the {MAX_FRAMES} that are read; make it shorter")


def _in_order(levels: Sequence[Drive], layout: Layout) -> list[_Level]:
    """The levels from the lowest up, each in dBFS too."""
    found = sorted((_Level(drive, _dbfs(drive, layout)) for drive in levels), key=lambda level: level.dbfs)
    for one, other in pairwise(found):
        if abs(one.dbfs - other.dbfs) < 1e-9:
            raise CallError(f"{one.drive.label} and {other.drive.label} are one level; give it once")
    return found


def _dbfs(drive: Drive, layout: Layout) -> float:
    if drive.unit == "dBFS":
        found = drive.value
    elif layout.full_scale_v is None:
        raise CallError(
            f"a level of {drive.label} needs --full-scale: the volts RMS that a full-scale sine gives there"
        )
    else:
        volts = volts_of_dbu(drive.value) if drive.unit == "dBu" else drive.value
        found = 20.0 * math.log10(volts / layout.full_scale_v)
    if found > 0.0:
        of = f", which {layout.full_scale_v:g} V at full scale can't give" if drive.unit != "dBFS" else ""
        raise CallError(f"{drive.label} is above digital full scale{of}; give a lower level")
    if found < LOWEST_LEVEL_DBFS:
        lowest = f"{LOWEST_LEVEL_DBFS:g}".replace("-", "−")
        raise CallError(f"{drive.label} is below {lowest} dBFS; turn the amplifier down instead")
    return found


def _at_level(wave: Float64s, signal: Signal, level: _Level) -> Float64s:
    """The signal at its level: a sweep by its greatest amplitude, which is 1 before, all else by its RMS."""
    gain = 10.0 ** (level.dbfs / 20.0)
    scaled = wave * (gain if isinstance(signal, SweepSignal) else gain / math.sqrt(2.0))
    peak_db = 20.0 * math.log10(signals.true_peak(scaled))
    if peak_db > HIGHEST_PEAK_DBFS + _ROUNDING_DB:
        highest = math.floor(10.0 * (level.dbfs - peak_db + HIGHEST_PEAK_DBFS + _ROUNDING_DB)) / 10.0
        line = f"{level.drive.label} would clip: its peak would be {peak_db:+.2f} dBFS; give at most"
        raise CallError(f"{line} {highest:.1f} dBFS".replace("-", "−"))
    return np.asarray(scaled)


def _file(
    name: str, wave: Float64s, signal: Signal, level: _Level, layout: Layout
) -> tuple[StimulusFacts, bytes]:
    """What a file holds, and its bytes."""
    rate = layout.sample_rate_hz
    lead, tail = round(layout.lead_s * rate), round(layout.tail_s * rate)
    whole = np.concatenate([np.zeros(lead), wave, np.zeros(tail)])
    stream = io.BytesIO()
    soundfile.write(stream, whole, rate, subtype="PCM_24", format="WAV")
    data = stream.getvalue()
    facts = StimulusFacts(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        sample_rate_hz=rate,
        samples=whole.size,
        lead_s=lead / rate,
        tail_s=tail / rate,
        level_dbfs=level.dbfs,
        peak_dbfs=20.0 * math.log10(float(np.max(np.abs(wave)))),
        rms_dbfs=signals.rms_dbfs(wave),
        crest_factor_db=signals.crest_factor_db(wave),
        signal=signal,
        drive_v=None if layout.full_scale_v is None else layout.full_scale_v * 10.0 ** (level.dbfs / 20.0),
        full_scale_v=layout.full_scale_v,
    )
    return facts, data


def _is_new(sound: Path, data: bytes) -> bool:
    """Whether the file isn't there yet.

    Raises
    ------
    CallError
        Something else is there under its name.
    """
    if not sound.exists():
        return True
    if not sound.is_file() or sound.read_bytes() != data:
        raise CallError(f"{sound} is there already and differs; give another folder, or move it away")
    return False
