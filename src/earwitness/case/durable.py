"""Writing that survives a kill: temporary name, flush to the disk, rename.

Nothing else in the package renames or flushes. Each such act first passes `checkpoint`, which does nothing; a
test replaces it with one that kills the process there.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

#: What the name of every temporary file and folder ends in.
TEMPORARY: Final = ".partial"
_BLOCK: Final = 1 << 20


def checkpoint(name: str) -> None:
    """A point between two acts on the disk; `name` says which act follows."""


def temporary_beside(target: Path) -> Path:
    """The hidden name under which `target` is prepared, in the same folder and of bounded length."""
    short = hashlib.sha256(target.name.encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return target.with_name(f".{short}{TEMPORARY}")


def is_temporary(name: str) -> bool:
    """Whether `name` is one of `temporary_beside`."""
    return name.startswith(".") and name.endswith(TEMPORARY)


def write_atomically(path: Path, data: bytes, *, flush: bool = True) -> None:
    """Put `data` at `path`: after a kill the old content or the new is there, never a mixture.

    Without `flush` that holds for a killed process, but not for a machine that loses power.
    """
    with _temporary_of(path) as temporary:
        with temporary.open("wb") as file:
            file.write(data)
            if flush:
                _flush(file.fileno(), path.name)
        _rename(temporary, path)
    if flush:
        flush_folder(path.parent)


def copy_in(source: int, target: Path) -> str:
    """Copy the open file `source` (a descriptor) to `target`; the SHA-256 of what was copied.

    `target` can be read alone. Its folder is not flushed: the caller does it once for many files
    (`flush_folder`).
    """
    digest = hashlib.sha256()
    with _temporary_of(target) as temporary:
        with temporary.open("wb") as file:
            while block := os.read(source, _BLOCK):
                digest.update(block)
                file.write(block)
            os.fchmod(file.fileno(), 0o444)
            _flush(file.fileno(), target.name)
        _rename(temporary, target)
    return digest.hexdigest()


@contextmanager
def restored_on_error(path: Path) -> Iterator[None]:
    """Put the file `path` back as it was, or not there, if what happens inside ends in an error.

    Its copy lies beside it meanwhile, so that it comes back on a disk that is full, too.
    """
    existed = path.exists()
    with _temporary_of(path.with_name(f"{path.name} before")) as aside:
        if existed:
            shutil.copyfile(path, aside)
        try:
            yield
        except BaseException:
            if existed:
                aside.replace(path)
            else:
                path.unlink(missing_ok=True)
            raise


def move(source: Path, target: Path, top: Path) -> None:
    """Rename a file to `target`, whose folders are made as needed below `top`, which is there already."""
    target.parent.mkdir(parents=True, exist_ok=True)
    _rename(source, target)
    for folder in (source.parent, *target.parents[: len(target.relative_to(top).parts)]):
        flush_folder(folder)


def replace_folder(temporary: Path, target: Path) -> None:
    """Flush the prepared folder `temporary` and everything in it, and put it in place of `target`.

    A kill between the two renames leaves no `target`, but never one that is mixed.
    """
    for folder, _, files in os.walk(temporary):
        for name in sorted(files):
            with (Path(folder) / name).open("rb") as file:
                _flush(file.fileno(), name)
        flush_folder(Path(folder))
    old = temporary_beside(target.with_name(f"{target.name} before"))
    remove(old)
    if os.path.lexists(target):
        _rename(target, old)
    _rename(temporary, target)
    flush_folder(target.parent)
    remove(old)


@contextmanager
def prepared_folder(target: Path) -> Iterator[Path]:
    """An empty temporary folder beside `target`, which `replace_folder` may take; gone afterwards."""
    temporary = temporary_beside(target)
    remove(temporary)
    temporary.mkdir(parents=True)
    try:
        yield temporary
    finally:
        remove(temporary)


def flush_folder(folder: Path) -> None:
    """Flush the names in `folder` to the disk."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _flush(descriptor, folder.name)
    finally:
        os.close(descriptor)


def remove(path: Path) -> None:
    """Remove a file or a folder, if it is there. A link is removed, not followed."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def remove_temporaries(folder: Path) -> None:
    """Remove what a killed process left under `folder`. Only the holder of the case's lock may call it."""
    for here, folders, files in os.walk(folder):
        for name in [*folders, *files]:
            if is_temporary(name):
                remove(Path(here) / name)
        folders[:] = [name for name in folders if not is_temporary(name)]


def file_digest(path: Path) -> str:
    """SHA-256 of a file's content, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _temporary_of(target: Path) -> Iterator[Path]:
    """The temporary name beside `target`, at which nothing lies before, nor afterwards."""
    temporary = temporary_beside(target)
    temporary.unlink(missing_ok=True)
    try:
        yield temporary
    finally:
        temporary.unlink(missing_ok=True)


def _flush(descriptor: int, name: str) -> None:
    checkpoint(f"flush {name}")
    os.fsync(descriptor)


def _rename(source: Path, target: Path) -> None:
    checkpoint(f"rename to {target.name}")
    source.replace(target)
