"""Which files a person means by the files and folders that they give, and what each is called in the case."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from earwitness.records.errors import ReadError


def gather(given: Sequence[Path]) -> tuple[tuple[Path, str], ...]:
    """Each file with its name below ``raw/``: a file by its own name, a folder's files with their subfolders.

    Hidden files in a folder (a name that begins with a dot) are left out; linked folders aren't entered.

    Raises
    ------
    ReadError
        A path isn't there, a folder holds no file, or two files would have the same name in the case.
    """
    found: dict[str, Path] = {}
    for path in given:
        files = _below(path) if path.is_dir() else [(path, path.name)]
        if not files:
            raise ReadError(str(path), "holds no file", "give a folder with measurements, or the files")
        for file, name in files:
            if not os.path.lexists(file):
                raise ReadError(str(file), "isn't there", "look at the path")
            if name in found and found[name] != file:
                problem = f"would be raw/{name}, as {found[name]} would"
                raise ReadError(str(file), problem, "add them one after the other, under different names")
            found[name] = file
    return tuple((file, name) for name, file in sorted(found.items()))


def _below(folder: Path) -> list[tuple[Path, str]]:
    files = []
    for here, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in [*names, *(f for f in folders if (Path(here) / f).is_symlink())]:
            if not name.startswith("."):
                path = Path(here) / name
                files.append((path, path.relative_to(folder).as_posix()))
    return files
