"""A digest of the code that a step may run, so that a changed program builds again."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from pathlib import Path

import earwitness


@cache
def _floor_digest(floor: str) -> str:
    package = Path(str(files(earwitness)))
    folder = package / floor
    sources = sorted(folder.rglob("*.py")) if folder.is_dir() else [package / f"{floor}.py"]
    if not sources:
        raise ValueError(f"{floor!r} is no floor of the package")
    digest = hashlib.sha256()
    for source in sources:
        content = source.read_bytes()
        digest.update(f"{source.relative_to(package).as_posix()}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


def source_digest(floors: Sequence[str]) -> str:
    """SHA-256 of all Python files of the subpackages (or single modules) `floors`, in any order.

    It is read once a process: the code that runs is the code that was imported.

    Raises
    ------
    ValueError, OSError
        If there is no such floor.
    """
    each = "\n".join(f"{floor} {_floor_digest(floor)}" for floor in sorted(set(floors)))
    return hashlib.sha256(each.encode()).hexdigest()
