"""Recordings at seven drives go through the commands; what is said of distortion is true."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from user import earwitness

from earwitness.virtual.files import CALIBRATOR, MICROPHONE, STIMULUS
from earwitness.virtual.scenario import load
from earwitness.virtual.tones import Tones

SENTENCE = re.compile(r"distortion stays below 1 % from ([\d.]+) ± ([\d.]+) Hz up, at (\d+) dB")
#: Tones over the bands in which third orders sound below 20 kHz.
TONES_HZ = 1000.0 * 2.0 ** (np.arange(-52, 33) / 12.0)


@pytest.mark.slow
def test_what_is_said_of_distortion_is_true_of_the_loudspeaker(tmp_path: Path) -> None:
    """Steady tones with cold coils tell the truth, at the drive whose level the sentence names."""
    scenario = load("thimble")
    session = scenario.session
    on_axis = [turn.name for turn in session.turns if turn.angle_deg == 0]
    names = [STIMULUS, CALIBRATOR, MICROPHONE, *on_axis, *(level.name for level in session.levels)]
    session.record(tmp_path / "files", only=[*names, *(near.name for near in session.near_fields)])
    case = tmp_path / "case"
    earwitness("new", case, "--name", "Thimble")
    shutil.copyfile(scenario.facts, case / "case.toml")
    earwitness("add", case, tmp_path / "files", "--yes")
    earwitness("build", case)
    findings = json.loads((case / "build" / "findings.json").read_text(encoding="utf-8"))["findings"]
    (told,) = (one for one in findings if one["id"] == "figure-distortion_1")
    sentence = "".join(part["text"] for part in told["statement"]["parts"])
    said = SENTENCE.search(sentence)
    assert said is not None, sentence
    from_hz, standard_hz = float(said[1]), float(said[2])
    assert standard_hz < 0.06 * from_hz

    drives = sorted(level.drive_v for level in session.levels)
    assert session.player is not None
    ahead = np.array([[scenario.turntable.distance_m, 0.0, 0.0]])
    tones = Tones(scenario.loudspeaker, session.player.electronics, scenario.air, TONES_HZ, ahead)
    true = np.abs(tones.pressures(tones.volume_velocities(drives))) * scenario.turntable.distance_m
    band = (TONES_HZ > 299.0) & (TONES_HZ < 3001.0)
    level_db = 10.0 * np.log10(np.mean(true[:, 0, band] ** 2, axis=-1) / 20e-6**2)
    row = int(np.argmin(np.abs(level_db - float(said[3]))))
    assert level_db[row] == pytest.approx(float(said[3]), abs=0.7)
    ratio = np.sqrt(np.sum(true[row, 1:] ** 2, axis=0)) / true[row, 0]
    away_hz = TONES_HZ - from_hz
    below = (away_hz < -2.0 * standard_hz) & (away_hz > -0.3 * from_hz)
    assert np.all(ratio[away_hz > 2.0 * standard_hz] < 0.01)
    assert below.sum() >= 3
    assert np.all(ratio[below] > 0.01)
