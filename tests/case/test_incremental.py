from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from small_build import FLOORS, NAMES, add, build, tree

from earwitness.case.incremental import Build
from earwitness.case.layout import CaseFolder
from earwitness.case.named_set import read_set
from earwitness.case.source_digest import source_digest
from earwitness.case.verify import verify
from earwitness.records.errors import CallError, IntegrityError, NotAvailableError

FIRST = ("t1.txt", "t2.txt")


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "session"
    folder.mkdir()
    for n in range(1, 6):
        (folder / f"t{n}.txt").write_bytes(f"{n * 7:04}".encode())
    return folder


@pytest.fixture
def added(case: CaseFolder, session: Path) -> CaseFolder:
    add(case, session, FIRST)
    return case


def test_runs_only_what_changed(added: CaseFolder, session: Path) -> None:
    assert build(added)[1] == ["reduce", "t1.txt", "t2.txt", "derive", "document"]
    assert build(added)[1] == []
    assert build(added, gain=2)[1] == ["derive", "document"]
    add(added, session, ("t3.txt",))
    assert build(added, gain=2)[1] == ["reduce", "t3.txt", "derive", "document"]


def test_the_step_before_is_kept_and_no_more(added: CaseFolder) -> None:
    build(added, gain=1)
    build(added, gain=2)
    assert build(added, gain=1)[1] == []
    build(added, gain=2)
    build(added, gain=3)
    steps = sorted(path.name.split("-")[0] for path in added.steps.iterdir())
    assert steps == ["derive", "derive", "document", "document", "reduce"]
    assert build(added, gain=1)[1] == ["derive", "document"]


def test_parts_stay_as_long_as_their_step(added: CaseFolder, session: Path) -> None:
    build(added)
    for gain in (2, 3, 4):
        build(added, gain=gain)
    assert len(list(added.parts.iterdir())) == 2
    shutil.rmtree(added.steps)
    assert build(added, gain=4)[1] == ["reduce", "derive", "document"]


def test_a_part_that_is_not_whole_is_made_again(added: CaseFolder) -> None:
    build(added)
    part = sorted(added.parts.iterdir())[0]
    for damage in (b"", part.read_bytes()[:-1], bytes(100)):
        part.write_bytes(damage)
        shutil.rmtree(added.steps)
        assert len([name for name in build(added)[1] if name.startswith("t")]) == 1


@pytest.mark.parametrize("damage", ["altered", "cut", "missing", "more", "record", "no record"])
def test_a_damaged_step_is_made_again(added: CaseFolder, damage: str) -> None:
    before, _ = build(added)
    whole = tree(added)
    folder = next(path for path in added.steps.iterdir() if path.name.startswith("derive"))
    file, record = folder / "curves.nc", folder / "step.json"
    content = file.read_bytes()
    if damage == "altered":
        file.write_bytes(bytes([content[0] ^ 1]) + content[1:])
    elif damage == "cut":
        file.write_bytes(content[:-1])
    elif damage == "missing":
        file.unlink()
    elif damage == "more":
        (folder / "stray").write_bytes(b"")
    elif damage == "record":
        record.write_bytes(b"{}")
    else:
        record.unlink()
    assert verify(added).problems == (f"build/steps/{folder.name}: isn't what was built; build again",)
    assert build(added) == (before, ["derive"])
    assert tree(added) == whole
    assert verify(added).fine


def test_a_named_file_that_was_altered_is_refused_and_put_back(added: CaseFolder) -> None:
    build(added)
    whole = tree(added)
    added.curves.write_bytes(b"mine")
    with pytest.raises(IntegrityError, match=r"build/curves\.nc: isn't what was built; build again"):
        read_set(added)
    assert verify(added).problems == ("build/curves.nc: isn't what was built; build again",)
    assert build(added)[1] == []
    assert tree(added) == whole


def test_the_same_case_has_the_same_id_and_bytes_wherever_it_lies(added: CaseFolder, tmp_path: Path) -> None:
    shutil.copytree(added.root, tmp_path / "copy")
    other = CaseFolder(tmp_path / "copy")
    assert build(added)[0] == build(other)[0]
    assert tree(added) == tree(other)
    shutil.rmtree(added.build)
    build(added)
    assert tree(added) == tree(other)
    assert build(other, gain=2)[0].build_id != read_set(added).build_id


def test_a_step_that_fails_leaves_no_trace(added: CaseFolder) -> None:
    making = Build(added)

    def fail(folder: Path) -> None:
        (folder / "half").write_bytes(b"x")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        making.step("fails", floors=FLOORS, inputs=[], options=None, make=fail)
    assert list(added.steps.iterdir()) == []


def test_stale_temporaries_go_at_the_next_build(added: CaseFolder) -> None:
    (added.steps / ".0123.partial").mkdir(parents=True)
    (added.steps / ".0123.partial" / "x").write_bytes(b"x")
    (added.raw / ".0123.partial").write_bytes(b"x")
    Build(added)
    assert list(added.steps.iterdir()) == []
    assert not (added.raw / ".0123.partial").exists()


def test_a_key_follows_name_options_inputs_and_sources(case: CaseFolder) -> None:
    making = Build(case)
    base = making.key("a", floors=["records"], inputs=["x", "y"], options={"b": 1, "a": 2})
    assert base == making.key("a", floors=["records"], inputs=["x", "y"], options={"a": 2, "b": 1})
    others = [
        making.key("b", floors=["records"], inputs=["x", "y"], options={"b": 1, "a": 2}),
        making.key("a", floors=["records"], inputs=["y", "x"], options={"b": 1, "a": 2}),
        making.key("a", floors=["records"], inputs=["xy"], options={"b": 1, "a": 2}),
        making.key("a", floors=["records"], inputs=["x", "y"], options={"b": 1.5, "a": 2}),
        making.key("a", floors=["records", "case"], inputs=["x", "y"], options={"b": 1, "a": 2}),
    ]
    assert len({base, *others}) == 6
    with pytest.raises(ValueError, match="not JSON compliant"):
        making.key("a", floors=[], inputs=[], options=float("nan"))
    with pytest.raises(TypeError):
        making.key("a", floors=[], inputs=[], options=np.zeros(1))


def test_sources_are_told_apart_by_floor_and_not_by_order() -> None:
    assert source_digest(["case", "records"]) == source_digest(["records", "case", "case"])
    assert source_digest(["case"]) != source_digest(["records"])
    with pytest.raises((ValueError, OSError)):
        source_digest(["attic"])


def test_refuses_to_name_what_no_step_made(added: CaseFolder, tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"x")
    with pytest.raises(CallError, match="made by no step of this build"):
        Build(added).commit("id", {"x": tmp_path / "x"})


def test_nothing_built_is_said(added: CaseFolder) -> None:
    with pytest.raises(NotAvailableError, match="nothing is built yet"):
        read_set(added)
    assert verify(added).notes == ("nothing is built yet; run `earwitness build`",)
    assert verify(added).fine


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"[" * 10_000, b'{"build_id": 1, "files": 3}'])
@pytest.mark.parametrize("name", ["state.json", "state.next.json"])
def test_a_garbled_state_is_refused_and_built_over(added: CaseFolder, name: str, content: bytes) -> None:
    build(added)
    whole = tree(added)
    (added.build / name).write_bytes(content)
    with pytest.raises(
        IntegrityError, match=rf"build/{name}: can't be understood; delete build/ and build again"
    ):
        read_set(added)
    assert not verify(added).fine
    build(added)
    assert tree(added) == whole


def test_verify_reads_the_documents(added: CaseFolder) -> None:
    named, _ = build(added)
    report = verify(added)
    assert (report.fine, report.notes, report.raw_files, report.build_id) == (True, (), 2, named.build_id)
    state = json.loads(added.state.read_bytes())
    assert sorted(state["files"]) == sorted(NAMES)


def test_verify_names_every_problem(added: CaseFolder, session: Path) -> None:
    build(added)
    (added.raw / "t1.txt").unlink()
    (added.raw / "t2.txt").chmod(0o644)
    (added.raw / "t2.txt").write_bytes(b"x")
    added.findings.unlink()
    assert [problem.split(":")[0] for problem in verify(added).problems] == [
        "raw/t1.txt",
        "raw/t2.txt",
        "build/findings.json",
    ]


def test_verify_notes_what_is_not_built_yet(added: CaseFolder, session: Path) -> None:
    build(added)
    add(added, session, ("t3.txt",))
    (added.raw / "t9.txt").write_bytes(b"x")
    report = verify(added)
    assert report.fine
    assert report.notes == (
        "raw/t9.txt: isn't in raw.sha256; add it",
        "raw files were added or removed since the build; build again",
    )
