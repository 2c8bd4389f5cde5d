"""`earwitness check` as a person and as a machine reads it."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
from spoiled import ON_AXIS, Spoiled
from told import Call

from earwitness.case.documents import schema


def test_each_point_is_said_within_eighty_columns(call: Call, case: Path) -> None:
    told = call("check", case)
    assert told.code == 0
    lines = told.out.splitlines()
    assert max(map(len, lines[:-1])) <= 80
    assert lines[0] == "fine         Recordings"
    assert lines[-1].startswith(f"{case}: fit to conclude from (")
    assert "To do: Take the first direction again last of all, as a repeat." in told.out
    assert "Limit: " in told.out


def test_machines_get_what_the_build_keeps(call: Call, case: Path) -> None:
    told = call("check", case, "--json")
    assert told.code == 0
    document = told.json
    assert document.pop("fit") is True
    assert set(document) == set(schema("quality")["properties"])
    names = [point["name"] for point in document["points"]]
    assert len(names) == len(set(names)) == 21
    assert {point["verdict"] for point in document["points"]} <= {"fine", "look", "can't tell"}


def test_what_is_unfit_ends_in_one(call: Call, case: Path) -> None:
    """A recording whose crests are cut off came into the case before it was looked for."""
    Spoiled(case).change(ON_AXIS, lambda samples: np.clip(samples, -0.02, 0.02))
    told = call("check", case)
    assert told.code == 1
    assert told.out.startswith("unfit        Clipping\n")
    assert "1 of 1 recordings can't be used" in told.out.replace("’", "'")
    assert told.out.rstrip().endswith("not fit to conclude from (1 unfit)")
    assert call("check", case, "--json").json["fit"] is False


def test_a_stimulus_that_is_damaged_is_refused_as_by_a_build(call: Call, case: Path) -> None:
    Spoiled(case).change("stimulus.wav", lambda samples: samples[: samples.size // 4])
    told = call("check", case)
    assert told.code == 2
    assert told.refusal.startswith(("stimulus.wav", "horizontal"))


def test_an_earlier_case_that_is_not_there_is_said(call: Call, case: Path, tmp_path: Path) -> None:
    told = call("check", case, "--earlier", tmp_path / "nowhere")
    assert told.code == 0
    assert "No reference loudspeaker was recorded" in " ".join(told.out.split())


def test_the_build_may_be_deleted(call: Call, case: Path) -> None:
    before = (case / "build" / "quality.json").read_bytes()
    shutil.rmtree(case / "build")
    assert call("check", case).code == 0
    assert (case / "build" / "quality.json").read_bytes() == before
