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
import numpy.typing as npt
import soundfile

from earwitness.acoustics import signals, sweeps
from earwitness.acoustics.endurance import noise_second, seconds_of
from earwitness.acoustics.signals import Colour, Emphasis
from earwitness.case import durable
from earwitness.case.drives import format_number
from earwitness.case.sidecar import MOST_TONES, sidecar_of, sidecar_text
from earwitness.measurement.readers.audio import MAX_FRAMES
from earwitness.measurement.readers.contents import SAMPLE_RATES_HZ
from earwitness.methods.line_level import volts_of_dbu
from earwitness.records.errors import CallError
from earwitness.records.stimuli import (
    MultitoneSignal,
    NoiseSignal,
    RunSignal,
    Signal,
    StimulusFacts,
    SweepSignal,
)
from earwitness.records.takes import Drive

Float64s = npt.NDArray[np.float64]

#: No peak stands higher, between the samples neither.
HIGHEST_PEAK_DBFS: Final = -0.1
_ROUNDING_DB: Final = 0.005
#: Below this a sweep has too few steps of 24 bits left.
LOWEST_LEVEL_DBFS: Final = -80.0
#: A sweep's amplitude spans no more: what is weaker counts as its silent head or tail (−60 dB).
WIDEST_EMPHASIS_DB: Final = 40.0
LONGEST_S: Final = 600.0
#: A multitone repeats after so long: its tones lie on whole hertz.
PERIOD_S: Final = 1.0
FEWEST_TONES: Final = 2
#: Of two tones the low one's amplitude is four times the other's, as IEC 60268-5 has it for modulation
#: distortion (recalled).
TWO_TONES_DB: Final = 12.041199826559248
#: A run's probes re its load, and its shortest load.
PROBE_DB: Final = -20.0
SHORTEST_LOAD_S: Final = 10


@dataclass(frozen=True, slots=True)
class Sweep:
    """A sweep as it is asked for; it lasts about `seconds`, so that first_hz·L is whole."""

    first_hz: float
    last_hz: float
    seconds: float
    fade_in_s: float = 0.1
    fade_out_s: float = 0.005
    emphasis: Emphasis = signals.FLAT
    name: str = "stimulus"


@dataclass(frozen=True, slots=True)
class Multitone:
    """Tones evenly over log f, as they are asked for; whole periods of one second.

    The lowest stands `lowest_db` above the others.
    """

    first_hz: float
    last_hz: float
    seconds: float
    tones: int
    seed: int
    name: str = "multitone_stimulus"
    lowest_db: float = 0.0


def two_tones(low_hz: float, high_hz: float, seconds: float) -> Multitone:
    """A low tone and a high one of a quarter of its amplitude."""
    return Multitone(low_hz, high_hz, seconds, 2, 0, "two_tones_stimulus", TWO_TONES_DB)


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise as it is asked for."""

    first_hz: float
    last_hz: float
    seconds: float
    colour: Colour
    seed: int

    @property
    def name(self) -> str:
        """What its files begin with."""
        return f"{self.colour}_noise"


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it is asked for: `seconds` of load in all, and at least `rest_s` after it, whole seconds."""

    first_hz: float
    last_hz: float
    seconds: float
    rest_s: float
    seed: int
    name: str = "endurance_stimulus"


Asked = Sweep | Multitone | Noise | Run


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
    sounds, signal = _sounds(asked, layout)
    made = []
    for level in _in_order(levels, layout):
        wave = _at_level(sounds, signal, level)
        name = f"{asked.name}_{_level_text(level.drive)}.wav"
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
    seconds = float(seconds_of(*_of_run(asked)).size) if isinstance(asked, Run) else asked.seconds
    whole = (seconds + layout.lead_s + layout.tail_s) * rate
    if whole > MAX_FRAMES:
        raise CallError(f"{whole:.0f} samples are more than the {MAX_FRAMES} that are read; make it shorter")


def _sounds(asked: Asked, layout: Layout) -> tuple[Float64s, Signal]:
    """The signal of whatever scale, and what it is."""
    if isinstance(asked, Sweep):
        return _sweep(asked, layout.sample_rate_hz)
    if not 0 <= asked.seed < 2**31:
        raise CallError(f"a seed of {asked.seed} isn't from 0 to {2**31 - 1}")
    if isinstance(asked, Multitone):
        return _multitone(asked, layout.sample_rate_hz)
    if isinstance(asked, Run):
        return _run(asked, layout.sample_rate_hz)
    count = round(asked.seconds * layout.sample_rate_hz)
    if count * (asked.last_hz - asked.first_hz) < 10.0 * layout.sample_rate_hz:
        raise CallError("so narrow a band in so short a time is no noise; make it wider or longer")
    wave = signals.noise(
        count, layout.sample_rate_hz, (asked.first_hz, asked.last_hz), asked.colour, asked.seed
    )
    length_s = count / layout.sample_rate_hz
    return wave, NoiseSignal(asked.colour, asked.first_hz, asked.last_hz, length_s, asked.seed)


def _sweep(asked: Sweep, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    rate_s = sweeps.sweep_rate_s(asked.first_hz, asked.last_hz, asked.seconds)
    octaves = math.log2(asked.last_hz / asked.first_hz)
    if round(rate_s * asked.first_hz) < 1 or octaves < 1.0:
        raise CallError(
            f"a sweep from {asked.first_hz:g} to {asked.last_hz:g} Hz in {asked.seconds:g} s can't be made: "
            "it takes an octave, and a cycle in the time of a factor e; make it wider or longer"
        )
    length_s = rate_s * math.log(asked.last_hz / asked.first_hz)
    if min(asked.fade_in_s, asked.fade_out_s) < 0.0 or asked.fade_in_s + asked.fade_out_s > 0.5 * length_s:
        raise CallError(f"the fades must be 0 or more, and together at most half of {length_s:.3g} s")
    shape = asked.emphasis
    if not asked.first_hz / 100.0 <= shape.shelf_hz <= 100.0 * asked.last_hz:
        raise CallError(f"a shelf at {shape.shelf_hz:g} Hz lies far outside the sweep; move it")
    gains = shape.gain_db(np.geomspace(asked.first_hz, asked.last_hz, 500))
    if not np.ptp(gains) <= WIDEST_EMPHASIS_DB:
        raise CallError(
            f"an emphasis by a shelf of {shape.shelf_db:g} dB and a tilt of {shape.tilt_db_per_octave:g} dB "
            f"an octave comes to {np.ptp(gains):.1f} dB over the sweep's band, which is over "
            f"{WIDEST_EMPHASIS_DB:g} dB; make it smaller".replace("-", "−")
        )
    wave = signals.faded_sweep(
        asked.first_hz,
        asked.last_hz,
        asked.seconds,
        sample_rate_hz,
        fade_in_s=asked.fade_in_s,
        fade_out_s=asked.fade_out_s,
        emphasis=shape,
    )
    # the fades may take the place where the emphasis is greatest: the peak that counts is the file's own
    wave = wave / np.max(np.abs(wave))
    return wave, SweepSignal(
        asked.first_hz,
        asked.last_hz,
        rate_s,
        length_s,
        asked.fade_in_s,
        asked.fade_out_s,
        shape.shelf_db,
        shape.shelf_hz,
        shape.tilt_db_per_octave,
    )


def _of_run(asked: Run) -> tuple[int, int]:
    """Seconds of load and of rest.

    Raises
    ------
    CallError
        They can't be.
    """
    load, rest = round(asked.seconds), round(asked.rest_s)
    if not (load >= SHORTEST_LOAD_S and 0 <= rest <= LONGEST_S):
        raise CallError(
            f"a run of {load} s and {rest} s after it can't be: load it {SHORTEST_LOAD_S} s at least, and "
            f"rest up to {LONGEST_S:g} s"
        )
    return load, rest


def _run(asked: Run, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    load, rest = _of_run(asked)
    seconds = seconds_of(load, rest)
    second = noise_second(sample_rate_hz, (asked.first_hz, asked.last_hz), asked.seed)
    gains = np.array([0.0, 10.0 ** (PROBE_DB / 20.0), 1.0])[seconds]
    wave = np.multiply.outer(gains, second).ravel()
    length_s = float(seconds.size)
    return wave, RunSignal(asked.first_hz, asked.last_hz, load, rest, PROBE_DB, length_s, asked.seed)


def _multitone(asked: Multitone, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    if not FEWEST_TONES <= asked.tones <= MOST_TONES:
        count = f"{asked.tones} tone{'' if asked.tones == 1 else 's'}"
        raise CallError(f"a multitone of {count} can't be; give from {FEWEST_TONES} to {MOST_TONES}")
    period = round(PERIOD_S * sample_rate_hz)
    bins = signals.multitone_bins(asked.first_hz, asked.last_hz, asked.tones, period, sample_rate_hz)
    if bins.size < asked.tones or bins[0] < 1 or 2 * bins[-1] >= period:
        raise CallError(
            f"{asked.tones} tones from {asked.first_hz:g} to {asked.last_hz:g} Hz don't all fall on hertz of "
            "their own below half the sample rate; ask for fewer, or begin higher"
        )
    periods = max(1, round(asked.seconds / PERIOD_S))
    wave = np.tile(signals.multitone(bins, period, asked.seed, lowest_db=asked.lowest_db), periods)
    tones = tuple(float(one) for one in bins * (sample_rate_hz / period))
    return wave, MultitoneSignal(tones, PERIOD_S, periods * PERIOD_S, asked.seed, asked.lowest_db)


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


def _level_text(drive: Drive) -> str:
    """A level as names of files have it: ``-20dBFS``, ``2.83V``, ``4dBu``."""
    return f"{format_number(drive.value)}{drive.unit}"


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
