"""Recordings of a stimulus as they were made: the microphone's channel, its loopback, and what was played."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import sweeps
from earwitness.measurement.readers.audio import LOOPBACK, selector_of, stated_channel
from earwitness.measurement.readers.contents import Recording
from earwitness.measurement.readers.signals import read_sounds, source_of
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take, TakeKey, TakeKind

Float32s = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Stimulus:
    """A sweep as it was played: its samples of shape (n,), the band it fills, and its rate L in s."""

    name: str
    samples: Float32s
    sample_rate_hz: int
    band_hz: tuple[float, float]
    rate_s: float

    @property
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
    """The sweep that a take of kind stimulus holds, in a file of `raw`.

    Raises
    ------
    ReadError
        It can't be read, or is no exponential sweep.
    """
    recording = read_sounds(raw, [take])[0]
    samples = recording.samples[0]
    try:
        band, rate = sweeps.band_and_rate(samples, recording.sample_rate_hz)
    except sweeps.NotASweepError as error:
        problem = f"is no exponential sweep: {error}"
        raise ReadError(take.id, problem, "add the sweep that was played") from error
    return Stimulus(take.id, samples, recording.sample_rate_hz, band, rate)


def read_answers(raw: Path, takes: Sequence[Take], stimulus: Stimulus) -> list[Answer]:
    """What `takes` recorded of their one stimulus, in their order; a file of several takes is read once.

    Raises
    ------
    ReadError
        A file or a channel can't be read, a sample rate isn't the stimulus', a recording is shorter than half
        of it, or a take's own channel is stated as its loopback.
    """
    loopbacks = [_loopback(raw, take) for take in takes]
    wanted = [*takes, *(loopback for loopback in loopbacks if loopback is not None)]
    recordings = dict(zip(wanted, read_sounds(raw, wanted), strict=True))
    answers = []
    for take, loopback in zip(takes, loopbacks, strict=True):
        recording = recordings[take]
        _require_whole(take, recording, stimulus)
        reference = None if loopback is None else recordings[loopback].samples[0]
        answers.append(Answer(take, recording.samples[0], reference))
    return answers


def _loopback(raw: Path, take: Take) -> Take | None:
    """The take with its loopback's channel for its selector; None where it states none."""
    channel = stated_channel(source_of(raw, take), LOOPBACK)
    if channel is None:
        return None
    if take.selector == selector_of(channel):
        problem = f"is recorded on channel {channel}, which is stated as its loopback"
        raise ReadError(take.id, problem, "correct read.loopback or the selector in takes.toml")
    return Take(take.path, take.key, selector_of(channel), read=take.read)


def _require_whole(take: Take, recording: Recording, stimulus: Stimulus) -> None:
    if recording.sample_rate_hz != stimulus.sample_rate_hz:
        problem = f"was recorded at {recording.sample_rate_hz} Hz, and its stimulus"
        raise ReadError(
            take.path,
            f"{problem} {stimulus.name} has {stimulus.sample_rate_hz} Hz",
            "use one sample rate for both",
        )
    if recording.samples.shape[1] < stimulus.samples.size // 2:
        raise ReadError(take.path, "is shorter than half its stimulus", "record the whole sweep again")
