"""A raw file is put aside, and comes back under its old name."""

from __future__ import annotations

import io
import os
import shutil
import sys
from pathlib import Path

import pytest
from small_build import tree
from told import Call

from earwitness.case.layout import CaseFolder
from earwitness.case.takes import read_takes

AXIS = "horizontal_+000_2.83V.wav"


def paths(case: Path) -> list[str]:
    return [take.path for take in read_takes(CaseFolder(case))]


def test_out_and_in_again(call: Call, case: Path) -> None:
    before = tree(CaseFolder(case))
    told = call("remove", case, AXIS, "--yes")
    assert told.code == 0
    assert "sweep, on axis, 2.83 V" in told.out
    kept, last = told.out.splitlines()[-2:]
    assert kept.startswith(f"raw/{AXIS} is kept as removed/")
    assert AXIS not in paths(case)
    assert call("verify", case).code == 0
    assert call("build", case).code == 1
    folder = case / kept.split(" as ")[1].removesuffix(f"/{AXIS}")
    assert f"`earwitness add {case} {folder}` has it back under its old name" in last
    assert call("add", case, folder, "--yes").code == 0
    after = tree(CaseFolder(case))
    assert after["raw.sha256"] == before["raw.sha256"]
    assert after[f"raw/{AXIS}"] == before[f"raw/{AXIS}"]
    assert call("build", case).code == 0
    assert call("verify", case).code == 0


def test_subfolders_come_back(call: Call, case: Path, recordings: Path, tmp_path: Path) -> None:
    (tmp_path / "session" / "day 2").mkdir(parents=True)
    name = "day 2/horizontal_+030_2.83V.wav"
    shutil.copyfile(recordings / AXIS, tmp_path / "session" / name)
    assert call("add", case, tmp_path / "session", "--yes").code == 0
    kept = call("remove", case, "day 2", "--yes", "--json").json["removed"][0]["kept"]
    assert not (case / "raw" / "day 2").exists()
    assert call("add", case, case / kept.removesuffix(f"/{name}"), "--yes").code == 0
    assert name in paths(case)


def test_a_dry_run_changes_nothing(call: Call, case: Path) -> None:
    before = tree(CaseFolder(case))
    told = call("remove", case, AXIS, "--dry-run")
    assert told.code == 0
    assert AXIS in told.out
    assert told.out.splitlines()[-1] == "nothing was removed: that was a dry run"
    assert call("remove", case, AXIS, "--dry-run", "--json").json == {
        "removed": [],
        "would_be_removed": [AXIS],
    }
    assert tree(CaseFolder(case)) == before


def test_nobody_says_yes(call: Call, case: Path) -> None:
    before = tree(CaseFolder(case))
    told = call("remove", case, AXIS)
    assert told.code == 2
    assert told.refusal.startswith("nothing was removed, for nobody can be asked here; say --yes")
    told = call("remove", case, AXIS, "--json")
    assert told.code == 2
    assert told.json["error"] == "nothing was removed; say --yes to remove 1 files"
    assert tree(CaseFolder(case)) == before


@pytest.mark.parametrize(("answer", "code"), [("y\n", 0), ("yes\n", 0), ("n\n", 2), ("\n", 2), ("", 2)])
def test_a_person_is_asked(
    call: Call, case: Path, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    typed = io.StringIO(answer)
    monkeypatch.setattr(typed, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stdin", typed)
    told = call("remove", case, AXIS)
    assert told.code == code
    assert "remove these? [y/N] " in told.out
    assert (AXIS in paths(case)) is bool(code)


def test_a_stimulus_that_is_needed(call: Call, case: Path) -> None:
    before = tree(CaseFolder(case))
    told = call("remove", case, "stimulus.wav", "--yes")
    assert (told.code, told.refusal) == (
        2,
        f"raw/stimulus.wav: is the stimulus of raw/{AXIS}, which stays; remove them too, or name another "
        "stimulus in takes.toml",
    )
    assert tree(CaseFolder(case)) == before
    assert call("remove", case, "*.wav", "--yes").code == 0


def test_what_is_not_there(call: Call, case: Path) -> None:
    told = call("remove", case, "stimulus.wave", "--yes")
    assert told.code == 2
    assert told.refusal == "raw/stimulus.wave isn't in the case; did you mean stimulus.wav?"
    assert call("remove", case, "--yes").refusal.startswith("Missing argument 'FILE...'")


def test_of_a_folder_that_is_linked_elsewhere_nothing_is_moved(
    call: Call, case: Path, tmp_path: Path
) -> None:
    os.symlink(tmp_path, case / "removed")
    told = call("remove", case, AXIS, "--yes")
    assert told.code == 2
    assert told.refusal == f"{case / 'removed'}: is a link; put the file or folder itself there"
