"""Recordings of any bit depth, and cases made of text alone, from files to a published page."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from told import Call
from user import SCENARIO

from earwitness.case.datasets import load_curves
from earwitness.case.documents import from_json
from earwitness.records.curves import Curve, CurveName
from earwitness.records.figures import FigureName, Quantity, Results
from earwitness.records.grid import Floats
from earwitness.virtual.scenario import load

#: A flat response, as level at the microphone.
LEVEL_DB = 84.0
DISTANCE_M = 2.0


def on_axis(root: Path) -> Curve:
    return load_curves(root / "build" / "curves.nc").curves[CurveName.ON_AXIS]


def stated(root: Path, **rig: float) -> None:
    """State facts of the rig in a new case's file, as a person would: by taking the "# " away."""
    text = (root / "case.toml").read_text(encoding="utf-8")
    for key, value in rig.items():
        line = next(line for line in text.splitlines() if line.startswith(f"# {key} = "))
        text = text.replace(line, f"{key} = {value}")
    (root / "case.toml").write_text(text, encoding="utf-8")


def converted(recordings: Path, folder: Path, form: str, subtype: str) -> Path:
    """The recordings in another form; 24 bits fit into all of them but 16 bits."""
    folder.mkdir()
    for path in recordings.iterdir():
        if path.suffix != ".wav":
            (folder / path.name).write_bytes(path.read_bytes())
            continue
        samples, rate = soundfile.read(path, dtype="float64")
        name = path.with_suffix(".flac" if form == "FLAC" else ".wav").name
        soundfile.write(folder / name, samples, rate, format=form, subtype=subtype)
    return folder


def from_recordings(call: Call, folder: Path, root: Path) -> Floats:
    assert call("new", root).code == 0
    facts = load(SCENARIO).facts.read_text(encoding="utf-8")
    (root / "case.toml").write_text(facts, encoding="utf-8")
    assert call("add", root, folder, "--yes").code == 0
    told = call("build", root)
    assert told.code == 0, told.err
    return on_axis(root).level_db


@pytest.mark.parametrize(
    ("form", "subtype", "within_db"),
    [
        ("FLAC", "PCM_24", 0.0),
        ("WAV", "PCM_32", 0.0),
        ("WAV", "FLOAT", 0.0),
        ("WAV", "DOUBLE", 0.0),
        ("WAVEX", "PCM_24", 0.0),
        ("RF64", "PCM_24", 0.0),
        # rounding to 16 bits is white noise at −101 dB re full scale; the sweep stands 60 dB above it
        ("WAV", "PCM_16", 0.05),
        ("FLAC", "PCM_16", 0.05),
    ],
)
def test_every_form_of_recording_gives_the_same_curve(
    *, call: Call, built: Path, recordings: Path, tmp_path: Path, form: str, subtype: str, within_db: float
) -> None:
    found = from_recordings(call, converted(recordings, tmp_path / "files", form, subtype), tmp_path / "case")
    expected = on_axis(built).level_db
    valid = np.isfinite(expected)
    assert valid.sum() > 300
    assert np.array_equal(np.isfinite(found), valid)
    assert np.max(np.abs(found[valid] - expected[valid])) <= within_db


def columns(angle_deg: float, separator: str) -> str:
    """A flat response that falls by 12 dB to the rear, with the phase of the way to the microphone."""
    hz = np.geomspace(20.0, 20_000.0, 1200)
    level = np.full(hz.size, LEVEL_DB - 12.0 * (1.0 - math.cos(math.radians(angle_deg))) / 2.0)
    phase = (-360.0 * hz * 1e-4 + 180.0) % 360.0 - 180.0
    rows = (f"{f:.4f}{separator}{y:.4f}{separator}{p:.3f}" for f, y, p in zip(hz, level, phase, strict=True))
    return "# frequency, level, phase\n" + "\n".join(rows) + "\n"


@pytest.fixture
def texts(tmp_path: Path) -> Path:
    """Both orbits every ten degrees, the columns parted by each separator in turn."""
    folder = tmp_path / "texts"
    folder.mkdir()
    names = [("horizontal", a) for a in range(-170, 181, 10)]
    names += [("vertical", a) for a in range(-170, 180, 10) if a]
    for number, (orbit, angle) in enumerate(names):
        text = columns(angle, "\t ,;"[number % 4])
        (folder / f"{orbit}_{angle:+04d}.txt").write_text(text, encoding="utf-8")
    return folder


def test_a_case_of_text_alone_is_built_and_published(call: Call, texts: Path, tmp_path: Path) -> None:
    root = tmp_path / "case"
    assert call("new", root, "--name", "Text alone").code == 0
    told = call("add", root, texts, "--yes")
    assert told.code == 2
    assert "the drive isn't said" in told.refusal
    assert call("add", root, texts, "--yes", "--drive", "2.83V").code == 0
    assert "the distance isn't stated" in call("build", root).refusal
    stated(root, distance_m=DISTANCE_M, rotation_behind_m=0.0)
    assert call("build", root).code == 0
    at_one_metre = LEVEL_DB + 20.0 * math.log10(DISTANCE_M)
    curve = on_axis(root)
    assert curve.valid.sum() > 900
    assert np.max(np.abs(curve.level_db[curve.valid] - at_one_metre)) < 0.001
    results = from_json(Results, (root / "build" / "results.json").read_bytes())
    sensitivity = next(f.value for f in results.figures if f.name is FigureName.SENSITIVITY)
    assert isinstance(sensitivity, Quantity)
    assert sensitivity.value == pytest.approx(at_one_metre, abs=0.001)
    told = call("publish", root, "--json", "--to", tmp_path / "out")
    assert told.code == 0
    assert set(told.json) == {"page", "report", "data", "unfit"}
    assert "Text alone" in Path(told.json["page"]).read_text(encoding="utf-8")
    assert Path(told.json["report"]).read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("separator", ["\t", " ", ",", ";"])
def test_each_separator_gives_the_same_curve(call: Call, tmp_path: Path, separator: str) -> None:
    file = tmp_path / "horizontal_+000.txt"
    file.write_text(columns(0.0, separator), encoding="utf-8")
    root = tmp_path / "case"
    assert call("new", root).code == 0
    stated(root, distance_m=DISTANCE_M)
    assert call("add", root, file, "--drive", "2.83V", "--yes").code == 0
    assert call("build", root).code == 0
    curve = on_axis(root)
    expected = LEVEL_DB + 20.0 * math.log10(DISTANCE_M)
    assert np.max(np.abs(curve.level_db[curve.valid] - expected)) < 0.001
