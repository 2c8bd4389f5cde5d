"""Files on their way into a case: opened without waiting, refused for what they are.

A file that a program still writes to is refused too. On Linux a read lease tells: the system grants none on
a file that is open for writing. Elsewhere, and where a file system knows no leases, only a change of size or
time while the file is read tells.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import os
import signal
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, TypeVar

from earwitness.case.hash_list import bad_name
from earwitness.records.errors import ReadError

Answer = TypeVar("Answer")

#: What no measurement could be in, by the type bits of its mode.
_OTHER_KINDS: Final = {
    stat.S_IFIFO: "is a pipe",
    stat.S_IFSOCK: "is a socket",
    stat.S_IFCHR: "is a device",
    stat.S_IFBLK: "is a device",
    stat.S_IFDIR: "is a folder",
}


def require_source(path: Path, name: str) -> None:
    """Refuse what can't come into a case as ``raw/<name>``, without reading it.

    Raises
    ------
    ReadError
        See `opened`.
    """
    with opened(path, name):
        pass


def source_digest(path: Path, name: str) -> str:
    """SHA-256 of a file that is to be ``raw/<name>``.

    Raises
    ------
    ReadError
        See `opened`.
    """
    with opened(path, name) as descriptor, open(descriptor, "rb", closefd=False) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def opened(path: Path, name: str) -> Iterator[int]:
    """A descriptor of a regular file; never waits on a pipe, never leaves the folder that was given.

    Raises
    ------
    ReadError
        The name can't be kept; it is no regular file, is empty, can't be opened, is a link that leaves the
        folder that was given, is still being written, or changes while it is open here.
    """
    if problem := bad_name(name):
        raise ReadError(_shown(path), problem, "rename the file, with letters, digits and the like")
    _require_inside(path, name)
    _require_regular(path)
    descriptor = _asked(path, _open_without_waiting)
    try:
        before = os.fstat(descriptor)
        if before.st_size == 0:
            raise ReadError(_shown(path), "is empty", "export or record it again")
        if _open_for_writing(descriptor):
            raise _unfinished(path, "is still being written")
        yield descriptor
        after = os.fstat(descriptor)
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            raise _unfinished(path, "changed while it was read")
    finally:
        os.close(descriptor)


def unfinished(path: Path) -> ReadError:
    """The refusal of a file that isn't what it was when it was looked at."""
    return _unfinished(path, "changed while it was copied")


def _unfinished(path: Path, problem: str) -> ReadError:
    return ReadError(_shown(path), problem, "wait until it is complete, then add it again")


def _require_inside(path: Path, name: str) -> None:
    """Refuse a link that leads out of the folder that was given."""
    depth = len(Path(name).parts)
    folder = path.parents[depth - 1] if path.parts[-depth:] == Path(name).parts else path.parent
    target = _asked(path, lambda p: p.resolve(strict=True))
    if not target.is_relative_to(folder.resolve()):
        raise ReadError(_shown(path), "is a link that leaves its folder", "give the file itself")


def _require_regular(path: Path) -> None:
    kind = stat.S_IFMT(_asked(path, os.stat).st_mode)
    if kind != stat.S_IFREG:
        problem = _OTHER_KINDS[kind]
        if path.is_symlink():
            problem = problem.replace("is a", "is a link to a", 1)
        raise ReadError(_shown(path), f"{problem}, not a file", "give a file that holds a measurement")


def _open_without_waiting(path: Path) -> int:
    return os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)


def _asked(path: Path, ask: Callable[[Path], Answer]) -> Answer:
    """What the system says of a path, or why it can't."""
    try:
        return ask(path)
    except RuntimeError as error:
        raise ReadError(_shown(path), "is a link in a circle", "give the file itself") from error
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise ReadError(_shown(path), "is a link in a circle", "give the file itself") from error
        reason = os.strerror(error.errno or 0).lower()
        raise ReadError(
            _shown(path), f"can't be opened ({reason})", "give a file that can be read"
        ) from error


def _open_for_writing(descriptor: int) -> bool:
    """Whether a program has the file open for writing; False where that can't be told."""
    if sys.platform != "linux":
        return False
    # one who opens the file in this moment breaks the lease, and the default signal would end this process
    fcntl.fcntl(descriptor, fcntl.F_SETSIG, signal.SIGURG)
    try:
        fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_RDLCK)
    except OSError as error:
        return error.errno == errno.EAGAIN
    fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    return False


def _shown(path: Path) -> str:
    return str(path).encode("utf-8", "replace").decode()
