"""Which files a person means by the files and folders that they give, and how they come into the case."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from earwitness.case.layout import CaseFolder
from earwitness.case.raw_store import Added, all_or_nothing, land
from earwitness.case.source_files import require_source
from earwitness.case.takes import Changes, write_takes
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take


def gather(given: Sequence[Path]) -> tuple[tuple[Path, str], ...]:
    """Each file with its name below ``raw/``: a file by its own name, a folder's files with their subfolders.

    Hidden files in a folder (a name that begins with a dot) are left out; linked folders aren't entered.

    Raises
    ------
    ReadError
        A path isn't there, a folder holds no file or can't be listed, two files would have the same name in
        the case, or one of them can't come in (see `source_files.opened`): the first, and how many more.
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
    _require_all(found)
    return tuple((file, name) for name, file in sorted(found.items()))


def take_in(
    case: CaseFolder,
    sources: Sequence[tuple[Path, str]],
    takes: Sequence[Take],
    looked_at: Mapping[str, str] | None = None,
) -> tuple[Added, Changes]:
    """Copy `sources` into the case and state `takes` in ``takes.toml``: both, or the case stays as it was.

    The caller holds the case's lock.

    Parameters
    ----------
    looked_at
        SHA-256 of files by name below ``raw/`` when they were looked at.

    Raises
    ------
    ReadError
        See `raw_store.add_raw`; a file isn't what it was when it was looked at.
    CaseError
        See `takes.write_takes`.
    """
    with all_or_nothing(case) as landed:
        added = land(case, sources, landed, looked_at or {})
        return added, write_takes(case, takes)


def _require_all(found: dict[str, Path]) -> None:
    """Refuse the first file that can't come in, and say how many more."""
    refused: list[ReadError] = []
    for name, path in sorted(found.items()):
        try:
            require_source(path, name)
        except ReadError as error:
            refused.append(error)
    if refused:
        first, more = refused[0], len(refused) - 1
        problem = f"{first.problem} (and {more} more files can't be added)" if more else first.problem
        raise ReadError(first.file, problem, first.remedy)


def _below(folder: Path) -> list[tuple[Path, str]]:
    files = []
    for here, folders, names in os.walk(folder, onerror=_refuse_folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in [*names, *(f for f in folders if (Path(here) / f).is_symlink())]:
            if not name.startswith("."):
                path = Path(here) / name
                files.append((path, path.relative_to(folder).as_posix()))
    return files


def _refuse_folder(error: OSError) -> None:
    """Refuse a folder that can't be listed: what is in it would be left out without a word."""
    reason = os.strerror(error.errno or 0).lower()
    raise ReadError(str(error.filename), f"can't be listed ({reason})", "make it readable for you") from error
