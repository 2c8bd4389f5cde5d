"""What `add` refuses because a build would, and what it tells to settle a doubt."""

from __future__ import annotations

from pathlib import Path

import aes69_files
import numpy as np
import pytest
import soundfile

from earwitness.acoustics.sweeps import synchronised_sweep
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.pipeline.drive_option import drive_of
from earwitness.pipeline.intake import look_at
from earwitness.records.errors import CallError
from earwitness.records.takes import Drive

RATE = 48_000
SWEEP = 0.5 * synchronised_sweep(20.0, 20_000.0, 0.7, RATE)


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    return new_case(tmp_path / "case", "Cobble Two")


def sound(path: Path, *channels: np.ndarray) -> Path:
    path.parent.mkdir(exist_ok=True)
    samples = np.zeros((SWEEP.size + 4800, len(channels)))
    for column, channel in enumerate(channels):
        samples[240 : 240 + channel.size, column] = channel
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    return path


def stimulus(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    soundfile.write(folder / "stimulus.wav", SWEEP, RATE, subtype="PCM_24")
    return folder / "stimulus.wav"


def response(path: Path, level_db: float = 84.0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = (f"{f}\t{level_db + 0.1 * i:.1f}\t{-10 * i}" for i, f in enumerate((20, 400, 1000, 2000, 20000)))
    path.write_text("\n".join(["Hz\tdB\tdeg", *rows, ""]), encoding="utf-8")
    return path


def entry(case: CaseFolder, text: str) -> None:
    with case.takes_toml.open("a", encoding="utf-8") as file:
        file.write(f"\n[[take]]\n{text}\n")


OF_A_SWEEP = """file = "a.wav"
kind = "sweep"
orbit = "horizontal"
angle_deg = 30
drive = "1 V"
stimulus = "stimulus.wav"
"""


@pytest.mark.parametrize(
    ("channels", "more", "said"),
    [
        ((SWEEP, 0.5 * SWEEP[::-1]), "", "channel"),
        ((SWEEP,), 'selector = "channel 3"', "channel 3"),
        ((SWEEP,), "read = { loopback = 2 }", "channel"),
        ((SWEEP, 0.0 * SWEEP), 'selector = "channel 1"\nread = { loopback = 2 }', "silent"),
        ((1e-4 * np.random.default_rng(1).standard_normal(SWEEP.size),), "", "doesn't hold the sweep"),
    ],
)
def test_an_entry_that_a_build_would_refuse(
    case: CaseFolder, tmp_path: Path, channels: tuple[np.ndarray, ...], more: str, said: str
) -> None:
    folder = tmp_path / "files"
    stimulus(folder)
    sound(folder / "a.wav", *channels)
    entry(case, OF_A_SWEEP + more)
    doubts = look_at(case.root, [folder]).doubts
    assert [doubt.path for doubt in doubts] == ["a.wav"]
    assert said in doubts[0].problem


def test_an_entry_that_is_right_comes_in(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    stimulus(folder)
    sound(folder / "a.wav", SWEEP, 0.5 * SWEEP[::-1])
    entry(case, OF_A_SWEEP + 'selector = "channel 1"')
    assert look_at(case.root, [folder]).doubts == ()


def test_of_many_recordings_one_on_axis_and_weak_ones_are_tried(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    stimulus(folder)
    for angle in range(-60, 61, 10):
        sound(folder / f"horizontal_{angle:+04d}_1V.wav", SWEEP)
    noise = 0.1 * np.random.default_rng(2).standard_normal(SWEEP.size)
    sound(folder / "horizontal_+000_1V.wav", noise)
    sound(folder / "horizontal_+020_1V.wav", 1e-4 * noise)
    doubted = [doubt.path for doubt in look_at(case.root, [folder]).doubts]
    assert doubted == ["horizontal_+000_1V.wav", "horizontal_+020_1V.wav"]


def test_a_stimulus_that_is_no_sweep_is_one_doubt(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    folder.mkdir()
    tone = 0.5 * np.sin(0.1 * np.arange(SWEEP.size))
    soundfile.write(folder / "stimulus.wav", tone, RATE, subtype="PCM_24")
    for angle in (-30, 0, 30):
        sound(folder / f"horizontal_{angle:+04d}_1V.wav", SWEEP)
    doubts = look_at(case.root, [folder]).doubts
    assert [doubt.path for doubt in doubts] == ["stimulus.wav"]


def test_the_doubt_of_a_sign_counts_as_the_case_does(case: CaseFolder, tmp_path: Path) -> None:
    facts = case.case_toml.read_text(encoding="utf-8")
    rig = '[rig]\npositive_horizontal = "right"\npositive_vertical = "down"\n'
    case.case_toml.write_text(facts.replace("[rig]\n", rig), encoding="utf-8")
    intake = look_at(case.root, [response(tmp_path / "horizontal 30 2.83V.txt")])
    assert intake.doubts[0].problem.endswith(": + is the loudspeaker's right, or downward")
    assert "left" not in intake.example
    assert "+ is the loudspeaker's right, or downward" in intake.example


def test_an_example_says_what_the_name_says_and_asks_for_the_rest(case: CaseFolder, tmp_path: Path) -> None:
    plane = look_at(case.root, [response(tmp_path / "hor 10 1V.txt")]).example
    assert 'orbit = "horizontal"' in plane
    level = look_at(case.root, [response(tmp_path / "hor +10 1V.txt", -12.0)]).example
    assert 'read = { level = "?" }' in level
    folder = tmp_path / "two"
    stimulus(folder)
    sound(folder / "horizontal_+030_1V.wav", SWEEP, 0.5 * SWEEP[::-1])
    assert 'selector = "?"    # which of channel 1, channel 2' in look_at(case.root, [folder]).example


def test_no_example_where_no_entry_settles_it(case: CaseFolder, tmp_path: Path) -> None:
    intake = look_at(case.root, [sound(tmp_path / "horizontal_+030_1V.wav", SWEEP)])
    assert intake.example == ""
    assert intake.doubts[0].remedy == "add the file that was played, of the recording's sample rate"


def test_the_folder_that_is_given_says_the_plane(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "vertical"
    for angle in (-10, 0, 10):
        response(folder / f"{angle:+d} 1V.txt")
    intake = look_at(case.root, [folder])
    assert intake.doubts == ()
    labels = {take.key.direction.label for take in intake.takes if take.key.direction}
    assert labels == {"vertical −10°", "on axis", "vertical +10°"}


def test_minus_and_plus_180_are_said_to_be_one(case: CaseFolder, tmp_path: Path) -> None:
    files = [response(tmp_path / f"horizontal_{a}_1V.txt") for a in ("-180", "-090", "+090", "+180")]
    (doubt,) = look_at(case.root, files).doubts
    assert "−180° and +180° are one direction" in doubt.problem
    assert "leave it out" in doubt.remedy


def test_a_drive_that_does_not_apply_is_told(case: CaseFolder, tmp_path: Path) -> None:
    files = [response(tmp_path / name) for name in ("horizontal_+010_1V.txt", "horizontal_+020.txt")]
    said = look_at(case.root, files, drive="2.83V").drives
    assert said == "--drive 2.83 V is for files that say none: horizontal_+010_1V.txt says 1 V"
    assert look_at(case.root, files[1:], drive="2.83V").drives == ""


@pytest.mark.parametrize("text", ["2.83V", "2.83Vrms", "2,83V", "2830mV", "2.83 volts"])
def test_the_option_may_say_what_a_name_may(text: str) -> None:
    assert drive_of(text) == Drive(2.83)


@pytest.mark.parametrize("text", ["1,500mV", "2.83Vpp", "2.83", "x 2.83V", "-2.83V"])
def test_the_option_may_not_be_unclear(text: str) -> None:
    with pytest.raises(CallError):
        drive_of(text)


def test_a_sphere_beside_a_take_that_it_holds(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    response(folder / "horizontal_+030_2.83V.txt")
    aes69_files.sphere(aes69_files.grid(10.0)).write(folder / "sphere_2.83V.sofa")
    doubts = look_at(case.root, [folder]).doubts
    assert len(doubts) == 1
    assert "is the same take as raw/" in doubts[0].problem


@pytest.mark.parametrize(("distance_m", "doubted"), [(2.0, False), (200.0, True)])
def test_a_sphere_from_too_far(case: CaseFolder, tmp_path: Path, distance_m: float, doubted: bool) -> None:
    file = tmp_path / "sphere_2.83V.sofa"
    aes69_files.sphere(aes69_files.grid(10.0), distance_m=distance_m).write(file)
    assert bool(look_at(case.root, [file]).doubts) == doubted


def test_a_sphere_whose_other_parts_are_normalised(case: CaseFolder, tmp_path: Path) -> None:
    """1 Pa on axis, and 20 µPa (0 dB) everywhere else."""
    ball = aes69_files.sphere(aes69_files.grid(10.0))
    ball.pressure[:, 1:] *= 2e-5
    ball.write(tmp_path / "sphere_2.83V.sofa")
    doubts = look_at(case.root, [tmp_path / "sphere_2.83V.sofa"]).doubts
    assert [doubt.subject for doubt in doubts] == ["level"]
