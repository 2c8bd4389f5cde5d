"""Recordings: WAV (also RF64 and extensible) and FLAC, linear PCM or float, any bit depth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt
import soundfile

from earwitness.measurement.readers.contents import Contents, Form, Part, Recording, Source, no_such_part
from earwitness.measurement.readers.files import require_regular
from earwitness.records.errors import ReadError

MAX_FRAMES: Final = 2**24
MAX_BYTES: Final = 2**27
SAMPLE_RATES_HZ: Final = (8_000, 768_000)
#: So many neighbouring samples at full scale are clipping; a peak that just touches it has fewer.
CLIPPED_RUN: Final = 3
#: Quieter than this in its peak, a recording is silence (−120 dB re full scale).
SILENCE: Final = 1e-6
BITS: Final = {
    "PCM_S8": 8,
    "PCM_U8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "FLOAT": None,
    "DOUBLE": None,
}


class AudioReader:
    """The reader of recordings."""

    name = "audio"
    suffixes = frozenset({".wav", ".flac"})
    options: Mapping[str, str] = {}

    def look(self, source: Source) -> Contents:
        """What the file holds."""
        recording = self._read(source)
        return Contents(Form.SOUND, (Part(),), sample_rate_hz=recording.sample_rate_hz)

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[Recording]:
        """The file's one channel, for each of `selectors`."""
        for selector in selectors:
            if selector:
                raise no_such_part(source, selector)
        return [self._read(source)] * len(selectors)

    def _read(self, source: Source) -> Recording:
        return read_recording(source.file, source.name, may_touch_full_scale=source.may_touch_full_scale)


READER: Final = AudioReader()


def read_recording(file: Path, name: str, *, may_touch_full_scale: bool = False) -> Recording:
    """A recording of one channel.

    Parameters
    ----------
    file, name
        Where it lies, and what the user calls it.
    may_touch_full_scale
        For a stimulus, which was made and not recorded: runs at full scale are no clipping there.

    Raises
    ------
    ReadError
        It is not audio, truncated, clipped, silent, too long, holds a NaN, or has more than one channel.
    """
    size = require_regular(file, name, MAX_BYTES)
    with file.open("rb") as stream:
        _require_whole(stream, name, size)
    try:
        with soundfile.SoundFile(str(file)) as audio:
            _require_readable(audio, name)
            frames, rate = int(audio.frames), int(audio.samplerate)
            bits = BITS[audio.subtype]
            samples = audio.read(frames, dtype="float32", always_2d=True).T
    except soundfile.LibsndfileError as error:
        raise ReadError(name, "is not audio that can be read", "export it as WAV or FLAC") from error
    if samples.shape[1] < frames:
        raise _truncated(name, samples.shape[1], frames)
    _require_sound(samples[0], name)
    if not may_touch_full_scale:
        _require_unclipped(samples[0], 1.0 if bits is None else 1.0 - 2.0 ** (1 - bits), name)
    return Recording(np.ascontiguousarray(samples), rate)


def _require_whole(stream: BinaryIO, name: str, size: int) -> None:
    """Refuse what starts as neither WAV nor FLAC, and a WAV whose data end before its header says."""
    head = stream.read(12)
    if head[:4] == b"fLaC":
        return
    if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        raise ReadError(name, "is neither WAV nor FLAC inside", "export it as WAV or FLAC")
    position, large = 12, None
    while position + 8 <= size:
        stream.seek(position)
        chunk = stream.read(8)
        kind, length = chunk[:4], int.from_bytes(chunk[4:], "little")
        if kind == b"ds64":
            large = int.from_bytes(stream.read(16)[8:], "little")
        if kind == b"data":
            declared = large if length == 0xFFFFFFFF and large is not None else length
            if declared > size - position - 8:
                raise _truncated(name, size - position - 8, declared, "bytes")
            return
        position += 8 + length + length % 2
    raise ReadError(name, "has no sound data", "export or record it again")


def _truncated(name: str, found: int, declared: int, of_what: str = "frames") -> ReadError:
    problem = f"is cut short: {found} of {declared} {of_what} are there"
    return ReadError(name, problem, "copy the whole file again")


def _require_readable(audio: soundfile.SoundFile, name: str) -> None:
    """Refuse by header: coding, channels, length, sample rate."""
    if audio.subtype not in BITS:
        raise ReadError(
            name, f"is coded as {audio.subtype}, not as plain samples", "export linear PCM or float"
        )
    if audio.channels != 1:
        raise ReadError(
            name,
            f"has {audio.channels} channels, and one is read so far",
            "export the microphone's channel alone",
        )
    if audio.frames > MAX_FRAMES:
        raise ReadError(
            name, f"has {audio.frames} frames, more than the {MAX_FRAMES} that are read", "shorten it"
        )
    if audio.frames < 1:
        raise ReadError(name, "has no sound data", "export or record it again")
    if not SAMPLE_RATES_HZ[0] <= audio.samplerate <= SAMPLE_RATES_HZ[1]:
        raise ReadError(
            name, f"has a sample rate of {audio.samplerate} Hz", "record it with 8 kHz to 768 kHz"
        )


def _require_sound(samples: npt.NDArray[np.float32], name: str) -> None:
    """Refuse samples that are no numbers, and silence."""
    finite = np.isfinite(samples)
    if not finite.all():
        raise ReadError(
            name, "is not a number", "export or record it again", f"sample {int(np.argmin(finite))}"
        )
    if float(np.max(np.abs(samples))) < SILENCE:
        raise ReadError(name, "is silent", "check the microphone's connection and record it again")


def _require_unclipped(samples: npt.NDArray[np.float32], full_scale: float, name: str) -> None:
    """Refuse runs of samples at full scale."""
    at = np.abs(samples) >= full_scale
    if not at.any():
        return
    run = at[: -CLIPPED_RUN + 1].copy()
    for k in range(1, CLIPPED_RUN):
        run &= at[k : at.size - CLIPPED_RUN + 1 + k]
    if run.any():
        raise ReadError(
            name,
            "is clipped",
            "lower the recording level and record it again",
            f"sample {int(np.argmax(run))}",
        )
