"""WAV, RF64, AIFF and AIFC: what their chunks say of the samples, and the samples by that.

Nothing is repaired: a length that wasn't filled in, data that end early and a header that contradicts itself
are refused.

Source: RIFF/WAVE with the extensible format of 2001, EBU Tech 3306 (RF64), ITU-R BS.2088 (BW64), AIFF 1.3 of
1989 and AIFF-C of 1991 (recalled).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import BinaryIO, Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.records.errors import ReadError

Order = Literal["little", "big"]

#: More chunks than this before the sound are no recording.
MAX_CHUNKS: Final = 1_000
#: A length that the header leaves open.
_OPEN: Final = 0xFFFFFFFF
_WAVE_IDS: Final = (b"RIFF", b"RF64", b"BW64")
_AIFF_TYPES: Final = (b"AIFF", b"AIFC")
_PCM, _FLOAT, _EXTENSIBLE = 0x0001, 0x0003, 0xFFFE
#: What follows the coding in the extensible format's sixteen bytes.
_EXTENSIBLE_TAIL: Final = bytes.fromhex("000000001000800000aa00389b71")
_WAVE_CODINGS: Final = {
    0x0002: "ADPCM",
    0x0006: "A-law",
    0x0007: "µ-law",
    0x0011: "ADPCM",
    0x0031: "GSM",
    0x0050: "MPEG",
    0x0055: "MP3",
}
_AIFC_CODINGS: Final = {b"ulaw": "µ-law", b"ULAW": "µ-law", b"alaw": "A-law", b"ALAW": "A-law"}


class Numbers(StrEnum):
    """How a sample is written."""

    SIGNED = "signed"
    UNSIGNED = "unsigned"
    FLOAT = "float"


@dataclass(frozen=True, slots=True)
class Coding:
    """A sample: so many bytes `wide`, of which `bits` count from the top (all of them in a float)."""

    numbers: Numbers
    wide: int
    bits: int
    order: Order = "little"


@dataclass(frozen=True, slots=True)
class Layout:
    """Where a file's samples lie and what they are: frames of one sample a channel, from byte `start` on."""

    start: int
    frames: int
    channels: int
    sample_rate_hz: int
    coding: Coding


@dataclass(frozen=True, slots=True)
class _Chunk:
    kind: bytes
    start: int
    declared: int


@dataclass(frozen=True, slots=True)
class _Format:
    channels: int
    sample_rate_hz: int
    coding: Coding


def is_container(head: bytes) -> bool:
    """Whether a file that starts with these twelve bytes is one of those read here."""
    wave = head[:4] in _WAVE_IDS and head[8:12] == b"WAVE"
    return wave or (head[:4] == b"FORM" and head[8:12] in _AIFF_TYPES)


def layout_of(stream: BinaryIO, size: int, name: str) -> Layout:
    """Where the samples lie in a file of `size` bytes.

    Raises
    ------
    ReadError
        The data end before the header says, their length isn't filled in, the coding isn't plain samples, or
        the header contradicts itself.
    """
    stream.seek(0)
    head = stream.read(12)
    if head[:4] == b"FORM":
        return _aiff_layout(stream, size, head[8:12] == b"AIFC", name)
    return _wave_layout(stream, size, head[:4] != b"RIFF", name)


def decoded(layout: Layout, data: npt.NDArray[np.uint8], channel: int, name: str) -> npt.NDArray[np.float32]:
    """One channel of the data's bytes, shape (frames,), re full scale.

    Raises
    ------
    ReadError
        Bits are set that by the header don't count: samples stand lower in their bytes than they should.
    """
    coding = layout.coding
    own = data.reshape(layout.frames, layout.channels, coding.wide)[:, channel]
    if coding.order == "big":
        own = own[:, ::-1]
    if coding.numbers is Numbers.FLOAT:
        values = np.ascontiguousarray(own).view(f"<f{coding.wide}")[:, 0]
        with np.errstate(over="ignore", invalid="ignore"):
            return np.asarray(values, dtype=np.float32)
    words = np.zeros((layout.frames, 4), dtype=np.uint8)
    words[:, 4 - coding.wide :] = own
    if coding.numbers is Numbers.UNSIGNED:
        words[:, 3] ^= 0x80
    whole = words.view("<i4")[:, 0]
    unused = 8 * coding.wide - coding.bits
    if unused and np.any(whole & (((1 << unused) - 1) << (32 - 8 * coding.wide))):
        raise ReadError(
            name,
            f"has samples of more than the {coding.bits} bits that its header says",
            "export it with 24 or 32 bits",
        )
    return whole.astype(np.float32) * np.float32(2.0**-31)


def truncated(name: str, found: int, declared: int, of_what: str) -> ReadError:
    """The refusal of a file that ends too early."""
    problem = f"is cut short: {found} of {declared} {of_what} are there"
    return ReadError(name, problem, "copy the whole file again")


def compressed(name: str, coding: str) -> ReadError:
    """The refusal of what isn't plain samples."""
    return ReadError(name, f"is coded as {coding}, not as plain samples", "export linear PCM or float")


def _not_closed(name: str) -> ReadError:
    problem = "doesn't say how long it is, since its recording wasn't closed"
    return ReadError(name, problem, "close it in the program that records, and copy it again")


def _no_sound(name: str) -> ReadError:
    return ReadError(name, "has no sound data", "export or record it again")


def _contradiction(name: str, what: str) -> ReadError:
    return ReadError(name, f"has a header that contradicts itself: {what}", "export it again")


def _chunks(stream: BinaryIO, size: int, order: Order, name: str) -> Iterator[_Chunk]:
    """The chunks that begin inside the file, in their order."""
    position = 12
    for _ in range(MAX_CHUNKS):
        if position + 8 > size:
            return
        stream.seek(position)
        head = stream.read(8)
        chunk = _Chunk(head[:4], position + 8, int.from_bytes(head[4:], order))
        yield chunk
        position += 8 + chunk.declared + chunk.declared % 2
    raise ReadError(name, f"has more than {MAX_CHUNKS} chunks before its sound", "export it again")


def _content(stream: BinaryIO, chunk: _Chunk, at_least: int, name: str) -> bytes:
    """The first bytes of a chunk that describes."""
    stream.seek(chunk.start)
    content = stream.read(min(chunk.declared, 64))
    if len(content) < at_least:
        label = chunk.kind.decode("ascii", "replace").strip()
        raise _contradiction(name, f"its {label} chunk has {len(content)} bytes of at least {at_least}")
    return content


def _wave_layout(stream: BinaryIO, size: int, large: bool, name: str) -> Layout:
    form: _Format | None = None
    data_bytes: int | None = None
    for chunk in _chunks(stream, size, "little", name):
        if chunk.kind == b"ds64" and large:
            data_bytes = int.from_bytes(_content(stream, chunk, 16, name)[8:16], "little")
        if chunk.kind == b"fmt ":
            form = _wave_format(_content(stream, chunk, 16, name), name)
        if chunk.kind == b"data":
            if form is None:
                raise _contradiction(name, "its sound comes before its format")
            declared = chunk.declared
            if declared == _OPEN:
                if data_bytes is None:
                    raise _not_closed(name)
                declared = data_bytes
            return _checked(form, chunk.start, declared, size, name)
    raise _no_sound(name)


def _checked(form: _Format, start: int, declared: int, size: int, name: str) -> Layout:
    """The layout of `declared` bytes of data from `start` on."""
    there = size - start
    if declared <= 0:
        raise _not_closed(name) if there > 0 else _no_sound(name)
    if declared > there:
        raise truncated(name, there, declared, "bytes")
    frame = form.channels * form.coding.wide
    if declared % frame:
        raise _contradiction(name, f"{declared} bytes of sound aren't whole frames of {frame} bytes")
    return Layout(start, declared // frame, form.channels, form.sample_rate_hz, form.coding)


def _wave_format(content: bytes, name: str) -> _Format:
    tag, channels, rate, _, frame, bits = struct.unpack_from("<HHIIHH", content)
    valid = bits
    if tag == _EXTENSIBLE:
        if len(content) < 40:
            raise _contradiction(name, "its format is extensible, and not extended")
        valid = struct.unpack_from("<H", content, 18)[0] or bits
        tag = struct.unpack_from("<H", content, 24)[0] if content[26:40] == _EXTENSIBLE_TAIL else 0
    if tag not in (_PCM, _FLOAT):
        raise compressed(name, _WAVE_CODINGS.get(tag, f"format {tag:#06x}"))
    if channels == 0 or frame % channels:
        raise _contradiction(name, f"frames of {frame} bytes can't hold {channels} channels")
    wide = frame // channels
    if tag == _FLOAT:
        return _Format(channels, rate, _float(wide, bits, name))
    numbers = Numbers.UNSIGNED if wide == 1 else Numbers.SIGNED
    return _Format(channels, rate, _integer(numbers, wide, valid, "little", name))


def _float(wide: int, bits: int, name: str) -> Coding:
    if wide not in (4, 8) or bits != 8 * wide:
        raise _contradiction(name, f"{wide} bytes and {bits} bits are no floating-point number")
    return Coding(Numbers.FLOAT, wide, bits, "little")


def _integer(numbers: Numbers, wide: int, bits: int, order: Order, name: str) -> Coding:
    if not 1 <= wide <= 4 or not 0 < bits <= 8 * wide:
        raise _contradiction(name, f"{bits} bits don't go with {wide} bytes a sample")
    if bits < 8:
        raise ReadError(name, f"has {bits} bits a sample", "record it with 16 bits or more")
    return Coding(numbers, wide, bits, order)


def _aiff_layout(stream: BinaryIO, size: int, coded: bool, name: str) -> Layout:
    form: tuple[_Format, int] | None = None
    data: tuple[int, int] | None = None
    for chunk in _chunks(stream, size, "big", name):
        if chunk.kind == b"COMM":
            form = _aiff_format(_content(stream, chunk, 22 if coded else 18, name), coded, name)
        if chunk.kind == b"SSND":
            data = _aiff_data(stream, chunk, size, name)
        if form is not None and data is not None:
            return _aiff_checked(*form, data, size, name)
    if data is not None:
        raise _contradiction(name, "its sound has no format")
    raise _no_sound(name)


def _aiff_data(stream: BinaryIO, chunk: _Chunk, size: int, name: str) -> tuple[int, int]:
    """Where the sound chunk's samples start, and their bytes: they follow eight bytes and an offset."""
    there = size - chunk.start
    if chunk.declared > there:
        raise truncated(name, there, chunk.declared, "bytes")
    offset = int.from_bytes(_content(stream, chunk, 8, name)[:4], "big")
    return chunk.start + 8 + offset, chunk.declared - 8 - offset


def _aiff_checked(form: _Format, frames: int, data: tuple[int, int], size: int, name: str) -> Layout:
    """The layout of data from a place on, of a length that may count the byte which makes it even."""
    start, declared = data
    wanted = frames * form.channels * form.coding.wide
    if wanted == 0 or declared <= 0:
        return _checked(form, start, 0, size, name)
    if declared - wanted not in (0, 1):
        raise _contradiction(
            name, f"{frames} frames are said, of {wanted} bytes, and {declared} are its sound"
        )
    return _checked(form, start, wanted, size, name)


def _aiff_format(content: bytes, coded: bool, name: str) -> tuple[_Format, int]:
    channels, frames, bits = struct.unpack_from(">HIH", content)
    coding = content[18:22] if coded else b"NONE"
    if channels == 0:
        raise _contradiction(name, "it has no channel")
    rate = _extended(content[8:18], name)
    return _Format(channels, rate, _aiff_coding(coding, bits, name)), frames


def _aiff_coding(coding: bytes, bits: int, name: str) -> Coding:
    wide = (bits + 7) // 8
    if coding in (b"NONE", b"twos", b"in24", b"in32"):
        return _integer(Numbers.SIGNED, wide, bits, "big", name)
    if coding == b"sowt":
        return _integer(Numbers.SIGNED, wide, bits, "little", name)
    if coding == b"raw ":
        return _integer(Numbers.UNSIGNED, 1, bits, "big", name)
    if coding in (b"fl32", b"FL32"):
        return Coding(Numbers.FLOAT, 4, 32, "big")
    if coding in (b"fl64", b"FL64"):
        return Coding(Numbers.FLOAT, 8, 64, "big")
    raise compressed(name, _AIFC_CODINGS.get(coding, coding.decode("latin-1").strip()))


def _extended(content: bytes, name: str) -> int:
    """A whole number of hertz from 80 bits: sign and exponent in 16, the mantissa in 64."""
    exponent, mantissa = struct.unpack(">HQ", content)
    shift = 16383 + 63 - exponent
    if not 0 <= shift <= 63 or mantissa & ((1 << shift) - 1):
        raise ReadError(name, "has a sample rate that isn't a whole number of hertz", "export it again")
    return int(mantissa >> shift)
