"""The walk-through and the examples of the documentation, followed to the letter."""

from __future__ import annotations

import os
import re
import shlex
import shutil
from pathlib import Path

import pytest
from arriving import arrived
from told import Call

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import read_facts
from earwitness.case.takes import read_takes
from earwitness.measurement.recognise import recognise
from earwitness.records.takes import Drive
from earwitness.virtual.scenario import load

DOCS = Path(__file__).parents[2] / "docs"


def text_of(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def examples(name: str) -> list[str]:
    """The TOML examples of a page."""
    return re.findall(r"```toml\n(.*?)```", text_of(name), re.DOTALL)


def test_the_first_case_is_what_it_says(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every command of the page in its order; its examples are what a person types into case.toml."""
    monkeypatch.chdir(tmp_path)
    names = ("stimulus.wav", "calibrator_94.wav", "microphone.txt", "horizontal_+000_2.83V.wav")
    near = "near_field_woofer_7mm_0.283V.wav"
    load("cobble_two").record(Path("recordings"), only=[*names, near], sweep_s=0.8)
    commands = re.findall(r"^    earwitness (.*)$", text_of("first_case.md"), re.MULTILINE)
    assert [command.split()[0] for command in commands] == ["new", "add", "build", "publish", "verify"]
    for command in commands:
        words = shlex.split(command)
        told = call(*words, *(["--yes"] if words[0] == "add" else []))
        assert told.code == 0, told.err
        if words[0] == "new":
            filled_in(Path(words[1]), *examples("first_case.md"))
        if words[0] == "build":
            assert "carried from the near field of the woofer" in told.out
        if words[0] == "publish":
            assert os.path.samefile(told.out.splitlines()[-1], "my-case/publication/index.html")


def filled_in(root: Path, rig: str, near: str) -> None:
    """The examples in the place that the page names for each."""
    text = (root / "case.toml").read_text(encoding="utf-8")
    before, _, after = text.partition("[disclosure]")
    after = after.replace("[rig]\n", rig)
    (root / "case.toml").write_text(f"{before}{near}\n[disclosure]{after}", encoding="utf-8")
    facts = read_facts(CaseFolder(root))
    assert facts.rig.distance_m == 2.0
    assert [radiator.name for radiator in facts.unit.radiators] == ["woofer"]


def test_every_name_in_the_table_is_recognised() -> None:
    names = re.findall(r"^\| `([^`]+\.(?:wav|txt))`", text_of("first_case.md"), re.MULTILINE)
    assert len(names) == 9
    found = recognise(arrived(*names), drive=Drive(2.83))
    assert [r.doubts for r in found if r.doubts] == []
    labels = {r.path: r.take.key.label for r in found if r.take is not None}
    assert labels["horizontal_+030_repeat2_2.83V.wav"] == "sweep, horizontal +30°, 2.83 V, repeat 2"
    assert labels["vertical_-010_2.83V.wav"] == "sweep, vertical −10°, 2.83 V"


def test_the_examples_of_takes_and_revisions_hold(
    call: Call, case: Path, recordings: Path, tmp_path: Path
) -> None:
    entry, rule, *_, revision = examples("case.md")
    folder = tmp_path / "files"
    folder.mkdir()
    for name in ("left side, third try.wav", "horizontal +40 deg.wav", "vertical -10 deg again.wav"):
        shutil.copyfile(recordings / "horizontal_+000_2.83V.wav", folder / name)
    assert "can't be added" in call("add", case, folder, "--yes").out
    with (case / "takes.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{entry}\n{rule}")
    assert call("add", case, folder, "--yes").code == 0
    labels = {take.path: take.key.label for take in read_takes(CaseFolder(case))}
    assert labels["left side, third try.wav"] == "sweep, horizontal +30°, 2.83 V"
    assert labels["vertical -10 deg again.wav"] == "sweep, vertical −10°, 2.83 V"
    with (case / "revisions.toml").open("a", encoding="utf-8") as file:
        file.write(revision)
    assert call("build", case).code == 0
    told = call("publish", case, "--json")
    assert "First published." in Path(told.json["page"]).read_text(encoding="utf-8")


def test_a_take_that_was_wrong_is_put_aside(call: Call, case: Path, recordings: Path, tmp_path: Path) -> None:
    new = tmp_path / "horizontal_+000_again_2.83V.wav"
    shutil.copyfile(recordings / "horizontal_+000_2.83V.wav", new)
    told = call("add", case, new, "--yes")
    assert told.code == 2
    assert "would be the same take as raw/horizontal_+000_2.83V.wav" in told.refusal
    assert not (case / "raw" / new.name).exists()
    takes = case / "takes.toml"
    entries = takes.read_text(encoding="utf-8").split("\n[[take]]\n")
    kept = [entry for entry in entries if 'file = "horizontal_+000_2.83V.wav"' not in entry]
    assert len(kept) == len(entries) - 1
    takes.write_text("\n[[take]]\n".join(kept), encoding="utf-8")
    assert call("add", case, new, "--yes").code == 0
    assert call("build", case).code == 0
    assert call("verify", case).code == 0
