from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive, shared
from earwitness.records.errors import BusyError, CaseError

HOLDER = """
import sys
from pathlib import Path
from earwitness.case.layout import CaseFolder
from earwitness.case import lock
with getattr(lock, sys.argv[2])(CaseFolder(Path(sys.argv[1]))):
    print("held", flush=True)
    sys.stdin.readline()
"""


@contextmanager
def held(case: CaseFolder, kind: str) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the case."""
    command = [sys.executable, "-c", HOLDER, str(case.root), kind]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_the_second_writer_is_refused_by_name(case: CaseFolder) -> None:
    with held(case, "exclusive") as other:
        for kind in (exclusive, shared):
            with pytest.raises(BusyError) as caught, kind(case):
                pass
            message = str(caught.value)
            start = f"another earwitness is building in {case.root} (process {other.pid}, since 20"
            assert message.startswith(start)
            assert message.endswith("); wait for it or stop it")


def test_the_lock_dies_with_its_process(case: CaseFolder) -> None:
    with held(case, "exclusive") as other:
        os.kill(other.pid, signal.SIGKILL)
        other.wait()
        with exclusive(case):
            assert case.lock.read_text().startswith(f"process {os.getpid()}, since ")
    assert case.lock.read_text() == ""


def test_readers_share_and_keep_a_writer_out(case: CaseFolder) -> None:
    with held(case, "shared"):
        with shared(case):
            pass
        with pytest.raises(BusyError, match="another earwitness is reading"), exclusive(case):
            pass
    with exclusive(case):
        pass


def test_an_error_inside_frees_the_lock(case: CaseFolder) -> None:
    with pytest.raises(KeyError), exclusive(case):
        raise KeyError
    with exclusive(case):
        pass


def test_refuses_a_lock_that_is_a_link(case: CaseFolder) -> None:
    case.lock.symlink_to(case.root / "victim")
    with pytest.raises(CaseError, match=r"\.lock: can't be opened"), exclusive(case):
        pass
    assert not (case.root / "victim").exists()
