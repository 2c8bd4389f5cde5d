"""Files that are written, change or vanish while they are added, and a disk that is full in between."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from small_build import tree

from earwitness.case import durable, source_files
from earwitness.case.intake import gather, take_in
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.raw_store import add_raw, check_raw
from earwitness.case.takes import read_takes
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.takes import Take, TakeKey, TakeKind

WRITER = """
import sys
with open(sys.argv[1], "ab") as file:
    file.write(b"half of it")
    file.flush()
    print("writing", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    """A case that holds something already."""
    started = new_case(tmp_path / "case", "Cobble Two")
    (tmp_path / "old.wav").write_bytes(b"old")
    take_in(started, [(tmp_path / "old.wav", "old.wav")], [noise("old.wav", 9)])
    return started


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "session"
    (folder / "deep").mkdir(parents=True)
    for name in ("a.wav", "b.wav", "deep/c.wav"):
        (folder / name).write_bytes(name.encode() * 1_000)
    return folder


def noise(name: str, repeat: int) -> Take:
    return Take(name, TakeKey(TakeKind.NOISE, repeat=repeat))


@contextmanager
def written_to(path: Path) -> Iterator[None]:
    """Another process has the file open and writes to it."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        assert writer.stdin is not None
        assert writer.stdout.readline() == "writing\n"
        yield
        writer.stdin.close()


@pytest.mark.skipif(sys.platform != "linux", reason="leases tell of writers on Linux")
def test_a_file_that_another_process_writes_to(case: CaseFolder, session: Path) -> None:
    before = tree(case)
    with written_to(session / "b.wav"):
        with pytest.raises(ReadError, match=r"b\.wav: is still being written; wait until it is complete"):
            gather([session])
        with pytest.raises(ReadError, match="is still being written"):
            add_raw(case, [(session / name, name) for name in ("a.wav", "b.wav")])
        assert gather([session / "a.wav"]) == ((session / "a.wav", "a.wav"),)
    assert tree(case) == before
    assert len(gather([session])) == 3


@pytest.mark.skipif(sys.platform != "linux", reason="leases tell of writers on Linux")
def test_whoever_opens_a_file_that_is_looked_at_does_no_harm(session: Path) -> None:
    """A broken lease sends a signal, whose default would end the process."""
    program = (
        "import sys, fcntl, os, signal\n"
        "descriptor = os.open(sys.argv[1], os.O_RDONLY)\n"
        "fcntl.fcntl(descriptor, fcntl.F_SETSIG, signal.SIGURG)\n"
        "fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_RDLCK)\n"
        "try: os.open(sys.argv[1], os.O_WRONLY | os.O_NONBLOCK)\n"
        "except BlockingIOError: print('still here')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, session / "a.wav"], capture_output=True, text=True, check=True
    )
    assert done.stdout == "still here\n"


def test_where_no_lease_is_granted_a_change_tells(
    case: CaseFolder, session: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another system, or a file system without leases: the writer is seen by what it writes."""
    monkeypatch.setattr(source_files, "_open_for_writing", lambda _: False)
    before = tree(case)
    real = durable.copy_in

    def growing(source: int, target: Path, **_: int) -> str:
        digest = real(source, target)
        with (session / "b.wav").open("ab") as file:
            file.write(b"more")
        return digest

    monkeypatch.setattr(durable, "copy_in", growing)
    with pytest.raises(ReadError, match=r"b\.wav: changed while it was read; wait until it is complete"):
        add_raw(case, [(session / "b.wav", "b.wav")])
    assert tree(case) == before


def between(number: int, act: Callable[[], object]) -> Callable[[str], None]:
    """A checkpoint that does something once, before the `number`-th act on the disk."""
    passed = 0

    def checkpoint(name: str) -> None:
        nonlocal passed
        passed += 1
        if passed == number:
            act()

    return checkpoint


#: Each copy passes two checkpoints: one before it is flushed, one before it has its name.
@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_file_that_vanishes_or_changes_while_others_are_copied(
    case: CaseFolder, session: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    before = tree(case)
    sources = gather([session])
    last = session / "deep" / "c.wav"
    kept = last.read_bytes()
    for act, message in (
        (last.unlink, r"c\.wav: can't be opened \(no such file or directory\)"),
        (lambda: last.write_bytes(b"other"), r"c\.wav: changed while it was copied; wait until"),
    ):
        last.write_bytes(kept)
        with monkeypatch.context() as patched:
            patched.setattr(durable, "checkpoint", between(number, act))
            with pytest.raises(ReadError, match=message):
                add_raw(case, sources)
        assert tree(case) == before
        assert [path.name for path in case.raw.iterdir()] == ["old.wav"]


def test_a_disk_that_is_full_at_any_moment_leaves_the_case_as_it_was(
    case: CaseFolder, session: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(case)
    sources = gather([session])
    takes = [noise(name, repeat) for repeat, (_, name) in enumerate(sources, 1)]

    def full() -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    number, told = 0, list[int | None]()
    while True:
        number += 1
        with monkeypatch.context() as patched:
            patched.setattr(durable, "checkpoint", between(number, full))
            try:
                take_in(case, sources, takes)
            except OSError as error:
                told.append(error.errno)
            else:
                break
        assert tree(case) == before, number
        assert check_raw(case, full=True).unrecorded == ()
    assert set(told) == {errno.ENOSPC}
    # three files, raw.sha256, raw_stat.json and takes.toml: each has acts of its own
    assert number > 12
    assert len(read_takes(case)) == 4


def test_takes_that_can_not_be_written_bring_no_file_in(case: CaseFolder, session: Path) -> None:
    case.takes_toml.write_text('take = [{ file = "old.wav", kind = "noise", repeat = 9 }]\n')
    before = tree(case)
    with pytest.raises(CaseError, match=r"takes\.toml: can't be rewritten"):
        take_in(case, gather([session]), [noise("a.wav", 1)])
    assert tree(case) == before


def test_a_lost_raw_file_comes_back_with_the_same_content(case: CaseFolder, tmp_path: Path) -> None:
    (case.raw / "old.wav").unlink()
    (tmp_path / "other.wav").write_bytes(b"else")
    with pytest.raises(ReadError, match="is there already and differs"):
        add_raw(case, [(tmp_path / "other.wav", "old.wav")])
    add_raw(case, [(tmp_path / "old.wav", "old.wav")])
    assert check_raw(case, full=True).sha256.keys() == {"old.wav"}


def test_other_content_of_another_size_is_refused_unread(
    case: CaseFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten gigabytes under the name of a file that is there."""
    (tmp_path / "big").mkdir()
    (tmp_path / "big" / "old.wav").touch()
    os.truncate(tmp_path / "big" / "old.wav", 10 * 2**30)
    before = tree(case)
    with pytest.raises(ReadError, match=r"differs \(3 bytes, this one 10737418240\)"):
        add_raw(case, [(tmp_path / "big" / "old.wav", "old.wav")])
    assert tree(case) == before


def test_all_that_can_not_come_in_is_counted(session: Path) -> None:
    for name in ("a.wav", "b.wav"):
        (session / name).write_bytes(b"")
    with pytest.raises(ReadError, match=r"a\.wav: is empty \(and 1 more files can't be added\); export or"):
        gather([session])
