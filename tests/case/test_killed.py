from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from small_build import add, build, killed_at, tree

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.named_set import read_set
from earwitness.case.verify import verify
from earwitness.records.errors import IntegrityError, NotAvailableError

INTERRUPTED = "a build was interrupted; build again"
FIRST, SECOND = ("t1.txt", "deep/t2.txt"), ("t3.txt", "t4.txt")


@pytest.fixture(autouse=True)
def _unflushed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A killed process loses nothing that it wrote, flushed or not: only time is saved."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "session"
    (folder / "deep").mkdir(parents=True)
    for name in (*FIRST, *SECOND):
        (folder / name).write_bytes(name.rjust(8).encode())
    return folder


def copies(original: CaseFolder, folder: Path) -> Iterator[CaseFolder]:
    """Copies of a case without end, one at a time."""
    while True:
        shutil.rmtree(folder, ignore_errors=True)
        yield CaseFolder(Path(shutil.copytree(original.root, folder)))


def assert_nothing_lost(case: CaseFolder) -> None:
    report = verify(case)
    assert report.problems == ()
    if INTERRUPTED in report.notes:
        with pytest.raises(IntegrityError, match=INTERRUPTED):
            read_set(case)
    elif report.build_id is None:
        with pytest.raises(NotAvailableError):
            read_set(case)
    else:
        assert read_set(case).build_id == report.build_id


def run(case: CaseFolder, session: Path, names: tuple[str, ...], gain: int) -> None:
    add(case, session, names)
    build(case, gain)


def test_killed_at_every_checkpoint_of_a_first_build(case: CaseFolder, session: Path, tmp_path: Path) -> None:
    whole = CaseFolder(Path(shutil.copytree(case.root, tmp_path / "whole")))
    run(whole, session, FIRST, 1)
    for number, copy in enumerate(copies(case, tmp_path / "copy"), 1):
        killed = killed_at(number, partial(run, copy, session, FIRST, 1))
        assert_nothing_lost(copy)
        run(copy, session, FIRST, 1)
        assert tree(copy) == tree(whole), number
        if not killed:
            break
    # 2 raw files, raw.sha256, takes.toml, 3 steps, 4 named files, intent and state: each has its own acts
    assert number > 40


def test_killed_at_every_checkpoint_of_a_later_build(case: CaseFolder, session: Path, tmp_path: Path) -> None:
    run(case, session, FIRST, 1)
    whole = CaseFolder(Path(shutil.copytree(case.root, tmp_path / "whole")))
    run(whole, session, SECOND, 2)
    mixed = 0
    for number, copy in enumerate(copies(case, tmp_path / "copy"), 1):
        killed = killed_at(number, partial(run, copy, session, SECOND, 2))
        assert_nothing_lost(copy)
        mixed += INTERRUPTED in verify(copy).notes
        run(copy, session, SECOND, 2)
        assert tree(copy) == tree(whole), number
        if not killed:
            break
    assert mixed > 4


@pytest.mark.slow
@pytest.mark.parametrize("gain", [1, 3])
def test_killed_twice_with_a_change_of_mind(
    case: CaseFolder, session: Path, tmp_path: Path, gain: int
) -> None:
    """A commit is killed half-way; the next, back to the old set or on to a third, is killed as well."""
    run(case, session, FIRST, 1)
    before = build(case, 1)[0]
    half = 0
    for first, mixed in enumerate(copies(case, tmp_path / "half"), 1):
        if not killed_at(first, partial(build, mixed, 2)):
            break
        interrupted = INTERRUPTED in verify(mixed).notes
        half += interrupted
        if not interrupted or half % 4 != 1:
            continue
        for second, copy in enumerate(copies(mixed, tmp_path / "copy"), 1):
            killed = killed_at(second, partial(build, copy, gain))
            assert_nothing_lost(copy)
            assert build(copy, 1)[0] == read_set(copy) == before
            if not killed:
                break
    assert half > 4


def test_killed_while_a_case_is_started(tmp_path: Path) -> None:
    number = 1
    while killed_at(number, partial(new_case, tmp_path / str(number), "Cobble Two")):
        started = CaseFolder(tmp_path / str(number))
        complete = all(
            p.exists() for p in (started.takes_toml, started.verdict, started.revisions, started.raw)
        )
        assert complete or not started.case_toml.exists()
        number += 1
    assert number > 8
