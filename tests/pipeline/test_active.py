"""Active loudspeakers from file names to results: the drive in the unit that the reviewer gave."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.takes import read_takes
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at

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
