"""The workshop's recordings as other rigs write them: containers, channels with a loopback, sample rates."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from workshop_files import (
    ANGLES,
    CALIBRATOR,
    MICROPHONE,
    STIMULUS,
    Floats,
    Rewriter,
    at_rate,
    delayed,
    error_db,
    recorded,
    reduced,
    renamed,
    takes,
    turn_name,
)

from earwitness.measurement.deconvolution import BLOCK, deconvolve
from earwitness.measurement.readers.audio import AudioReader
from earwitness.records.errors import ReadError
from earwitness.records.responses import Responses
from earwitness.records.takes import ON_AXIS, Drive, ReadOptions, Take

LOOPBACK: ReadOptions = (("loopback", 2),)


@pytest.fixture(scope="module")
def raw(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("workshop"))


@pytest.fixture(scope="module")
def plain(raw: Path) -> Responses:
    return reduced(raw, takes())


def magnitude_apart(some: Responses, others: Responses) -> float:
    """The greatest difference of magnitudes over magnitude, where both are valid."""
    both = some.valid & others.valid
    one, other = np.abs(some.pressure[both]), np.abs(others.pressure[both])
    return float(np.max(np.abs(one - other) / other))


@pytest.mark.parametrize(
    ("suffix", "kind", "subtype"),
    [
        ("flac", "FLAC", "PCM_24"),
        ("aiff", "AIFF", "PCM_24"),
        ("aifc", "AIFF", "FLOAT"),
        ("wav", "RF64", "PCM_24"),
        ("wav", "WAV", "DOUBLE"),
        ("wav", "WAVEX", "PCM_32"),
    ],
)
def test_any_container_gives_the_same(
    tmp_path: Path, raw: Path, plain: Responses, *, suffix: str, kind: str, subtype: str
) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(MICROPHONE)
    some = []
    for take in takes():
        if take.path == MICROPHONE:
            some.append(take)
            continue
        path = rewriter.write(f"{take.path[:-4]}.{suffix}", rewriter.samples(take.path), kind, subtype)
        some.append(renamed(take, path, f"{STIMULUS[:-4]}.{suffix}" if take.stimulus else None))
    found = reduced(tmp_path, some)
    # the samples are the same, so is the single-precision arithmetic
    assert np.array_equal(found.valid, plain.valid)
    assert magnitude_apart(found, plain) < 1e-6


def wired(raw: Path, folder: Path, subtype: str = "PCM_24", wire: float = 0.6) -> list[Take]:
    """All recordings with a loopback on their second channel, each after a latency of its own."""
    rewriter, random = Rewriter(raw, folder), np.random.default_rng(1)
    rewriter.copy(STIMULUS, CALIBRATOR, MICROPHONE)
    stimulus = rewriter.samples(STIMULUS)
    some = []
    for take in takes():
        if take.stimulus is None:
            some.append(take)
            continue
        latency = float(random.uniform(100.0, 9_000.0))
        microphone = delayed(rewriter.samples(take.path), latency)
        loopback = delayed(stimulus, latency)
        loopback = np.pad(loopback, (0, microphone.size - loopback.size))
        rewriter.write(take.path, np.c_[microphone, wire * loopback], "WAV", subtype)
        some.append(dataclasses.replace(take, selector="channel 1", read=LOOPBACK))
    return some


def directivity(responses: Responses) -> np.ndarray[tuple[int, int], np.dtype[np.complex128]]:
    """Every response over that on axis."""
    on_axis = next(i for i, t in enumerate(responses.takes) if t.key.direction == ON_AXIS)
    pressure = responses.pressure.astype(np.complex128)
    return np.asarray(pressure / pressure[on_axis])


@pytest.mark.parametrize("wire", [0.6, -0.01])
def test_a_loopback_takes_off_any_latency(tmp_path: Path, raw: Path, plain: Responses, wire: float) -> None:
    found = reduced(tmp_path, wired(raw, tmp_path, wire=wire))
    assert any("loopback" in note for note in found.notes)
    assert not any("share a clock" in note for note in found.notes)
    assert np.array_equal(found.valid, plain.valid)
    assert magnitude_apart(found, plain) < 1e-4
    # one clock: phases between directions are those of recordings without latency, and a time that was off by
    # a thousandth of a sample would turn them by 0.0026 at 20 kHz
    apart = np.abs(directivity(found) - directivity(plain))[found.valid]
    assert np.max(apart) < 2e-3


def test_without_its_loopback_the_same_recordings_share_no_clock(tmp_path: Path, raw: Path) -> None:
    some = [dataclasses.replace(t, read=()) for t in wired(raw, tmp_path)]
    found = reduced(tmp_path, [t for t in some if t.key.radiator is None])
    assert any("share a clock" in note for note in found.notes)


def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that the reader is asked to read, as they are."""
    names: list[str] = []
    read = AudioReader.read

    def counted(reader: AudioReader, source: object, selectors: object) -> object:
        names.append(source.name)  # type: ignore[attr-defined]
        return read(reader, source, selectors)  # type: ignore[arg-type]

    monkeypatch.setattr(AudioReader, "read", counted)
    return names


def test_several_microphones_in_one_file(
    tmp_path: Path, raw: Path, plain: Responses, monkeypatch: pytest.MonkeyPatch
) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(STIMULUS, CALIBRATOR, MICROPHONE)
    once = [t for t in takes() if t.key.direction is not None]
    # more than go through the transform together
    turned = [*once, *(dataclasses.replace(t, key=dataclasses.replace(t.key, repeat=2)) for t in once)]
    assert len(turned) > BLOCK
    channels = np.stack([rewriter.samples(t.path) for t in turned], axis=-1)
    loopback = np.pad(rewriter.samples(STIMULUS), (0, len(channels)))[: len(channels)]
    rewriter.write("arc.wav", np.c_[channels, loopback], "WAV", "PCM_24")
    last = channels.shape[1] + 1
    arc = [
        dataclasses.replace(t, path="arc.wav", selector=f"channel {k}", read=(("loopback", last),))
        for k, t in enumerate(turned, 1)
    ]
    names = opened(monkeypatch)
    others = [t for t in takes() if t.path in (CALIBRATOR, MICROPHONE)]
    found = reduced(tmp_path, [*arc, *others])
    assert names.count("arc.wav") == 1
    assert sorted(t.key.label for t in found.takes) == sorted(t.key.label for t in turned)
    keys = [t.key for t in found.takes]
    above = (plain.frequency_hz > 1_200.0) & plain.valid
    for repeat in (1, 2):
        order = [keys.index(dataclasses.replace(t.key, repeat=repeat)) for t in plain.takes]
        difference = np.abs(found.pressure[order]) / np.abs(plain.pressure) - 1.0
        assert np.nanmax(np.abs(difference[above])) < 1e-4


def one_wired(
    raw: Path, folder: Path, change: Callable[[Floats, Floats], tuple[Floats, ...]], **fields: object
) -> Take:
    """An on-axis take whose two channels were changed."""
    rewriter = Rewriter(raw, folder)
    rewriter.copy(STIMULUS)
    microphone = rewriter.samples(turn_name(0))
    loopback = np.pad(rewriter.samples(STIMULUS), (0, microphone.size))[: microphone.size]
    rewriter.write(turn_name(0), np.stack(change(microphone, loopback), axis=-1), "WAV", "PCM_24")
    take = next(t for t in takes() if t.path == turn_name(0))
    return dataclasses.replace(take, **{"selector": "channel 1", "read": LOOPBACK} | fields)  # type: ignore[arg-type]


NOISE = 0.1 * np.random.default_rng(3).standard_normal(200_000)


@pytest.mark.parametrize(
    ("change", "fields", "message"),
    [
        (lambda m, w: (m, 0.0 * w), {}, "horizontal_+000_2.83V.wav, channel 2: is silent"),
        (lambda m, w: (m, np.clip(9.0 * w, -1.0, 1.0)), {}, "channel 2, sample [0-9]+: is clipped"),
        (lambda m, w: (0.0 * m, w), {}, "channel 1: is silent"),
        (lambda m, w: (m, NOISE[: w.size]), {}, "its loopback doesn't hold the sweep in stimulus.wav"),
        (lambda m, w: (NOISE[: m.size], w), {}, "doesn't hold the sweep in stimulus.wav"),
        (lambda m, w: (w, m), {}, "holds sound [0-9.]+ ms before its loopback; state the channels the other"),
        (lambda m, w: (m, w), {"selector": "channel 2"}, "recorded on channel 2, which is stated as its"),
        (lambda m, w: (m, w), {"read": (("loopback", 3),), "selector": ""}, "has 2 channels, and read.loop"),
        (lambda m, w: (m, w), {"read": (("loopback", "2"),)}, "read.loopback can't be"),
        (lambda m, w: (m, w), {"read": (("loopback", 0),)}, "read.loopback can't be"),
        (lambda m, w: (m, w), {"read": (("loopback", True),)}, "read.loopback can't be"),
        (lambda m, w: (m, w), {"selector": "channel 3"}, "has 2 channels, and no channel 3"),
        (
            lambda m, _: (m,),
            {"selector": ""},
            "has 1 channel, and no channel 2; correct its selector or read",
        ),
        (lambda m, w: (m, w), {"selector": "", "read": ()}, "has 2 channels, and which one is meant"),
    ],
)
def test_refused(
    tmp_path: Path,
    raw: Path,
    change: Callable[[Floats, Floats], tuple[Floats, ...]],
    fields: dict[str, object],
    message: str,
) -> None:
    take = one_wired(raw, tmp_path, change, **fields)
    with pytest.raises(ReadError, match=message.replace("+", r"\+").replace(r"]\+", "]+")):
        list(deconvolve(tmp_path, [take]))


def test_an_unused_channel_may_be_silent(tmp_path: Path, raw: Path) -> None:
    take = one_wired(raw, tmp_path, lambda m, w: (m, 0.0 * w), read=())
    ((_, one),) = deconvolve(tmp_path, [take])
    ((_, other),) = deconvolve(raw, [dataclasses.replace(take, selector="")])
    assert one.to_bytes() == other.to_bytes()


@pytest.mark.parametrize("said", [44_100, 50_000])
def test_a_header_that_lies_about_the_rate(tmp_path: Path, raw: Path, said: int) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.write(STIMULUS, at_rate(rewriter.samples(STIMULUS), said), "WAV", "FLOAT", said)
    rewriter.write(turn_name(0), rewriter.samples(turn_name(0)), "WAV", "PCM_24", said)
    take = next(t for t in takes() if t.path == turn_name(0))
    with pytest.raises(ReadError, match="of another sample rate"):
        list(deconvolve(tmp_path, [take]))


def driven_alike(take: Take, played: Floats, rate: int) -> Take:
    """The take at the drive that a sine of the resampled sweep's peak had, which overshoots a little."""
    assert take.key.drive is not None
    overshoot = np.max(np.abs(at_rate(played, rate))) / np.max(np.abs(played))
    drive = Drive(take.key.drive.value * float(overshoot))
    return dataclasses.replace(take, key=dataclasses.replace(take.key, drive=drive))


def test_sample_rates_mixed(tmp_path: Path, raw: Path, plain: Responses) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(CALIBRATOR, MICROPHONE)
    rates = (96_000, 44_100)
    played = rewriter.samples(STIMULUS)
    for rate in rates:
        rewriter.write(f"stimulus_{rate}.wav", at_rate(played, rate), "WAV", "FLOAT", rate)
    some = []
    for k, take in enumerate(takes()):
        if take.stimulus is None:
            some.append(take)
            continue
        rate = rates[k % 2]
        rewriter.write(take.path, at_rate(rewriter.samples(take.path), rate), "WAV", "PCM_24", rate)
        some.append(driven_alike(renamed(take, take.path, f"stimulus_{rate}.wav"), played, rate))
    found = reduced(tmp_path, [t for t in some if t.path != STIMULUS])
    assert sorted(set(found.sample_rate_hz)) == sorted(rates)
    # one gate and one clock for both
    assert np.unique(found.gate_s).size == 1
    assert found.notes == plain.notes
    assert found.valid[:, found.frequency_hz < 19_000.0].all()
    front = [i for i, t in enumerate(found.takes) if t.key.direction and abs(t.key.direction.angle_deg) <= 60]
    assert len(front) == sum(abs(angle) <= 60 for angle in ANGLES)
    # as the demo's own test has it for recordings of one rate
    assert np.nanmax(np.abs(error_db(found)[front])) < 0.2
    quiet = plain.valid & found.valid & (plain.frequency_hz < 6_000.0)
    apart_db = 20.0 * np.log10(np.abs(found.pressure[quiet]) / np.abs(plain.pressure[quiet]))
    assert np.max(np.abs(apart_db)) < 0.05
