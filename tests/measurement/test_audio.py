from __future__ import annotations

import io
import os
import struct
import wave
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers import audio
from earwitness.measurement.readers.audio import READER, read_recording
from earwitness.measurement.readers.contents import Part, Source
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOptions

Floats = npt.NDArray[np.float64]

SAMPLES = 0.5 * np.sin(0.05 * np.arange(4_800))


def written(
    folder: Path,
    samples: Floats = SAMPLES,
    subtype: str = "PCM_24",
    name: str = "a.wav",
    kind: str = "WAV",
) -> Path:
    file = folder / name
    soundfile.write(file, samples, 48_000, subtype=subtype, format=kind)
    return file


#: What libsndfile writes: container, coding, and the least step (half of it where it rounds).
CODINGS = [
    ("WAV", "PCM_U8", 2**-7),
    ("WAV", "PCM_16", 2**-15),
    ("WAV", "PCM_24", 2**-23),
    ("WAV", "PCM_32", 2**-24),
    ("WAV", "FLOAT", 2**-24),
    ("WAV", "DOUBLE", 2**-24),
    ("WAVEX", "PCM_24", 2**-23),
    ("WAVEX", "FLOAT", 2**-24),
    ("RF64", "PCM_24", 2**-23),
    ("RF64", "DOUBLE", 2**-24),
    ("AIFF", "PCM_S8", 2**-7),
    ("AIFF", "PCM_U8", 2**-7),
    ("AIFF", "PCM_16", 2**-15),
    ("AIFF", "PCM_24", 2**-23),
    ("AIFF", "PCM_32", 2**-24),
    ("AIFF", "FLOAT", 2**-24),
    ("AIFF", "DOUBLE", 2**-24),
    ("FLAC", "PCM_S8", 2**-7),
    ("FLAC", "PCM_16", 2**-15),
    ("FLAC", "PCM_24", 2**-23),
]


@pytest.mark.parametrize(("kind", "subtype", "precision"), CODINGS)
@pytest.mark.parametrize("count", [4_800, 4_801])
def test_every_container_and_coding(
    tmp_path: Path, *, kind: str, subtype: str, precision: float, count: int
) -> None:
    # libsndfile counts the byte that makes an AIFF's chunk even as a frame, where frames are single bytes
    count -= count % 2 if (kind, subtype[-2:]) in {("AIFF", "S8"), ("AIFF", "U8")} else 0
    samples = 0.5 * np.sin(0.05 * np.arange(count))
    found = read_recording(written(tmp_path, samples, subtype, kind=kind), "a.wav")
    assert found.sample_rate_hz == 48_000
    assert found.samples.dtype == np.float32
    assert found.samples.shape == (1, count)
    assert np.max(np.abs(found.samples[0] - samples)) <= precision


def test_little_endian_aiff(tmp_path: Path) -> None:
    file = tmp_path / "a.aifc"
    soundfile.write(file, SAMPLES, 48_000, subtype="PCM_16", format="AIFF", endian="LITTLE")
    assert b"sowt" in file.read_bytes()[:100]
    assert np.max(np.abs(read_recording(file, "a.aifc").samples[0] - SAMPLES)) <= 2**-15


def pcm_wave(
    words: list[int], *, bits: int, wide: int, tag: int = 1, channels: int = 1, rate: int = 48_000
) -> bytes:
    """A WAV of whole numbers, each in the lowest of so many bytes, made byte by byte."""
    data = b"".join(w.to_bytes(wide, "little", signed=True) for w in words)
    form = struct.pack("<HHIIHH", tag, channels, rate, rate * channels * wide, channels * wide, bits)
    body = b"fmt " + len(form).to_bytes(4, "little") + form + b"data" + len(data).to_bytes(4, "little") + data
    return b"RIFF" + (4 + len(body)).to_bytes(4, "little") + b"WAVE" + body


@pytest.mark.parametrize(("bits", "wide"), [(12, 2), (20, 3), (24, 4), (16, 4)])
def test_bits_that_fill_their_bytes_from_the_top(tmp_path: Path, bits: int, wide: int) -> None:
    # RIFF: samples stand in the most significant bits, what is left below them is zero
    step = 2 ** (8 * wide - bits)
    half = 2 ** (bits - 2)
    (tmp_path / "a.wav").write_bytes(pcm_wave([half * step, -half * step, step], bits=bits, wide=wide))
    found = read_recording(tmp_path / "a.wav", "a.wav").samples[0]
    assert found.tolist() == [0.5, -0.5, 2.0 ** (1 - bits)]
    # full scale has so many bits, no more
    (tmp_path / "a.wav").write_bytes(pcm_wave([(2 * half - 1) * step] * 3, bits=bits, wide=wide))
    refused(tmp_path / "a.wav", "is clipped")
    (tmp_path / "a.wav").write_bytes(pcm_wave([half * step, 1], bits=bits, wide=wide))
    refused(tmp_path / "a.wav", f"more than the {bits} bits")


def test_another_writer(tmp_path: Path) -> None:
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(3)
        file.setframerate(192_000)
        file.writeframes(b"".join(v.to_bytes(3, "little", signed=True) for v in (64, -(2**22), 128, 2**21)))
    left, right = READER.read(Source(tmp_path / "a.wav", "a.wav"), ["channel 1", "channel 2"])
    assert left.samples.tolist() == [[2.0**-17, 2.0**-16]]
    assert right.samples.tolist() == [[-0.5, 0.25]]
    assert left.sample_rate_hz == 192_000


@pytest.mark.parametrize("rate", [8_000, 11_025, 44_100, 48_000, 88_200, 192_000, 384_000])
@pytest.mark.parametrize("kind", ["WAV", "AIFF", "FLAC"])
def test_sample_rates(tmp_path: Path, kind: str, rate: int) -> None:
    soundfile.write(tmp_path / "a.wav", SAMPLES, rate, format=kind, subtype="PCM_16")
    assert read_recording(tmp_path / "a.wav", "a.wav").sample_rate_hz == rate


def refused(file: Path, problem: str, **options: bool) -> ReadError:
    with pytest.raises(ReadError) as caught:
        read_recording(file, "raw/a.wav", **options)
    assert problem in caught.value.problem
    assert str(caught.value).startswith("raw/a.wav")
    return caught.value


def test_not_audio(tmp_path: Path) -> None:
    file = tmp_path / "a.wav"
    file.write_bytes(b"RIFF")
    refused(file, "neither WAV, AIFF nor FLAC")
    file.write_bytes(b"frequency,level\n" * 10)
    refused(file, "neither WAV, AIFF nor FLAC")
    file.write_bytes(b"RIFF\x00\x00\x00\x00WAVEfmt ")
    refused(file, "no sound data")
    file.write_bytes(b"fLaC" + bytes(200))
    refused(file, "1 bits a sample")
    file.write_bytes(b"")
    refused(file, "empty")


@pytest.mark.parametrize("kind", ["WAV", "RF64"])
@pytest.mark.parametrize("lost", [1, 3_000, 14_000])
def test_truncated(tmp_path: Path, kind: str, lost: int) -> None:
    file = written(tmp_path, kind=kind)
    file.write_bytes(file.read_bytes()[:-lost])
    refused(file, "cut short")


def test_truncated_flac(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    file = written(tmp_path, 0.1 * rng.standard_normal(48_000), name="a.flac", kind="FLAC")
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    with pytest.raises(ReadError, match="cut short"):
        read_recording(file, "raw/a.wav")


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_clipped(tmp_path: Path, subtype: str, sign: float) -> None:
    samples = SAMPLES.copy()
    samples[1_000:1_003] = sign * 1.2
    file = written(tmp_path, np.clip(samples, -1.0, 1.0), subtype)
    assert refused(file, "clipped").where == "sample 1000"
    assert read_recording(file, "a.wav", may_touch_full_scale=True).samples.shape == (1, 4_800)


def test_a_peak_that_touches_full_scale_is_no_clipping(tmp_path: Path) -> None:
    samples = SAMPLES.copy()
    samples[1_000:1_002] = 1.0
    assert read_recording(written(tmp_path, samples), "a.wav").samples.max() > 0.999


def test_a_flat_top_below_full_scale(tmp_path: Path) -> None:
    clipped = np.clip(SAMPLES, -0.25, 0.25)
    fault = refused(written(tmp_path, clipped), "is clipped 12.0 dB below full scale")
    # sin(0.05 n) passes a half at n = 10.47; the outermost 1 % of the flat top begin one sample sooner or so
    assert fault.where in {"sample 10", "sample 11"}
    file = written(tmp_path, clipped)
    assert read_recording(file, "a.wav", may_touch_full_scale=True).samples.shape == (1, 4_800)


def test_silent_and_not_a_number(tmp_path: Path) -> None:
    refused(written(tmp_path, np.zeros(4_800)), "silent")
    samples = SAMPLES.copy()
    samples[77] = np.nan
    assert refused(written(tmp_path, samples, "FLOAT"), "not a number").where == "sample 77"
    samples[77] = np.inf
    assert refused(written(tmp_path, samples, "DOUBLE"), "not a number").where == "sample 77"


def test_coding(tmp_path: Path) -> None:
    refused(written(tmp_path, SAMPLES, "ULAW"), "µ-law")


def test_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = written(tmp_path)
    monkeypatch.setattr(audio, "MAX_FRAMES", 4_799)
    refused(file, "4800 frames")
    monkeypatch.setattr(audio, "MAX_FRAMES", 4_800)
    monkeypatch.setattr(audio, "MAX_SAMPLES", 9_599)
    refused(written(tmp_path, np.c_[SAMPLES, -SAMPLES]), "9600 samples")
    monkeypatch.setattr(audio, "MAX_BYTES", 1_000)
    refused(file, "MiB")


def test_no_regular_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    refused(tmp_path / "pipe.wav", "not a regular file")
    refused(tmp_path, "not a regular file")
    refused(tmp_path / "missing.wav", "can't be opened")


@settings(max_examples=30)
@given(st.integers(1, 3_000), st.sampled_from(["PCM_16", "PCM_24", "FLOAT"]), st.integers(0, 2**32 - 1))
def test_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, count: int, subtype: str, seed: int
) -> None:
    samples = np.random.default_rng(seed).uniform(-0.9, 0.9, count)
    found = read_recording(written(tmp_path_factory.mktemp("audio"), samples, subtype), "a.wav")
    assert np.max(np.abs(found.samples[0] - samples)) <= 2**-15


def cut(content: bytes, at: int) -> bytes:
    return content[: at % len(content)]


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(CODINGS), st.integers(1, 2), st.integers(1, 10**6))
def test_any_cut_is_refused_or_reads_right(
    tmp_path_factory: pytest.TempPathFactory, coding: tuple[str, str, float], channels: int, at: int
) -> None:
    folder = tmp_path_factory.mktemp("cut")
    kind, subtype, _ = coding
    samples = np.stack([np.roll(SAMPLES[:700], 30 * c) for c in range(channels)], axis=-1)
    file = written(folder, samples, subtype, kind=kind)
    whole = READER.read(Source(file, "a.wav"), ["channel 1"])[0]
    file.write_bytes(cut(file.read_bytes(), at))
    try:
        found = READER.read(Source(file, "a.wav"), ["channel 1"])[0]
    except ReadError:
        return
    assert np.array_equal(found.samples, whole.samples)


@settings(max_examples=200, deadline=None)
@given(st.integers(50, 5_000), st.integers(1, 255))
def test_a_changed_byte_in_flac_is_refused_or_changes_nothing(
    tmp_path_factory: pytest.TempPathFactory, at: int, change: int
) -> None:
    file = written(tmp_path_factory.mktemp("changed"), subtype="PCM_16", kind="FLAC")
    whole, content = read_recording(file, "a.wav"), bytearray(file.read_bytes())
    content[50 + at % (len(content) - 50)] ^= change
    file.write_bytes(content)
    try:
        found = read_recording(file, "a.wav")
    except ReadError:
        return
    assert np.array_equal(found.samples, whole.samples)


def look(file: Path, read: ReadOptions = (), *, made: bool = False) -> tuple[tuple[str, ...], str]:
    found = READER.look(Source(file, "a.wav", read, may_touch_full_scale=made))
    assert found.sample_rate_hz == 48_000.0
    return tuple(part.selector for part in found.parts), found.remark


THREE = np.stack([SAMPLES, 0.5 * SAMPLES, 0.0 * SAMPLES], axis=-1)


@pytest.mark.parametrize("kind", ["WAV", "AIFF", "FLAC"])
def test_channels_are_parts(tmp_path: Path, kind: str) -> None:
    file = written(tmp_path, THREE, kind=kind)
    assert look(file) == (("channel 1", "channel 2", "channel 3"), "channel 3 is silent")
    assert look(file, (("loopback", 2),)) == (("channel 1", "channel 3"), "channel 3 is silent")
    assert look(file, (("microphone", 2),)) == (("channel 2",), "")
    assert look(file, (("loopback", 3), ("microphone", 1))) == (("channel 1",), "")
    second, first = READER.read(Source(file, "a.wav"), ["channel 2", "channel 1"])
    assert np.max(np.abs(second.samples[0] - 0.5 * SAMPLES)) <= 2**-23
    assert np.max(np.abs(first.samples[0] - SAMPLES)) <= 2**-23


def test_what_is_stated_for_files_of_two_channels_may_stand_by_one_of_one(tmp_path: Path) -> None:
    # a stimulus or a calibrator among recordings with a loopback; `answers` asks recordings for theirs
    file = written(tmp_path)
    for channel in (1, 2):
        assert look(file, (("loopback", channel),)) == (("",), "")
        assert look(file, (("microphone", channel),)) == (("",), "")
    both = written(tmp_path, np.c_[SAMPLES, SAMPLES], name="both.wav")
    assert look(both, (("loopback", 3), ("microphone", 4))) == (("",), "all channels are the same")
    found = READER.read(Source(file, "a.wav", (("loopback", 2), ("microphone", 2))), [""])
    assert found[0].samples.shape == (1, 4_800)


def test_equal_channels_are_one(tmp_path: Path) -> None:
    file = written(tmp_path, np.c_[SAMPLES, SAMPLES])
    assert READER.look(Source(file, "a.wav")).parts == (Part(),)
    assert look(file) == (("",), "all channels are the same")
    assert read_recording(file, "a.wav").samples.shape == (1, 4_800)


def content(samples: Floats = SAMPLES, subtype: str = "PCM_16", kind: str = "WAV") -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, samples, 48_000, subtype=subtype, format=kind)
    return stream.getvalue()


def patched(old: bytes, new: bytes, *, kind: str = "WAV", subtype: str = "PCM_16") -> bytes:
    whole = content(subtype=subtype, kind=kind)
    assert old in whole
    return whole.replace(old, new, 1)


AIFF_FRAMES = b"COMM" + struct.pack(">IHI", 18, 1, 4_800)
FORMAT = struct.pack("<HHIIHH", 1, 1, 48_000, 96_000, 2, 16)
DATA = b"data" + (9_600).to_bytes(4, "little")
EXTENDED_48K = bytes.fromhex("400ebb80000000000000")
TWO = np.c_[SAMPLES, -SAMPLES]
#: What is wrong, the file's content, what is stated, and what is said.
REFUSED: list[tuple[str, bytes, ReadOptions, str]] = [
    ("MP3 in a WAV", pcm_wave([1] * 100, bits=16, wide=2, tag=0x55), (), "is coded as MP3"),
    ("ADPCM", content(subtype="IMA_ADPCM"), (), "is coded as ADPCM, not as plain samples"),
    ("A-law", content(subtype="ALAW", kind="AIFF"), (), "is coded as A-law"),
    ("an unknown coding", pcm_wave([1], bits=16, wide=2, tag=0x1234), (), "is coded as format 0x1234"),
    ("Vorbis", content(subtype="VORBIS", kind="OGG"), (), "is neither WAV, AIFF nor FLAC inside"),
    ("zero frames", content(SAMPLES[:0]), (), "has no sound data"),
    ("zero frames in AIFF", content(SAMPLES[:0], kind="AIFF"), (), "has no sound data"),
    ("a recording that wasn't closed", patched(DATA, b"data" + bytes(4)), (), "its recording wasn't closed"),
    ("a stream", patched(DATA, b"data" + b"\xff" * 4), (), "its recording wasn't closed"),
    (
        "an AIFF that wasn't closed",
        patched(AIFF_FRAMES, AIFF_FRAMES[:10] + bytes(4), kind="AIFF"),
        (),
        "its recording wasn't closed",
    ),
    (
        "an AIFF of other frames",
        patched(AIFF_FRAMES, AIFF_FRAMES[:10] + (4_700).to_bytes(4, "big"), kind="AIFF"),
        (),
        "contradicts itself: 4700 frames are said, of 9400 bytes, and 9600 are its sound",
    ),
    (
        "three bytes over",
        patched(DATA, b"data" + (9_599).to_bytes(4, "little")),
        (),
        "contradicts itself: 9599 bytes of sound aren't whole frames of 2 bytes",
    ),
    ("sound before its format", b"RIFF\0\0\0\0WAVE" + DATA + bytes(9_600), (), "before its format"),
    ("no channel", patched(FORMAT[:4], b"\1\0\0\0"), (), "frames of 2 bytes can't hold 0 channels"),
    ("bits beyond their bytes", pcm_wave([1], bits=24, wide=2), (), "24 bits don't go with 2 bytes"),
    ("four bits", pcm_wave([1], bits=4, wide=1), (), "has 4 bits a sample"),
    ("a float of two bytes", pcm_wave([1], bits=16, wide=2, tag=3), (), "are no floating-point number"),
    ("an extension that isn't there", pcm_wave([1], bits=16, wide=2, tag=0xFFFE), (), "and not extended"),
    ("a format cut short", b"RIFF\0\0\0\0WAVEfmt \4\0\0\0" + bytes(4), (), "its fmt chunk has 4 bytes"),
    ("nothing but chunks", b"RIFF\0\0\0\0WAVE" + b"junk\0\0\0\0" * 1_001, (), "more than 1000 chunks"),
    ("a low rate", pcm_wave([1], bits=16, wide=2, rate=4_000), (), "has a sample rate of 4000 Hz"),
    (
        "a rate and a half",
        patched(EXTENDED_48K, bytes.fromhex("400ebb80800000000000"), kind="AIFF"),
        (),
        "isn't a whole number of hertz",
    ),
    (
        "a rate beyond all",
        patched(EXTENDED_48K, bytes.fromhex("7fffbb80000000000000"), kind="AIFF"),
        (),
        "isn't a whole number of hertz",
    ),
    ("AIFF without a format", b"FORM\0\0\0\0AIFFSSND\0\0\0\x0a" + bytes(10), (), "its sound has no format"),
    ("65 channels", content(np.tile(SAMPLES[:100, None], 65)), (), "has 65 channels, more than the 64"),
    ("FLAC with no information", b"fLaC\x84\0\0\x22" + bytes(40), (), "has no stream information"),
    ("two channels, one take", content(TWO), (), "has 2 channels, and which one is meant isn't said"),
    ("a channel that isn't there", content(TWO), (("microphone", 3),), "has 2 channels, and read.microphone"),
    (
        "one channel in two roles",
        content(TWO),
        (("loopback", 1), ("microphone", 1)),
        "channel 1 is stated as microphone and as loopback",
    ),
    ("a role that is text", content(TWO), (("microphone", "left"),), "read.microphone can't be"),
]


@pytest.mark.parametrize(("what", "made", "read", "said"), REFUSED, ids=[one[0] for one in REFUSED])
def test_what_is_refused(tmp_path: Path, *, what: str, made: bytes, read: ReadOptions, said: str) -> None:
    file = tmp_path / "a.wav"
    file.write_bytes(made)
    with pytest.raises(ReadError) as caught:
        READER.read(Source(file, "raw/a.wav", read), [""])
    assert said in str(caught.value), what
    assert str(caught.value).startswith("raw/a.wav")
    assert caught.value.remedy


def test_a_flac_that_was_not_closed(tmp_path: Path) -> None:
    made = bytearray(content(kind="FLAC"))
    # the 36-bit count of samples ends before the MD5 of the stream information
    made[21] &= 0xF0
    made[22:26] = bytes(4)
    (tmp_path / "a.wav").write_bytes(made)
    refused(tmp_path / "a.wav", "wasn't closed")


def test_faults_are_refused_where_the_channel_is_used(tmp_path: Path) -> None:
    samples = THREE.copy()
    samples[40:50, 1] = 1.0
    samples[7, 0] = np.nan
    file = written(tmp_path, samples, "FLOAT")
    for selector, where in (("channel 1", "channel 1, sample 7"), ("channel 2", "channel 2, sample 40")):
        with pytest.raises(ReadError) as caught:
            READER.read(Source(file, "a.wav"), [selector])
        assert caught.value.where == where
    with pytest.raises(ReadError, match="channel 3: is silent"):
        READER.read(Source(file, "a.wav"), ["channel 3"])
    # no channel is fit for use: the first one says why
    with pytest.raises(ReadError, match="channel 1, sample 7"):
        READER.look(Source(file, "a.wav"))
    with pytest.raises(ReadError, match="has 3 channels, and no channel 4"):
        READER.read(Source(file, "a.wav"), ["channel 4"])


def test_floats_beyond_full_scale_are_not_clipped(tmp_path: Path) -> None:
    # sound in pascals: 4 is no converter's end
    samples = 8.0 * SAMPLES
    samples[50:60] = 1.0
    assert read_recording(written(tmp_path, samples, "FLOAT"), "a.wav").samples.max() == pytest.approx(4.0)
    # sixteen bits that were exported as floats end at 1 − 2⁻¹⁵
    samples = SAMPLES.copy()
    samples[50:60] = 1.0 - 2.0**-15
    refused(written(tmp_path, samples, "FLOAT"), "is clipped")


def test_flac_is_held_against_its_own_checksum(tmp_path: Path) -> None:
    made = bytearray(content(kind="FLAC"))
    # the MD5 of all samples stands in bytes 26 to 41; sixteen zeros mean that there is none
    made[26] ^= 1
    (tmp_path / "a.wav").write_bytes(made)
    refused(tmp_path / "a.wav", "its sound isn't what was coded")
    made[26:42] = bytes(16)
    (tmp_path / "a.wav").write_bytes(made)
    assert np.max(np.abs(read_recording(tmp_path / "a.wav", "a.wav").samples[0] - SAMPLES)) <= 2**-15


def test_an_aiff_whose_sound_begins_later(tmp_path: Path) -> None:
    # AIFF 1.3: `offset` bytes of the sound chunk come before its first sample
    common = struct.pack(">HIH", 1, 2, 16) + EXTENDED_48K
    sound = struct.pack(">II", 6, 0) + b"\x7f" * 6 + struct.pack(">hh", 2**14, -(2**13))
    body = b"AIFFCOMM" + len(common).to_bytes(4, "big") + common
    body += b"SSND" + len(sound).to_bytes(4, "big") + sound
    (tmp_path / "a.aiff").write_bytes(b"FORM" + len(body).to_bytes(4, "big") + body)
    assert read_recording(tmp_path / "a.aiff", "a.aiff").samples.tolist() == [[0.5, -0.25]]
