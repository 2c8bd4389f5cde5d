"""Recordings that aren't what they are meant as: cut, stretched, broken, at every angle."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
import soundfile
from made_recordings import RATE, Bench, delayed

from earwitness.measurement.answers import read_stimulus, stimulus_in
from earwitness.measurement.deconvolution import Trial, deconvolve
from earwitness.records.errors import ReadError
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind

Floats = npt.NDArray[np.float64]

STIMULUS = Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))
NAME = "a.wav"
#: What a cabinet leaves of high frequencies behind it, and a wall that sends back more of them later.
SHADOW = scipy.signal.butter(1, 500.0, fs=RATE, output="sos")


def take(angle: float | None, **fields: object) -> Take:
    if angle is None:
        key = TakeKey(TakeKind.NEAR_FIELD, None, Drive(2.83, "V"), "woofer")
    else:
        key = TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, angle), Drive(2.83, "V"))
    made = Take(NAME, key, stimulus="stimulus.wav")
    return dataclasses.replace(made, **fields)  # type: ignore[arg-type]


@pytest.fixture(scope="module", params=[1.5, 6.0])
def sounds(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Floats]:
    """The stimulus, a recording of it on the axis, and one behind a cabinet in a reflecting room."""
    bench = Bench(tmp_path_factory.mktemp("sounds"), float(request.param), noise_pa=1e-5)
    bench.recording(NAME, 1.0)
    front, _ = soundfile.read(bench.folder / NAME)
    walls = sum(0.4 * delayed(front, at) for at in (0.014, 0.023, 0.031))
    return {
        "stimulus": bench.sweep,
        "front": front,
        "rear": np.asarray(scipy.signal.sosfilt(SHADOW, front) + walls),
    }


def tried(folder: Path, sounds: dict[str, Floats], heard: Floats, made: Take, rate: int = RATE) -> None:
    """Deconvolved in a case, and tried before; both give the same."""
    soundfile.write(folder / "stimulus.wav", sounds["stimulus"], RATE, subtype="FLOAT")
    soundfile.write(folder / NAME, heard, rate, subtype="PCM_24")
    stimulus = stimulus_in(folder / "stimulus.wav", STIMULUS)
    said: list[str | None] = []
    for one in (
        lambda: list(deconvolve(folder, [made])),
        lambda: Trial(stimulus).require(dataclasses.replace(made, path="session/a.wav"), folder / NAME),
    ):
        try:
            one()
            said.append(None)
        except ReadError as error:
            said.append(f"{error.where} {error.problem}; {error.remedy}")
    assert said[0] == said[1]
    if said[0] is not None:
        raise ReadError(NAME, said[0], "")


ANGLES = [("front", 0.0), ("front", 30.0), ("rear", 150.0), ("front", None)]


@pytest.mark.parametrize(("which", "angle"), ANGLES)
def test_whole_recordings_are_taken(
    tmp_path: Path, sounds: dict[str, Floats], which: str, angle: float | None
) -> None:
    tried(tmp_path, sounds, sounds[which], take(angle))
    # one that ends as the stimulus does is whole but for the last frequencies, which aren't told
    tried(tmp_path, sounds, sounds[which][: sounds["stimulus"].size], take(angle))
    ((_, response),) = deconvolve(tmp_path, [take(angle)])
    stimulus = read_stimulus(tmp_path, STIMULUS)
    assert 0.8 * stimulus.band_hz[1] < response.band_hz[1] < stimulus.band_hz[1]


@pytest.mark.parametrize(("which", "angle"), ANGLES)
@pytest.mark.parametrize("rates", [(44_100, RATE), (RATE, 44_100), (96_000, RATE), (RATE, 96_000)])
def test_a_wrong_rate_in_the_header(
    tmp_path: Path, sounds: dict[str, Floats], *, which: str, angle: float | None, rates: tuple[int, int]
) -> None:
    played, said = rates
    # at `played` Hz there were so many samples, and both headers say 48 kHz
    common = int(np.gcd(played, said))
    heard = scipy.signal.resample_poly(sounds[which], played // common, said // common)
    missing = max(0, sounds["stimulus"].size - heard.size)
    filled = np.r_[heard, 1e-6 * np.random.default_rng(1).standard_normal(missing)]
    with pytest.raises(ReadError, match=r"of another sample rate|doesn't hold the sweep"):
        tried(tmp_path, sounds, filled, take(angle))


@pytest.mark.parametrize(("which", "angle"), ANGLES)
def test_another_sweep(tmp_path: Path, sounds: dict[str, Floats], which: str, angle: float | None) -> None:
    bench = Bench(tmp_path, sounds["stimulus"].size / RATE * 1.3, noise_pa=1e-5)
    bench.recording(NAME, 1.0)
    heard, _ = soundfile.read(tmp_path / NAME)
    with pytest.raises(ReadError, match=r"as of another sweep than that in stimulus.wav|doesn't hold the sw"):
        tried(tmp_path, sounds, heard, take(angle))


@pytest.mark.parametrize("seed", range(6))
def test_nothing_but_reflections_is_no_other_sweep(
    tmp_path: Path, sounds: dict[str, Floats], seed: int
) -> None:
    # behind a loudspeaker in a hard room: dense reflections that decay in half a second, and no direct sound
    rng = np.random.default_rng(seed)
    room = rng.standard_normal(RATE // 2) * 10.0 ** (-3.0 * np.arange(RATE // 2) / (RATE // 2))
    heard = scipy.signal.fftconvolve(sounds["rear"], room)[: sounds["rear"].size]
    tried(tmp_path, sounds, 0.3 * heard / np.max(np.abs(heard)), take(170.0))


def broken(first_s: float, length_s: float) -> Callable[[Floats], Floats]:
    def change(heard: Floats) -> Floats:
        changed = heard.copy()
        changed[round(first_s * RATE) : round((first_s + length_s) * RATE)] = 0.0
        return changed

    return change


@pytest.mark.parametrize(("which", "angle"), ANGLES)
@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (lambda heard: heard[: round(1.1 * RATE)], "sample 52800 ends here and is shorter than its stimulus"),
        (lambda heard: heard[round(0.2 * RATE) :], "begins (194|1[67][0-9]) ms after its stimulus does"),
        (broken(0.7, 0.02), "sample 336[0-9]{2} has lost its sound for (19.9|20.0|20.1) ms"),
        (broken(1.1, 30.0), "sample 5279[0-9]|sample 52800 has lost its sound"),
        (lambda heard: np.clip(heard, *(0.5 * np.max(np.abs(heard)) * np.r_[-1, 1])), "sample .* is clipped"),
    ],
)
def test_a_broken_recording(
    tmp_path: Path,
    sounds: dict[str, Floats],
    *,
    which: str,
    angle: float | None,
    change: Callable[[Floats], Floats],
    problem: str,
) -> None:
    with pytest.raises(ReadError, match=problem):
        tried(tmp_path, sounds, change(sounds[which]), take(angle))


def test_a_late_recording_that_lacks_its_last_octave(tmp_path: Path, sounds: dict[str, Floats]) -> None:
    stimulus = sounds["stimulus"]
    late = 0.25 * stimulus.size / RATE / np.log(22_000.0 / 15.0) + 0.3
    heard = np.r_[1e-6 * np.random.default_rng(1).standard_normal(round(late * RATE)), sounds["front"]]
    with pytest.raises(ReadError, match=r"ends [0-9]+ ms before its sweep does, at [0-9]+ Hz"):
        tried(tmp_path, sounds, heard[: stimulus.size], take(30.0))


def test_the_loopback_may_be_the_first_channel(tmp_path: Path, sounds: dict[str, Floats]) -> None:
    front = sounds["front"]
    loopback = np.pad(sounds["stimulus"], (0, front.size))[: front.size]
    wired = take(30.0, read=(("loopback", 1),))
    tried(tmp_path, sounds, np.c_[loopback, front], dataclasses.replace(wired, selector="channel 2"))
    tried(tmp_path, sounds, np.c_[loopback, front], wired)
    with pytest.raises(ReadError, match=r"holds the same on its own channel as on its loopback's"):
        tried(tmp_path, sounds, front, wired)
