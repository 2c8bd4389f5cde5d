from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import soundfile
from arriving import arrived
from made_recordings import FULL_SCALE_PA, RATE, Bench

from earwitness.measurement.calibration import Calibration, calibrate, steady_tone
from earwitness.measurement.readers.contents import MeasuredResponse
from earwitness.measurement.recognise import recognise
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.takes import Take


def takes(folder: Path) -> list[Take]:
    return [r.take for r in recognise(arrived(*(p.name for p in folder.iterdir()))) if r.take is not None]


@pytest.mark.parametrize("frequency", [999.3, 1_000.0, 250.0])
def test_steady_tone(frequency: float) -> None:
    n = np.arange(50_001)
    rng = np.random.default_rng(0)
    tone = 0.2 * np.sqrt(2.0) * np.sin(2.0 * np.pi * frequency * n / RATE) + 1e-3 * rng.standard_normal(
        n.size
    )
    rms, found, part = steady_tone(tone, RATE)
    assert rms == pytest.approx(0.2, rel=1e-3)
    assert found == pytest.approx(frequency, abs=0.5)
    assert part > 0.999


def test_calibrator_gives_pascals(tmp_path: Path) -> None:
    Bench(tmp_path).calibrator()
    found = calibrate(tmp_path, takes(tmp_path), None)
    assert found.pa_per_full_scale == pytest.approx(FULL_SCALE_PA, rel=1e-4)
    assert found.reference_hz == pytest.approx(1_000.0, abs=0.5)


def test_stated_level_and_what_is_said_then(tmp_path: Path) -> None:
    found = calibrate(tmp_path, [], 3.0)
    assert (found.pa_per_full_scale, found.reference_hz) == (3.0, None)
    assert any("stated" in note for note in found.notes)
    assert any("microphone" in note for note in found.notes)


def test_neither_or_both_apart_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match=r"rig\.pa_per_full_scale"):
        calibrate(tmp_path, [], None)
    Bench(tmp_path).calibrator()
    with pytest.raises(CaseError, match=r"0\.60 dB"):
        calibrate(tmp_path, takes(tmp_path), FULL_SCALE_PA * 10.0 ** (0.6 / 20.0))
    agreed = calibrate(tmp_path, takes(tmp_path), FULL_SCALE_PA * 10.0 ** (0.4 / 20.0))
    assert agreed.pa_per_full_scale == pytest.approx(FULL_SCALE_PA, rel=1e-4)


def test_no_steady_tone_and_no_level_are_refused(tmp_path: Path) -> None:
    noise = 0.1 * np.random.default_rng(2).standard_normal(RATE)
    soundfile.write(tmp_path / "calibrator_94.wav", noise, RATE)
    with pytest.raises(ReadError, match="no steady tone"):
        calibrate(tmp_path, takes(tmp_path), None)
    unstated = [dataclasses.replace(t, level_db=None) for t in takes(tmp_path)]
    with pytest.raises(ReadError, match="level"):
        calibrate(tmp_path, unstated, None)


def test_microphone_is_subtracted_inside_its_range() -> None:
    microphone = MeasuredResponse(np.array([100.0, 1_000.0, 10_000.0]), np.array([-1.0, 0.5, 4.5]), None)
    frequency = np.array([50.0, 100.0, 1_000.0, np.sqrt(1e7), 10_000.0, 20_000.0])
    stated = Calibration(2.0, None, microphone, ())
    pressure, known = stated.pressure_per_full_scale(frequency)
    assert known.tolist() == [False, True, True, True, True, False]
    # halfway over log f between 0.5 dB and 4.5 dB stand 2.5 dB
    assert 20.0 * np.log10(pressure[1:5] / 2.0) == pytest.approx([1.0, -0.5, -2.5, -4.5])
    calibrated, _ = Calibration(2.0, 1_000.0, microphone, ()).pressure_per_full_scale(frequency)
    assert 20.0 * np.log10(calibrated[1:5] / 2.0) == pytest.approx([1.5, 0.0, -2.0, -4.0])


def test_two_microphones_are_refused(tmp_path: Path) -> None:
    for name in ("microphone.txt", "microphone_2.txt"):
        (tmp_path / name).write_text("20 0\n20000 0\n")
    with pytest.raises(CaseError, match="two microphone calibrations"):
        calibrate(tmp_path, takes(tmp_path), 1.0)
