"""One writer, or any number of readers, at a time: `flock` on the case's ``.lock``.

The lock dies with the process that holds it, so nothing has to be cleaned up after a kill.
"""

from __future__ import annotations

import datetime as dt
import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager

from earwitness.case.layout import CaseFolder
from earwitness.records.errors import BusyError, CaseError


@contextmanager
def exclusive(case: CaseFolder) -> Iterator[None]:
    """Hold the case for writing.

    Raises
    ------
    BusyError
        At once, if another process writes to the case or reads it.
    """
    descriptor = _opened(case)
    try:
        _take(descriptor, fcntl.LOCK_EX, case)
        since = dt.datetime.now().astimezone().isoformat(sep=" ", timespec="seconds")
        os.truncate(descriptor, 0)
        os.pwrite(descriptor, f"process {os.getpid()}, since {since}\n".encode("ascii"), 0)
        try:
            yield
        finally:
            os.truncate(descriptor, 0)
    finally:
        os.close(descriptor)


@contextmanager
def shared(case: CaseFolder) -> Iterator[None]:
    """Hold the case for reading, beside other readers.

    Raises
    ------
    BusyError
        At once, if another process writes to the case.
    """
    descriptor = _opened(case)
    try:
        _take(descriptor, fcntl.LOCK_SH, case)
        yield
    finally:
        os.close(descriptor)


def _opened(case: CaseFolder) -> int:
    try:
        return os.open(case.lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o644)
    except OSError as error:
        problem = f"can't be opened ({os.strerror(error.errno or 0).lower()})"
        raise CaseError(str(case.lock), problem, "make the case's folder writable for you") from error


def _take(descriptor: int, kind: int, case: CaseFolder) -> None:
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        raise BusyError(_who(descriptor, case)) from None


def _who(descriptor: int, case: CaseFolder) -> str:
    """Who holds the lock: readers leave room for one more reader, a writer doesn't."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(descriptor, 200, 0).decode("ascii", "replace").strip()
        known = f" ({holder})" if holder else ""
        return f"another earwitness is building in {case.root}{known}; wait for it or stop it"
    return f"another earwitness is reading {case.root}; wait until it has finished"
