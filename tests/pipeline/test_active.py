"""Active loudspeakers from file names to results: the drive in the unit that the reviewer gave."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.takes import read_takes
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at
from earwitness.publication.exposure import exposure
from earwitness.records.figures import Results
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeKey, TakeKind

FACTS = """
[unit]
name = "Made Up"
active = true

[rig]
distance_m = 1.0
"""


def case_of(folder: Path, drive: str) -> CaseFolder:
    """A built case of responses as text, dB re 20 µPa as they were played at `drive`."""
    session = folder / "session"
    session.mkdir(parents=True)
    hertz = np.geomspace(20.0, 20_000.0, 120)
    for angle in (-10, 0, 10):
        rows = "".join(f"{f:.3f}\t{86.0 - abs(angle) / 20.0:.3f}\n" for f in hertz)
        name = f"horizontal_{angle:+04d}_{drive}.txt"
        (session / name).write_text(f"frequency [Hz]\tlevel [dB SPL]\n{rows}", encoding="utf-8")
    root = folder / "case"
    new_case(root, "Made Up", {"case.toml": FACTS})
    accept(root, look_at(root, [session]))
    build(root)
    return CaseFolder.open(root)


def figures(case: CaseFolder) -> dict[str, dict[str, Any]]:
    return {figure["name"]: figure for figure in json.loads(case.results.read_bytes())["figures"]}


@pytest.fixture(scope="module")
def at_line_level(tmp_path_factory: pytest.TempPathFactory) -> CaseFolder:
    return case_of(tmp_path_factory.mktemp("line"), "-10dBu")


def test_a_case_in_dbu_builds_as_the_same_in_dbfs(at_line_level: CaseFolder, tmp_path: Path) -> None:
    digital = figures(case_of(tmp_path, "-10dBFS"))
    for name, figure in figures(at_line_level).items():
        assert figure["value"] == digital[name]["value"], name


def test_the_drive_is_told_in_the_unit_that_was_given(at_line_level: CaseFolder) -> None:
    assert {take.key.drive.label for take in read_takes(at_line_level) if take.key.drive} == {"−10 dBu"}
    found = json.loads(at_line_level.findings.read_bytes())["findings"]
    assert {finding["place"]["drive"] for finding in found if finding["place"]} == {"−10 dBu"}


def test_level_and_latency_are_figures_of_an_active_one(at_line_level: CaseFolder) -> None:
    told = figures(at_line_level)
    level = told["level_at_drive"]
    # 86 dB at all frequencies on axis; NIOSH 98-126: 8 h/2^(1/3) at it
    assert level["value"]["value"] == pytest.approx(86.0, abs=0.01)
    assert level["also"]["drive, dBu"] == -10.0
    assert level["also"]["time a day at that level by NIOSH, h"] == pytest.approx(
        8.0 / 2.0 ** (1.0 / 3.0), rel=0.01
    )
    assert told["latency"]["value"] == {
        "reason": "not determined: no loopback",
        "valid_from_hz": None,
        "missing": [],
        "invalid_band_hz": None,
        "kind": "not_available",
    }
    said = {f["id"]: f for f in json.loads(at_line_level.findings.read_bytes())["findings"]}
    words = "".join(part["text"] for part in said["figure-level_at_drive"]["statement"]["parts"])
    assert words.startswith("Driven with −10.0 dBu it plays 86.0 dB at one metre")


def test_the_page_s_exposure_is_worked_out_at_the_greatest_drive(at_line_level: CaseFolder) -> None:
    results = from_json(Results, at_line_level.results.read_bytes())
    louder = Take("x.wav", TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(4.0, "dBu")))
    found = exposure((*read_takes(at_line_level), louder), results)
    # 14 dB more than at −10 dBu: 100 dB, a quarter of an hour
    assert found.level_db == pytest.approx(100.0, abs=0.01)
    assert found.hours == pytest.approx(0.25, rel=0.01)
    assert "At 4.0 dBu it plays 100 dB" in str(found.caution)
