"""Whatever bytes a raw file holds, a reader answers with its content or with one clear refusal."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers.audio import read_recording
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.text import READER as TEXT_READER
from earwitness.records.errors import FileError

FUZZ = settings(max_examples=150, deadline=2_000, suppress_health_check=[HealthCheck.function_scoped_fixture])
TEXT = b"* heading\nFrequency (Hz)\tLevel (dB)\tPhase (deg)\n" + b"\n".join(
    f"{20 * 1.1**k:.3f}\t{80 - k * 0.1:.2f}\t{-k:d}".encode() for k in range(40)
)


def sound(kind: str, subtype: str) -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, 0.3 * np.sin(0.1 * np.arange(600)), 48_000, subtype=subtype, format=kind)
    return stream.getvalue()


SOUNDS = [sound("WAV", "PCM_24"), sound("WAV", "FLOAT"), sound("RF64", "PCM_16"), sound("FLAC", "PCM_16")]
Edit = tuple[int, bytes, int]


def edited(content: bytes, edits: list[Edit]) -> bytes:
    """Content with bytes replaced, put in, or cut out at some places."""
    for place, new, cut in edits:
        at = place % (len(content) + 1)
        content = content[:at] + new + content[at + cut :]
    return content


EDITS = st.lists(
    st.tuples(st.integers(0, 4_000), st.binary(max_size=8), st.integers(0, 12)), min_size=1, max_size=6
)


def answers(reader: Callable[[Path, str], object], folder: Path, content: bytes, name: str) -> None:
    file = folder / name
    file.write_bytes(content)
    line = name
    try:
        reader(file, name)
    except FileError as refused:
        line = str(refused)
    assert line.isprintable()
    assert line.startswith(name)


def look_at_text(file: Path, name: str) -> object:
    return TEXT_READER.look(Source(file, name))


@FUZZ
@given(st.binary(max_size=2_000))
def test_text_reader_on_any_bytes(tmp_path: Path, content: bytes) -> None:
    answers(look_at_text, tmp_path, content, "any.txt")


@FUZZ
@given(st.text(max_size=500))
def test_text_reader_on_any_text(tmp_path: Path, content: str) -> None:
    answers(look_at_text, tmp_path, content.encode("utf-8", "replace"), "any.txt")


@FUZZ
@given(EDITS)
def test_text_reader_on_damaged_files(tmp_path: Path, edits: list[Edit]) -> None:
    answers(look_at_text, tmp_path, edited(TEXT, edits), "damaged.txt")


@FUZZ
@given(
    st.sampled_from([b"", b"RIFF\xff\xff\xff\xffWAVE", b"RF64\xff\xff\xff\xffWAVE", b"fLaC"]),
    st.binary(max_size=2_000),
)
def test_audio_reader_on_any_bytes(tmp_path: Path, start: bytes, content: bytes) -> None:
    answers(read_recording, tmp_path, start + content, "any.wav")


@settings(FUZZ, max_examples=400)
@given(st.sampled_from(SOUNDS), EDITS)
def test_audio_reader_on_damaged_files(tmp_path: Path, content: bytes, edits: list[Edit]) -> None:
    answers(read_recording, tmp_path, edited(content, edits), "damaged.wav")


@settings(FUZZ, max_examples=200)
@given(st.sampled_from(SOUNDS), st.integers(4, 80), st.binary(min_size=4, max_size=8))
def test_audio_reader_on_headers_that_lie(tmp_path: Path, content: bytes, at: int, lie: bytes) -> None:
    answers(read_recording, tmp_path, content[:at] + lie + content[at + len(lie) :], "lie.wav")


@pytest.mark.parametrize("claimed", [2**31 - 8, 2**32 - 9])
def test_a_claimed_length_takes_no_memory(tmp_path: Path, claimed: int) -> None:
    content = bytearray(SOUNDS[0])
    place = content.index(b"data") + 4
    content[place : place + 4] = claimed.to_bytes(4, "little")
    tracemalloc.start()
    answers(read_recording, tmp_path, bytes(content), "claim.wav")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4_000_000


def test_a_flac_that_claims_more_than_it_holds_takes_no_memory(tmp_path: Path) -> None:
    content = bytearray(SOUNDS[3])
    # the 36-bit count of samples stands in the last bytes before the MD5 of the stream information
    content[21] |= 0x0F
    content[22:26] = b"\xff\xff\xff\xff"
    tracemalloc.start()
    answers(read_recording, tmp_path, bytes(content), "claim.flac")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4_000_000
