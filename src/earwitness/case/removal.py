"""Raw files put aside again: out of ``raw/`` and ``takes.toml``, kept in ``removed/`` with their hash.

Nothing is ever lost: entries are kept in ``removed.toml`` before they leave ``takes.toml``, then each file is
renamed into ``removed/``, then ``removed.sha256`` lists it, and only then ``raw.sha256`` forgets it. Wherever
a kill comes, some list has the hash, and the same command completes what it began.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path
from typing import Final

from earwitness.case import durable
from earwitness.case.hash_list import list_bytes, read_list
from earwitness.case.layout import CaseFolder
from earwitness.case.raw_store import SHOWN, raw_files, read_hashes, remove_empty_folders, removed_path
from earwitness.case.source_files import source_digest
from earwitness.case.takes import drop_entries, entries_of, read_takes, stated_in
from earwitness.case.toml_text import TomlText
from earwitness.records.errors import CallError, CaseError, IntegrityError
from earwitness.records.takes import Take

_MOST_STARS: Final = 4
_HEAD: Final = (
    "# What takes.toml said of files that were removed. `earwitness add` of one of them brings it back.\n"
)
#: What stands above the entries of one file: where it was put.
_OF: Final = re.compile(rf"^# removed/(?P<hash>[0-9a-f]{{{SHOWN}}})/(?P<name>[^\n]+)\n", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Removed:
    """One raw file that was put aside: its name below ``raw/``, and where it lies now, below the case."""

    name: str
    kept: str

    @property
    def folder(self) -> str:
        """The folder to add to have it back under its old name."""
        return self.kept.removesuffix(f"/{self.name}")


def find_raw(case: CaseFolder, wanted: Sequence[str]) -> tuple[str, ...]:
    """Names of the raw files that `wanted` mean, sorted.

    Each is a name below ``raw/`` (which may stand before it), a folder below it, or a name in which ``*``
    stands for anything but a slash.

    Raises
    ------
    CallError
        One of them means no file of the case.
    """
    known = sorted({*read_hashes(case), *raw_files(case)})
    return tuple(sorted({name for one in wanted for name in _meant(one, known)}))


def remove_raw(case: CaseFolder, names: Sequence[str]) -> tuple[Removed, ...]:
    """Put the raw files `names` aside, and drop their entries. The caller holds the case's lock.

    Raises
    ------
    CaseError
        ``takes.toml`` can't be understood; a file is a stimulus that takes which stay were made with; other
        content lies where a file would be kept.
    IntegrityError
        A file isn't what was added: what is kept must be that.
    """
    recorded = dict(read_hashes(case))
    require_not_needed(case, names)
    hashes = {name: _digest(case, name, recorded.get(name)) for name in names}
    if not recorded.keys() >= hashes.keys():
        recorded |= hashes
        durable.write_atomically(case.raw_sha256, list_bytes(recorded, "raw"))
    _drop(case, hashes)
    for name, digest in hashes.items():
        source = case.raw / name
        if source.exists():
            durable.move(source, removed_path(case, name, digest), case.root)
        remove_empty_folders(case.raw, source.parent)
    kept = {name: removed_path(case, name, digest) for name, digest in hashes.items()}
    aside = read_removed(case) | {
        path.relative_to(case.removed).as_posix(): hashes[name] for name, path in kept.items()
    }
    durable.write_atomically(case.removed_sha256, list_bytes(aside, "removed"))
    left = {name: digest for name, digest in recorded.items() if name not in hashes}
    durable.write_atomically(case.raw_sha256, list_bytes(left, "raw"))
    return tuple(Removed(name, path.relative_to(case.root).as_posix()) for name, path in sorted(kept.items()))


def returning(case: CaseFolder, sources: Sequence[tuple[Path, str]]) -> tuple[Take, ...]:
    """What ``takes.toml`` said of those of `sources` that were removed and now come back as they were.

    A file comes back where it has the name below ``raw/`` and the content that it was removed with. Files
    that ``takes.toml`` has entries of are left out; a rule there doesn't count, as it didn't then.

    Parameters
    ----------
    sources
        Pairs of a file and its name below ``raw/``.

    Raises
    ------
    CaseError
        What ``removed.toml`` has of such a file can't be understood any more: a stimulus isn't there now.
    ReadError
        See `source_digest`.
    """
    text = _removed_text(case)
    sections = _sections(text)
    removed = {name for _, name in sections}
    candidates = {name: path for path, name in sources if name in removed}
    if not candidates:
        return ()
    stated = {take.path for take in entries_of(case, candidates.keys())}
    files = sorted({*raw_files(case), *(name for _, name in sources)})
    listed = read_removed(case)
    found: list[Take] = []
    for name, path in candidates.items():
        places = [place for place in sections if place[1] == name and _may_be(case, place, path)]
        digest = source_digest(path, name) if places and name not in stated else ""
        place = (digest[:SHOWN], name)
        if place in places and listed.get("/".join(place), digest) == digest:
            found += stated_in(_section(text, *sections[place]), {name}, files)
    return tuple(sorted(found, key=lambda take: take.id))


def require_not_needed(case: CaseFolder, names: Sequence[str]) -> None:
    """Refuse to remove a stimulus that takes which stay were made with.

    Raises
    ------
    CaseError
        The stimulus, the first such take, and how many more; or ``takes.toml`` can't be understood.
    """
    needing = [take for take in read_takes(case, leaving=names) if take.stimulus in names]
    if needing:
        more = f" and {len(needing) - 1} more takes, which stay" if len(needing) > 1 else ", which stays"
        problem = f"is the stimulus of raw/{needing[0].id}{more}"
        remedy = "remove them too, or name another stimulus in takes.toml"
        raise CaseError(f"raw/{needing[0].stimulus}", problem, remedy)


def read_removed(case: CaseFolder) -> dict[str, str]:
    """What ``removed.sha256`` lists: SHA-256 by name below ``removed/``.

    Raises
    ------
    CaseError
        If a line isn't one of `sha256sum`, or names a file twice.
    """
    return read_list(case.removed_sha256, "removed", "earwitness remove")


def compare_removed(case: CaseFolder) -> tuple[list[IntegrityError], list[str]]:
    """Removed files that are missing or have changed, and a note for each that no list has."""
    problems = []
    listed = read_removed(case)
    for name, digest in listed.items():
        path = case.removed / name
        if not path.is_file() or path.is_symlink():
            problems.append(IntegrityError(f"removed/{name}", "is missing", "restore it from a copy"))
        elif durable.file_digest(path) != digest:
            problem = "has changed since it was removed"
            problems.append(IntegrityError(f"removed/{name}", problem, "restore it from a copy"))
    leaving = {removed_path(case, name, digest) for name, digest in read_hashes(case).items()}
    there = [path for path in sorted(case.removed.rglob("*")) if path.is_file() and path not in leaving]
    names = [path.relative_to(case.removed).as_posix() for path in there]
    return problems, [f"removed/{name}: isn't in removed.sha256" for name in names if name not in listed]


def _meant(wanted: str, known: Sequence[str]) -> list[str]:
    plain = wanted.removeprefix("raw/").removesuffix("/")
    for candidate in (wanted, plain):
        if candidate in known:
            return [candidate]
    found = [name for name in known if name.startswith(f"{plain}/")]
    if not found and "*" in plain and plain.count("*") <= _MOST_STARS:
        pattern = re.compile("[^/]*".join(re.escape(part) for part in plain.split("*")))
        found = [name for name in known if pattern.fullmatch(name)]
    if not found:
        near = get_close_matches(plain, known, n=1)
        remedy = f"did you mean {near[0]}?" if near else "give names below raw/, or a pattern with *"
        raise CallError(f"raw/{plain} isn't in the case; {remedy}")
    return found


def _digest(case: CaseFolder, name: str, recorded: str | None) -> str:
    """The SHA-256 of a file that is to be removed, or that an interrupted removal has moved already."""
    path = case.raw / name
    if not path.exists():
        if recorded is None or not removed_path(case, name, recorded).is_file():
            raise IntegrityError(f"raw/{name}", "is missing", "restore it from a copy")
        return recorded
    digest = durable.file_digest(path)
    if recorded not in (None, digest):
        problem = f"has changed since it was added (SHA-256 {digest[:12]}…, was {recorded[:12]}…)"
        raise IntegrityError(f"raw/{name}", problem, "restore it from a copy")
    _refuse_other(removed_path(case, name, digest), case, digest)
    return digest


def _refuse_other(kept: Path, case: CaseFolder, digest: str) -> None:
    if kept.exists() and durable.file_digest(kept) != digest:
        shown = kept.relative_to(case.root).as_posix()
        raise CaseError(shown, "is there already and differs", "move it out of the case")


def _drop(case: CaseFolder, hashes: Mapping[str, str]) -> None:
    """Entries into ``removed.toml``, then out of ``takes.toml``."""
    text, dropped = drop_entries(case, hashes)
    if not dropped:
        return
    before = _removed_text(case)
    kept = {place: before[start:end] for place, (start, end) in _sections(before).items()}
    added = ""
    for name, entries in sorted(dropped.items()):
        place = removed_path(case, name, hashes[name]).relative_to(case.root).as_posix()
        section = f"# {place}{entries}"
        # an interrupted removal has written it already
        if kept.get((hashes[name][:SHOWN], name), "").rstrip("\n") != section.rstrip("\n"):
            added += f"\n{section}"
    if added:
        durable.write_atomically(case.removed_toml, ((before or _HEAD) + added).encode("utf-8"))
    durable.write_atomically(case.takes_toml, text.encode("utf-8"))


def _sections(text: str) -> dict[tuple[str, str], tuple[int, int]]:
    """Where in ``removed.toml`` the entries of a file stand, by the beginning of its hash and its name.

    Of a file that was removed more than once these are the last ones.
    """
    heads = list(_OF.finditer(text))
    bounds = pairwise([*(head.start() for head in heads), len(text)])
    return {(head["hash"], head["name"]): bound for head, bound in zip(heads, bounds, strict=True)}


def _removed_text(case: CaseFolder) -> str:
    """``removed.toml``; empty where nothing was removed."""
    if not case.removed_toml.exists():
        return ""
    try:
        return case.removed_toml.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise CaseError(case.removed_toml.name, "isn't UTF-8 text", "save it as UTF-8") from error


def _may_be(case: CaseFolder, place: tuple[str, str], path: Path) -> bool:
    """Whether a file has the size of a removed one, or that can't be told: before anybody reads it."""
    kept = case.removed.joinpath(*place)
    return not kept.is_file() or kept.stat().st_size == path.stat().st_size


def _section(text: str, start: int, end: int) -> TomlText:
    """One file's entries, on the lines on which they stand in the whole."""
    section = "\n" * text.count("\n", 0, start) + text[start:end]
    try:
        return TomlText("removed.toml", section, tomllib.loads(section))
    except ValueError as error:
        line = text.count("\n", 0, start) + 1
        remedy = "correct what stands below, or remove it"
        raise CaseError("removed.toml", "isn't valid TOML", remedy, f"line {line}") from error
