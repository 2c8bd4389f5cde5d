"""Recordings of a stimulus as they were made: the microphone's channel, its loopback, and what was played."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import damage, sweeps
from earwitness.measurement.readers.audio import LOOPBACK, selector_of, stated_channel
from earwitness.measurement.readers.contents import Recording, Source
from earwitness.measurement.readers.registry import reader_of
from earwitness.measurement.readers.signals import read_sounds, sound_of, source_of
from earwitness.measurement.readers.sound_options import StatedSweep, stated_sweep
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take, TakeKey, TakeKind

Float32s = npt.NDArray[np.float32]

#: What is weaker than this re a stimulus' greatest sample is its silent head or tail.
HEARD_PART: Final = 1e-3
#: A sweep's rate, found from its samples, may differ so much from what is stated.
RATE_PART: Final = 0.02
_AGAIN: Final = "record the whole sweep again"


@dataclass(frozen=True)
class Stimulus:
    """A sweep as it was played: its samples of shape (n,), the band it fills, and its rate L in s."""

    name: str
    samples: Float32s
    sample_rate_hz: int
    band_hz: tuple[float, float]
    rate_s: float

    @cached_property
    def sounding(self) -> int:
        """How many samples it has up to the last that is heard (−60 dB re its greatest)."""
        return int(np.flatnonzero(np.abs(self.samples) > HEARD_PART * self.peak)[-1]) + 1

    @cached_property
    def peak(self) -> float:
        """Its greatest sample, re full scale."""
        return float(np.max(np.abs(self.samples)))


@dataclass(frozen=True)
class Answer:
    """What a take recorded of its stimulus: the microphone, and the stimulus itself by wire (None without).

    Both have shape (n,).
    """

    take: Take
    microphone: Float32s
    loopback: Float32s | None


def stimuli_of(takes: Sequence[Take]) -> Mapping[str, Take]:
    """The stimuli that `takes` were made with, by path, each as its own entry among them states it.

    A file that has no entry is read as a whole.

    Raises
    ------
    ReadError
        A file that was played holds two stimuli.
    """
    played = sorted({take.stimulus for take in takes if take.stimulus is not None})
    found = {path: Take(path, TakeKey(TakeKind.STIMULUS)) for path in played}
    stated: set[str] = set()
    for take in takes:
        if take.key.kind is not TakeKind.STIMULUS or take.path not in found:
            continue
        if take.path in stated:
            problem = "holds two stimuli, and which of them was played isn't said"
            raise ReadError(take.path, problem, "keep one entry of kind stimulus for it in takes.toml")
        stated.add(take.path)
        found[take.path] = take
    return found


def read_stimulus(raw: Path, take: Take) -> Stimulus:
    """The sweep that a take of kind stimulus holds, in a file of `raw`; see `stimulus_in`.

    The last ones stay in memory as long as their files don't change: several measurements ask for them.
    """
    file = raw / take.path
    try:
        known = file.stat()
    except OSError:
        return stimulus_in(file, take)
    return _read_once(file, take, known.st_size, known.st_mtime_ns)


@lru_cache(maxsize=2)
def _read_once(file: Path, take: Take, _size: int, _time_ns: int) -> Stimulus:
    return stimulus_in(file, take)


def stimulus_in(file: Path, take: Take) -> Stimulus:
    """The sweep that a take of kind stimulus holds, from where its file lies.

    Raises
    ------
    ReadError
        It can't be read, is no exponential sweep, or isn't the one that its entry states.
    """
    source = Source(file, take.path, take.read, may_touch_full_scale=True)
    recording = sound_of(reader_of(source).read(source, [take.selector])[0], take)
    samples = recording.samples[0]
    sample_rate_hz = recording.sample_rate_hz
    stated = stated_sweep(source)
    try:
        if stated is None:
            band, rate = sweeps.band_and_rate(samples, sample_rate_hz)
        else:
            band, rate = stated.band_hz, stated.rate_s
            _require_stated(take, stated, samples, sample_rate_hz)
    except sweeps.NotASweepError as error:
        problem = f"is no exponential sweep: {error}"
        raise ReadError(take.id, problem, "add the sweep that was played") from error
    return Stimulus(take.id, samples, sample_rate_hz, band, rate)


def _require_stated(take: Take, stated: StatedSweep, samples: Float32s, sample_rate_hz: int) -> None:
    """Refuse a sweep that can't reach so high as is stated, or rises at another pace."""
    high = stated.band_hz[1]
    if high > sample_rate_hz / 2.0:
        problem = f"can't reach the stated {high:g} Hz at {sample_rate_hz} Hz"
    else:
        found_s = sweeps.rate_in(samples, sample_rate_hz, stated.band_hz)
        if abs(found_s / stated.rate_s - 1.0) <= RATE_PART:
            return
        problem = f"rises by the factor e in {found_s:.3g} s, and {stated.rate_s:.3g} s are stated"
    raise ReadError(take.id, problem, "correct read in takes.toml, or add the sweep that was played")


def read_answers(raw: Path, takes: Sequence[Take], stimulus: Stimulus) -> list[Answer]:
    """What `takes` recorded of their one stimulus, in their order; a file of several takes is read once.

    Raises
    ------
    ReadError
        A file or a channel can't be read, a sample rate isn't the stimulus', a recording is shorter than it
        or has lost some of it, or a take's own channel is its loopback.
    """
    loopbacks = [_wired(raw, take) for take in takes]
    wanted = [*takes, *(loopback for loopback in loopbacks if loopback is not None)]
    recordings = dict(zip(wanted, read_sounds(raw, wanted), strict=True))
    return [
        _answer(take, recordings[take], None if loopback is None else recordings[loopback], stimulus)
        for take, loopback in zip(takes, loopbacks, strict=True)
    ]


def answer_in(file: Path, take: Take, stimulus: Stimulus) -> Answer:
    """What a take recorded of its stimulus, from where its file lies; see `read_answers`."""
    source = Source(file, take.path, take.read)
    loopback = _loopback(source, take)
    selectors = [take.selector] if loopback is None else [take.selector, loopback]
    recordings = [sound_of(signal, take) for signal in reader_of(source).read(source, selectors)]
    return _answer(take, recordings[0], None if loopback is None else recordings[1], stimulus)


def _wired(raw: Path, take: Take) -> Take | None:
    """The take with its loopback's channel for its selector; None where it states none."""
    selector = _loopback(source_of(raw, take), take)
    return None if selector is None else Take(take.path, take.key, selector, read=take.read)


def _loopback(source: Source, take: Take) -> str | None:
    """The selector of its loopback's channel; None where it states none."""
    channel = stated_channel(source, LOOPBACK)
    if channel is None:
        return None
    if take.selector == selector_of(channel):
        problem = f"is recorded on channel {channel}, which is stated as its loopback"
        raise ReadError(take.id, problem, "correct read.loopback or the selector in takes.toml")
    return selector_of(channel)


def _answer(take: Take, recording: Recording, loopback: Recording | None, stimulus: Stimulus) -> Answer:
    samples = recording.samples[0]
    if loopback is not None and np.array_equal(samples, loopback.samples[0]):
        raise ReadError(
            take.id,
            "holds the same on its own channel as on its loopback's",
            "record the microphone beside the loopback, or correct read.loopback in takes.toml",
        )
    _require_whole(take, recording, stimulus)
    return Answer(take, samples, None if loopback is None else loopback.samples[0])


def _require_whole(take: Take, recording: Recording, stimulus: Stimulus) -> None:
    """Refuse what was recorded at another rate, ends before its stimulus, or has lost some of it."""
    samples, rate = recording.samples[0], recording.sample_rate_hz
    if rate != stimulus.sample_rate_hz:
        problem = f"was recorded at {rate} Hz, and its stimulus {stimulus.name}"
        raise ReadError(
            take.path, f"{problem} has {stimulus.sample_rate_hz} Hz", "use one sample rate for both"
        )
    if samples.size < stimulus.sounding:
        problem = f"ends here and is shorter than its stimulus, which sounds up to sample {stimulus.sounding}"
        raise ReadError(take.id, problem, _AGAIN, f"sample {samples.size}")
    lost = damage.lost_stretch(samples, rate, stimulus.sounding)
    if lost is not None:
        first, stop = lost
        problem = f"has lost its sound for {1e3 * (stop - first) / rate:.1f} ms: it is zero there"
        raise ReadError(take.id, problem, _AGAIN, f"sample {first}")
