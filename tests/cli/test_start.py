"""`new` and `demo`: killed at any moment, given twice, given a folder that holds something else."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
from told import Call

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case, read_facts
from earwitness.virtual.scenario import Scenario, load, names

SMALL = ("stimulus.wav", "calibrator_94.wav", "microphone.txt", "horizontal_+000_2.83V.wav")
IMPEDANCE = "impedance_0.5V.wav"


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def killed_at(moment: int, root: Path) -> bool:
    """Start a case in a process that dies before its `moment`-th flush or rename; whether it did."""
    child = os.fork()
    if child == 0:
        passed = 0

        def checkpoint(name: str) -> None:
            nonlocal passed
            passed += 1
            if passed == moment:
                os.kill(os.getpid(), signal.SIGKILL)

        durable.checkpoint = checkpoint
        try:
            new_case(root, "Cobble Two")
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


@pytest.mark.parametrize("there_before", [False, True])
def test_a_killed_start_can_be_given_again(call: Call, tmp_path: Path, there_before: bool) -> None:
    whole = tmp_path / "whole"
    assert call("new", whole, "--name", "Cobble Two").code == 0
    moment = 1
    while True:
        root = tmp_path / f"killed-{moment}"
        if there_before:
            root.mkdir()
        if not killed_at(moment, root):
            break
        # after case.toml is in its place the case is whole, and a second start is refused
        done = (root / "case.toml").exists()
        assert call("new", root, "--name", "Cobble Two").code == (2 if done else 0)
        assert {
            n: c for n, c in contents(root).items() if not durable.is_temporary(Path(n).name)
        } == contents(whole)
        assert (root / "raw").is_dir()
        assert (root / "testimony").is_dir()
        moment += 1
    assert moment > 10


@pytest.mark.parametrize("folders", [(), ("raw",), ("raw", "testimony")])
def test_a_start_that_was_killed_between_folders(
    call: Call, tmp_path: Path, folders: tuple[str, ...]
) -> None:
    root = tmp_path / "case"
    root.mkdir()
    for folder in folders:
        (root / folder).mkdir()
    assert call("new", root).code == 0


@pytest.mark.parametrize("mine", ["verdict.md", "takes.toml", "notes.txt", "raw/take.wav", ".hidden"])
def test_what_is_mine_is_never_taken_for_remains(call: Call, tmp_path: Path, mine: str) -> None:
    root = tmp_path / "case"
    (root / mine).parent.mkdir(parents=True)
    (root / mine).write_text("mine")
    told = call("new", root)
    assert told.code == 2
    assert "isn't an empty folder" in told.refusal
    assert contents(root) == {mine: b"mine"}


def test_a_case_in_the_folder_where_one_stands(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "My unit").mkdir()
    monkeypatch.chdir(tmp_path / "My unit")
    assert call("new", ".").code == 0
    assert 'name = "My unit"' in (tmp_path / "My unit" / "case.toml").read_text(encoding="utf-8")
    assert Path("case.toml").exists()


@pytest.fixture
def short_demo(monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo with one direction and a short sweep, so that it takes seconds."""
    record = Scenario.record
    monkeypatch.setattr(
        Scenario,
        "record",
        lambda self, folder, progress: record(
            self, folder, progress, [*SMALL, *({IMPEDANCE} & set(self.names))], 0.8
        ),
    )


@pytest.mark.usefixtures("short_demo")
def test_the_demo_says_what_it_does_and_can_be_given_again(call: Call, tmp_path: Path) -> None:
    root = tmp_path / "demo"
    told = call("demo", root)
    lines = told.out.splitlines()
    assert (told.code, told.err) == (0, "")
    assert [line.split()[:2] for line in lines[:4]] == [
        ["1.", "started"],
        ["2.", "recorded"],
        ["3.", "built"],
        ["4.", "published"],
    ]
    assert lines[4:] == [str(root / "publication" / "index.html")]
    assert Path(lines[4]).is_file()
    before = contents(root / "build")
    again = call("demo", root, "--json")
    assert again.json == {"case": str(root), "page": lines[4]}
    assert contents(root / "build") == before


@pytest.mark.usefixtures("short_demo")
def test_a_demo_that_was_killed_before_it_was_a_case(call: Call, tmp_path: Path) -> None:
    root = tmp_path / "demo"
    root.mkdir()
    (root / "raw").mkdir()
    (root / "verdict.md").write_bytes(load("cobble_two").verdict.read_bytes())
    assert call("demo", root).code == 0


@pytest.mark.usefixtures("short_demo")
def test_the_demo_of_loudspeakers_by_name(call: Call, tmp_path: Path) -> None:
    root = tmp_path / "shelf"
    told = call("demo", root, "dewdrop", "cobble_two", "dewdrop")
    lines = told.out.splitlines()
    pages = [root / name / "publication" / "index.html" for name in ("dewdrop", "cobble_two")]
    assert (told.code, told.err) == (0, "")
    assert [lines[0], lines[5]] == ["dewdrop, 1 of 2", "cobble_two, 2 of 2"]
    assert lines[1] == "1. started the case of Dewdrop, a loudspeaker that doesn't exist"
    assert lines[10:] == [str(page) for page in pages]
    assert all(page.is_file() for page in pages)
    assert read_facts(CaseFolder.open(root / "dewdrop")).unit.name == "Dewdrop"
    again = call("demo", root, "dewdrop", "--json")
    assert again.json == {"cases": [{"case": str(root / "dewdrop"), "page": str(pages[0])}]}


def test_the_demo_of_all_is_one_case_each(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[tuple[Path, str]] = []

    def make(folder: Path, name: str, _: object) -> Path:
        made.append((folder, name))
        return folder / "page"

    monkeypatch.setattr(sys.modules["earwitness.cli.demo"], "_make", make)
    told = call("demo", tmp_path, "--all")
    assert told.code == 0
    assert made == [(tmp_path / name, name) for name in names()]
    assert told.out.splitlines()[-1] == str(tmp_path / names()[-1] / "page")


def test_the_demo_lists_its_loudspeakers(call: Call) -> None:
    told = call("demo", "--list")
    assert told.code == 0
    assert [line.split()[0] for line in told.out.splitlines()[1:]] == list(names())
    assert "Plank: centre, horizontal three-way, sealed, passive" in told.out
    listed = call("demo", "--list", "--json").json["loudspeakers"]
    assert listed[0] == {"name": "anvil", "title": "Anvil: near-field monitor, two-way, vented, active"}


def test_the_demo_refuses_before_it_makes_anything(call: Call, tmp_path: Path) -> None:
    root = tmp_path / "shelf"
    unknown = call("demo", root, "dewdrop", "nobody")
    assert unknown.code == 2
    assert unknown.refusal.startswith("no loudspeaker is called 'nobody'; there are: anvil, ")
    both = call("demo", root, "dewdrop", "--all")
    assert (both.code, both.refusal) == (2, "--all makes dewdrop too; give names or --all")
    assert not root.exists()


def test_the_demo_leaves_other_folders_alone(call: Call, empty: Path, tmp_path: Path) -> None:
    before = contents(empty)
    told = call("demo", empty)
    assert told.code == 2
    assert told.refusal == f"{empty} holds a case that isn't the demo's; give another folder"
    assert contents(empty) == before
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "photo").write_bytes(b"mine")
    assert "isn't an empty folder" in call("demo", tmp_path / "mine").refusal
    assert contents(tmp_path / "mine") == {"photo": b"mine"}
