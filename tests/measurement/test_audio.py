from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers import audio
from earwitness.measurement.readers.audio import read_recording
from earwitness.records.errors import ReadError

SAMPLES = 0.5 * np.sin(0.05 * np.arange(4_800))


def written(
    folder: Path,
    samples: npt.NDArray[np.float64] = SAMPLES,
    subtype: str = "PCM_24",
    name: str = "a.wav",
    kind: str = "WAV",
) -> Path:
    file = folder / name
    soundfile.write(file, samples, 48_000, subtype=subtype, format=kind)
    return file


@pytest.mark.parametrize(
    ("kind", "name", "subtype", "precision"),
    [
        ("WAV", "a.wav", "PCM_U8", 2**-7),
        ("WAV", "a.wav", "PCM_16", 2**-15),
        ("WAV", "a.wav", "PCM_24", 2**-23),
        ("WAV", "a.wav", "PCM_32", 2**-24),
        ("WAV", "a.wav", "FLOAT", 2**-24),
        ("WAV", "a.wav", "DOUBLE", 2**-24),
        ("WAVEX", "a.wav", "PCM_24", 2**-23),
        ("RF64", "a.wav", "PCM_24", 2**-23),
        ("FLAC", "a.flac", "PCM_16", 2**-15),
        ("FLAC", "a.flac", "PCM_24", 2**-23),
    ],
)
def test_every_bit_depth(tmp_path: Path, kind: str, name: str, subtype: str, precision: float) -> None:
    found = read_recording(written(tmp_path, SAMPLES, subtype, name, kind), name)
    assert found.sample_rate_hz == 48_000
    assert found.samples.dtype == np.float32
    assert found.samples.shape == (1, 4_800)
    assert np.max(np.abs(found.samples[0] - SAMPLES)) <= precision


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


def test_silent_and_not_a_number(tmp_path: Path) -> None:
    refused(written(tmp_path, np.zeros(4_800)), "silent")
    samples = SAMPLES.copy()
    samples[77] = np.nan
    assert refused(written(tmp_path, samples, "FLOAT"), "not a number").where == "sample 77"
    samples[77] = np.inf
    assert refused(written(tmp_path, samples, "DOUBLE"), "not a number").where == "sample 77"


def test_channels_and_coding(tmp_path: Path) -> None:
    refused(written(tmp_path, np.c_[SAMPLES, -SAMPLES]), "2 channels")
    refused(written(tmp_path, SAMPLES, "ULAW"), "µ-law")


def test_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = written(tmp_path)
    monkeypatch.setattr(audio, "MAX_FRAMES", 4_799)
    refused(file, "4800 frames")
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
