"""Raw files: copied in as they came, read-only, hashed, never altered.

A kill while files are added leaves at worst files in ``raw/`` that ``raw.sha256`` doesn't list yet; adding
the same files again adopts them.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from earwitness.case import durable
from earwitness.case.hash_list import list_bytes, read_list
from earwitness.case.layout import CaseFolder
from earwitness.case.source_files import opened, require_source, source_digest, unfinished
from earwitness.records.errors import CaseError, IntegrityError, ReadError

#: So many digits of a hash name a folder in ``removed/``.
SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class Added:
    """What `add_raw` did: names of files that are new, and of those that were there already."""

    new: tuple[str, ...]
    same: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RawState:
    """The raw files as ``raw.sha256`` lists them.

    `sha256` maps each name to its hash; `raw_digest` is the SHA-256 of the sorted list; `unrecorded` are
    files in ``raw/`` that the list doesn't have; `leaving` those that it has and that are in ``removed/``: a
    removal was interrupted.
    """

    sha256: Mapping[str, str]
    raw_digest: str
    unrecorded: tuple[str, ...]
    leaving: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Seen:
    """A raw file when it was hashed last."""

    size: int
    mtime_ns: int
    inode: int
    sha256: str

    def fits(self, now: os.stat_result) -> bool:
        return (self.size, self.mtime_ns, self.inode) == (now.st_size, now.st_mtime_ns, now.st_ino)


def add_raw(case: CaseFolder, sources: Sequence[tuple[Path, str]]) -> Added:
    """Copy `sources` into the case: pairs of a file and its name below ``raw/`` (with forward slashes).

    All of them come in, or the case stays as it was. The caller holds the case's lock.

    Raises
    ------
    ReadError
        A source is no regular file, is empty, is a link that leaves the folder it came from, is still being
        written, its name can't be kept, or another file has that name already (both hashes are named).
    """
    with all_or_nothing(case) as landed:
        return land(case, sources, landed, {})


@contextmanager
def all_or_nothing(case: CaseFolder) -> Iterator[list[Path]]:
    """Whatever `land` brings into the case inside goes again if an error ends it; so do its entries."""
    landed: list[Path] = []
    try:
        with durable.restored_on_error(case.raw_sha256), durable.restored_on_error(case.takes_toml):
            yield landed
    except BaseException:
        for target in reversed(landed):
            durable.remove(target)
            remove_empty_folders(case.raw, target.parent)
        raise


def land(
    case: CaseFolder,
    sources: Sequence[tuple[Path, str]],
    landed: list[Path],
    looked_at: Mapping[str, str],
) -> Added:
    """What `add_raw` does, inside of `all_or_nothing`, which gave `landed`.

    Every file lands before ``raw.sha256`` is written. One that `looked_at` has with another hash is refused.
    """
    recorded = read_hashes(case)
    planned = _planned(case, sources, recorded)
    for path, name in sources:
        if looked_at.get(name, planned[name]) != planned[name]:
            remedy = "wait until it is complete, then add it again"
            raise ReadError(str(path), "has changed since it was looked at", remedy)
    new = sorted(name for name in planned if name not in recorded)
    for path, name in sources:
        target = case.raw / name
        if not target.exists():
            landed.append(target)
            target.parent.mkdir(parents=True, exist_ok=True)
            _copy(path, name, target, planned[name])
    for folder in sorted({(case.raw / name).parent for name in planned}):
        durable.flush_folder(folder)
    seen = _read_seen(case) | {name: _as_seen(case.raw / name, planned[name]) for name in new}
    if new:
        durable.write_atomically(case.raw_sha256, list_bytes({**recorded, **planned}, "raw"))
    _write_seen(case, seen)
    return Added(tuple(new), tuple(sorted(name for name in planned if name in recorded)))


def raw_files(case: CaseFolder) -> tuple[str, ...]:
    """Names of the files below ``raw/``, sorted; hidden ones (a name that begins with a dot) left out.

    Raises
    ------
    CaseError
        If one of them is a link, or no regular file.
    """
    names = []
    for here, folders, files in os.walk(case.raw):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for file in [*folders, *files]:
            path = Path(here) / file
            mode = path.lstat().st_mode
            if file.startswith(".") or stat.S_ISDIR(mode):
                continue
            name = path.relative_to(case.raw).as_posix()
            if not stat.S_ISREG(mode):
                raise CaseError(
                    f"raw/{name}", "is a link or no regular file", "remove it and add the file itself"
                )
            names.append(name)
    return tuple(sorted(names))


def read_hashes(case: CaseFolder) -> Mapping[str, str]:
    """What ``raw.sha256`` lists: SHA-256 by name. Empty where the file isn't there yet.

    Raises
    ------
    CaseError
        If a line isn't one of `sha256sum`, or names a file twice.
    """
    return read_list(case.raw_sha256, "raw", "earwitness add")


def check_raw(case: CaseFolder, *, full: bool) -> RawState:
    """The raw files' hashes, after making sure that the files are still what was added.

    A file whose size, time and inode are those of its last hashing counts as unchanged, unless `full`: then
    every file is hashed.

    Raises
    ------
    IntegrityError
        A raw file is missing or has changed, or its removal was interrupted: its name, and how many more.
    """
    state, problems = compare_raw(case, full=full)
    remedy = "give `earwitness remove` again"
    problems += [IntegrityError(f"raw/{n}", "was about to be removed", remedy) for n in state.leaving]
    if problems:
        more = len(problems) - 1
        first = problems[0]
        if not more:
            raise first
        raise IntegrityError(first.file, f"{first.problem} (and {more} more)", first.remedy)
    return state


def compare_raw(case: CaseFolder, *, full: bool) -> tuple[RawState, list[IntegrityError]]:
    """As `check_raw`, with every problem instead of the first."""
    listed = read_hashes(case)
    seen = _read_seen(case)
    current: dict[str, _Seen] = {}
    problems, leaving = [], []
    for name, digest in sorted(listed.items()):
        path = case.raw / name
        try:
            now = path.lstat()
        except (FileNotFoundError, NotADirectoryError):
            aside = removed_path(case, name, digest)
            if aside.is_file() and durable.file_digest(aside) == digest:
                leaving.append(name)
                continue
            problems.append(IntegrityError(f"raw/{name}", "is missing", "restore it from a copy"))
            continue
        known = seen.get(name)
        if full or known is None or not known.fits(now) or known.sha256 != digest:
            known = _as_seen(path, durable.file_digest(path) if stat.S_ISREG(now.st_mode) else "")
        if known.sha256 != digest:
            problem = f"has changed since it was added (SHA-256 {known.sha256[:12]}…, was {digest[:12]}…)"
            problems.append(IntegrityError(f"raw/{name}", problem, "restore it from a copy"))
            continue
        current[name] = known
    if current != seen:
        _write_seen(case, current)
    unrecorded = tuple(name for name in raw_files(case) if name not in listed)
    digest = hashlib.sha256(list_bytes(listed, "raw")).hexdigest()
    return RawState(listed, digest, unrecorded, tuple(leaving)), problems


def removed_path(case: CaseFolder, name: str, digest: str) -> Path:
    """Where the raw file `name` with that SHA-256 lies once it is removed."""
    return case.removed / digest[:SHOWN] / name


def _planned(
    case: CaseFolder, sources: Sequence[tuple[Path, str]], recorded: Mapping[str, str]
) -> dict[str, str]:
    """SHA-256 by name of what is to be added, after everything that can be refused was looked at."""
    for path, name in sources:
        require_source(path, name)
        _refuse_other_size(case, path, name)
    planned: dict[str, str] = {}
    for path, name in sources:
        digest = source_digest(path, name)
        _refuse_other(case, (path, name), digest, {**recorded, **planned})
        planned[name] = digest
    return planned


def _refuse_other_size(case: CaseFolder, path: Path, name: str) -> None:
    """Refuse a file that can't be the one of that name, before anybody reads it."""
    there = case.raw / name
    if not there.is_file():
        return
    sizes = there.stat().st_size, path.stat().st_size
    if sizes[0] != sizes[1]:
        problem = f"raw/{name} is there already and differs ({sizes[0]} bytes, this one {sizes[1]})"
        raise ReadError(str(path), problem, "give it another name; raw files are never replaced")


def _refuse_other(case: CaseFolder, source: tuple[Path, str], digest: str, listed: Mapping[str, str]) -> None:
    """Refuse a file whose name already stands for other content, or runs through a file."""
    path, name = source
    for folder in list(PurePosixPath(name).parents)[:-1]:
        if str(folder) in listed or (case.raw / folder).is_file():
            raise ReadError(str(path), f"raw/{folder} is a file, not a folder", "give it another name")
    there = listed.get(name)
    if there is None and (case.raw / name).exists():
        there = durable.file_digest(case.raw / name) if (case.raw / name).is_file() else "a folder"
    if there is not None and there != digest:
        problem = f"raw/{name} is there already and differs (SHA-256 {there}, this one {digest})"
        raise ReadError(str(path), problem, "give it another name; raw files are never replaced")


def _copy(path: Path, name: str, target: Path, digest: str) -> None:
    with opened(path, name) as descriptor:
        copied = durable.copy_in(descriptor, target)
    if copied != digest:
        raise unfinished(path)


def remove_empty_folders(top: Path, folder: Path) -> None:
    """Remove `folder` and those above it, as long as nothing is in them and they lie below `top`."""
    while folder != top and folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
        folder = folder.parent


def _as_seen(path: Path, digest: str) -> _Seen:
    status = path.lstat()
    return _Seen(status.st_size, status.st_mtime_ns, status.st_ino, digest)


def _read_seen(case: CaseFolder) -> dict[str, _Seen]:
    """The stat cache; empty where it isn't there or a kill without power cut it."""
    try:
        entries = json.loads(case.raw_stat.read_bytes())
        return {name: _Seen(*entry) for name, entry in entries.items()}
    except (FileNotFoundError, ValueError, TypeError, AttributeError, RecursionError):
        return {}


def _write_seen(case: CaseFolder, seen: Mapping[str, _Seen]) -> None:
    entries = {n: [s.size, s.mtime_ns, s.inode, s.sha256] for n, s in sorted(seen.items())}
    case.build.mkdir(exist_ok=True)
    durable.write_atomically(case.raw_stat, json.dumps(entries).encode("utf-8"), flush=False)
