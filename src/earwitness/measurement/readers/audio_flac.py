"""FLAC: what its stream information says, and samples that agree with it.

Source: RFC 9639 (2024), 8.2 (recalled).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt
import soundfile

from earwitness.measurement.readers.audio_containers import truncated
from earwitness.records.errors import ReadError

MARK: Final = b"fLaC"
_INFORMATION_BYTES: Final = 34
_BITS: Final = (8, 16, 24)


@dataclass(frozen=True, slots=True)
class StreamInformation:
    """What stands at the start of a FLAC file; `md5` is of all samples, None where it wasn't filled in."""

    frames: int
    channels: int
    sample_rate_hz: int
    bits: int
    md5: bytes | None


def stream_information(stream: BinaryIO, name: str) -> StreamInformation:
    """The stream information of a FLAC file.

    Raises
    ------
    ReadError
        There is none, it leaves the length open, or the bits aren't 8, 16 or 24.
    """
    stream.seek(4)
    head = stream.read(4 + _INFORMATION_BYTES)
    if len(head) < 4 + _INFORMATION_BYTES or head[0] & 0x7F != 0:
        raise ReadError(name, "has no stream information", "export it again")
    packed, md5 = int.from_bytes(head[14:22], "big"), head[22:38]
    rate, channels = packed >> 44, (packed >> 41 & 7) + 1
    bits, frames = (packed >> 36 & 31) + 1, packed & (1 << 36) - 1
    if bits not in _BITS:
        raise ReadError(name, f"has {bits} bits a sample, and FLAC is read with 8, 16 or 24", "export as WAV")
    if frames == 0:
        problem = "doesn't say how long it is, since its recording wasn't closed"
        raise ReadError(name, problem, "close it in the program that records, and copy it again")
    return StreamInformation(frames, channels, rate, bits, md5 if any(md5) else None)


def decoded(file: Path, information: StreamInformation, name: str) -> npt.NDArray[np.int32]:
    """All samples, shape (frames, channels), in the upper bits of 32.

    Raises
    ------
    ReadError
        The stream can't be decoded, ends early, or isn't what was coded, by its own checksum.
    """
    try:
        with soundfile.SoundFile(str(file)) as audio:
            samples = audio.read(information.frames, dtype="int32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise _damaged(name) from error
    if samples.shape[0] < information.frames:
        raise truncated(name, samples.shape[0], information.frames, "frames")
    if samples.shape[1] != information.channels or _differs(samples, information):
        raise _damaged(name)
    return np.asarray(samples)


def _damaged(name: str) -> ReadError:
    return ReadError(
        name, "is cut short or damaged: its sound isn't what was coded", "copy the whole file again"
    )


def _differs(samples: npt.NDArray[np.int32], information: StreamInformation) -> bool:
    """Whether the checksum of the samples, in as many bytes as they need, isn't the file's own."""
    if information.md5 is None:
        return False
    wide = information.bits // 8
    words = np.ascontiguousarray(samples, dtype="<i4").view(np.uint8).reshape(-1, 4)
    own = np.ascontiguousarray(words[:, 4 - wide :])
    return hashlib.md5(own.data, usedforsecurity=False).digest() != information.md5
