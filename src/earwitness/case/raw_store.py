"""Raw files: copied in as they came, read-only, hashed, never altered.

A kill while files are added leaves at worst files in ``raw/`` that ``raw.sha256`` doesn't list yet; adding
the same files again adopts them.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.records.errors import CaseError, IntegrityError, ReadError

_LINE: Final = re.compile(r"([0-9a-f]{64}) [ *](.+)")
_LONGEST_NAME: Final = 255


@dataclass(frozen=True, slots=True)
class Added:
    """What `add_raw` did: names of files that are new, and of those that were there already."""

    new: tuple[str, ...]
    same: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RawState:
    """The raw files as ``raw.sha256`` lists them.

    `sha256` maps each name to its hash; `raw_digest` is the SHA-256 of the sorted list; `unrecorded` are
    files in ``raw/`` that the list doesn't have.
    """

    sha256: Mapping[str, str]
    raw_digest: str
    unrecorded: tuple[str, ...]


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

    Every file lands before ``raw.sha256`` is written. Nothing is copied if any of them is refused for its
    name or its content. The caller holds the case's lock.

    Raises
    ------
    ReadError
        A source is no regular file, is empty, is a link that leaves the folder it came from, its name can't
        be kept, or another file has that name already (both hashes are named).
    """
    recorded = dict(read_hashes(case))
    hashed = [(path, _checked_name(path, name), _source_digest(path, name)) for path, name in sources]
    planned: dict[str, str] = {}
    for path, name, digest in hashed:
        _refuse_other(case, (path, name), digest, {**recorded, **planned})
        planned[name] = digest
    seen = _read_seen(case)
    new = sorted(name for name in planned if name not in recorded)
    for path, name, digest in hashed:
        target = case.raw / name
        if name in recorded or target.exists():
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        _copy(path, name, target, digest)
    for folder in sorted({(case.raw / name).parent for name in new}):
        durable.flush_folder(folder)
    for name in new:
        seen[name] = _as_seen(case.raw / name, planned[name])
    if new:
        durable.write_atomically(case.raw_sha256, _hash_lines(recorded | planned))
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
    if not case.raw_sha256.exists():
        return {}
    listed: dict[str, str] = {}
    text = case.raw_sha256.read_bytes().decode("utf-8", "replace")
    for number, line in enumerate(text.split("\n"), 1):
        if not line:
            continue
        match = _LINE.fullmatch(line)
        name = match[2].removeprefix("raw/") if match else ""
        if match is None or _bad_name(name) or name in listed:
            problem = "lists a file twice" if name in listed else "isn't a hash and a name in raw/"
            remedy = "restore the file from a copy; it is written by `earwitness add` alone"
            raise CaseError("raw.sha256", problem, remedy, f"line {number}")
        listed[name] = match[1]
    return listed


def check_raw(case: CaseFolder, *, full: bool) -> RawState:
    """The raw files' hashes, after making sure that the files are still what was added.

    A file whose size, time and inode are those of its last hashing counts as unchanged, unless `full`: then
    every file is hashed.

    Raises
    ------
    IntegrityError
        A raw file is missing or has changed: its name, and how many more.
    """
    state, problems = compare_raw(case, full=full)
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
    problems = []
    for name, digest in sorted(listed.items()):
        path = case.raw / name
        try:
            now = path.lstat()
        except (FileNotFoundError, NotADirectoryError):
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
    return RawState(listed, hashlib.sha256(_hash_lines(listed)).hexdigest(), unrecorded), problems


def _checked_name(path: Path, name: str) -> str:
    if problem := _bad_name(name):
        remedy = "rename the file, with letters, digits and the like"
        raise ReadError(str(path).encode("utf-8", "replace").decode(), problem, remedy)
    return name


def _bad_name(name: str) -> str:
    """Why `name` can't stand below ``raw/``; empty if it can."""
    parts = PurePosixPath(name).parts
    if not name or name != "/".join(parts) or name.startswith("/") or ".." in parts:
        return "its name isn't a plain path below raw/"
    if any(part.startswith(".") for part in parts):
        return "its name begins with a dot"
    if not name.isprintable() or "\\" in name:
        return "its name holds a character that can't be printed, or a backslash"
    if any(len(part.encode("utf-8")) > _LONGEST_NAME for part in parts):
        return "its name is too long"
    return ""


def _open_regular(path: Path, name: str) -> int:
    """A descriptor of a regular file; never waits on a FIFO, never leaves the folder that was given."""
    parts = PurePosixPath(name).parts
    folder = path.parents[len(parts) - 1] if path.parts[-len(parts) :] == parts else path.parent
    try:
        if not path.resolve(strict=True).is_relative_to(folder.resolve(strict=True)):
            raise ReadError(str(path), "is a link that leaves its folder", "give the file itself")
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    except (OSError, RuntimeError) as error:
        reason = os.strerror(error.errno or 0).lower() if isinstance(error, OSError) else "links in a circle"
        raise ReadError(str(path), f"can't be opened ({reason})", "give a file that can be read") from error
    status = os.fstat(descriptor)
    if not stat.S_ISREG(status.st_mode) or status.st_size == 0:
        os.close(descriptor)
        problem = "is empty" if stat.S_ISREG(status.st_mode) else "is no regular file"
        raise ReadError(str(path), problem, "give a file that holds a measurement")
    return descriptor


def _source_digest(path: Path, name: str) -> str:
    with os.fdopen(_open_regular(path, name), "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
    descriptor = _open_regular(path, name)
    try:
        copied = durable.copy_in(descriptor, target)
    finally:
        os.close(descriptor)
    if copied != digest:
        target.unlink()
        raise ReadError(
            str(path), "changed while it was copied", "wait until it is complete, then add it again"
        )


def _hash_lines(listed: Mapping[str, str]) -> bytes:
    """``raw.sha256`` as `sha256sum --check` reads it from the case's folder."""
    return "".join(f"{digest}  raw/{name}\n" for name, digest in sorted(listed.items())).encode("utf-8")


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
