"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from earwitness.case.drives import parse_drive
from earwitness.case.intake import gather
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.raw_store import add_raw
from earwitness.case.takes import read_takes, write_takes
from earwitness.measurement.recognise import recognise
from earwitness.records.errors import CallError, ReadError
from earwitness.records.takes import Drive, Take, TakeId, TakeKind


@dataclass(frozen=True)
class Intake:
    """Files that were looked at: where each lies, what it was taken for, and what can't be told.

    `sources` are pairs of a file and its name below ``raw/``; `doubts` pairs of a name and one line.
    """

    sources: tuple[tuple[Path, str], ...]
    takes: tuple[Take, ...]
    doubts: tuple[tuple[str, str], ...]

    def require_no_doubt(self) -> None:
        """Refuse, naming the first doubtful file, where one is left."""
        if self.doubts:
            path, doubt = self.doubts[0]
            more = f" (and {len(self.doubts) - 1} more)" if len(self.doubts) > 1 else ""
            remedy = "rename it, give --drive, or write its entry in takes.toml first"
            raise ReadError(path, f"{doubt}{more}", remedy)


@dataclass(frozen=True, slots=True)
class Accepted:
    """What came of it: files by name, and the takes whose entries were corrected."""

    new_files: tuple[str, ...]
    same_files: tuple[str, ...]
    corrected: tuple[TakeId, ...]


def look_at(root: Path, files: Sequence[Path], *, drive: str | None = None) -> Intake:
    """What `files` (folders with everything below them) would be in the case at `root`; changes nothing.

    What ``takes.toml`` says of a file already wins over its name.

    Raises
    ------
    CallError
        `drive` isn't one, a file isn't there, or a folder holds none.
    """
    case = CaseFolder.open(root)
    sources = gather(files)
    stated = {take.path: take for take in read_takes(case, awaited={name for _, name in sources})}
    stimulus = next((t.path for t in stated.values() if t.key.kind is TakeKind.STIMULUS), None)
    names = [name for _, name in sources if name not in stated]
    recognised = recognise(names, drive=_drive(drive), stimulus=stimulus)
    return Intake(
        sources=sources,
        takes=tuple(r.take for r in recognised if r.take is not None),
        doubts=tuple((r.path, doubt) for r in recognised if r.take is None for doubt in r.doubts),
    )


def accept(root: Path, intake: Intake) -> Accepted:
    """Copy the files of an intake into the case and write their takes.

    Raises
    ------
    BusyError
        Another process works on the case.
    FileError
        A doubt is left, or a file can't be taken in; then ``takes.toml`` is as it was.
    """
    intake.require_no_doubt()
    case = CaseFolder.open(root)
    with exclusive(case):
        added = add_raw(case, intake.sources)
        changes = write_takes(case, intake.takes)
    return Accepted(added.new, added.same, changes.corrected)


def _drive(text: str | None) -> Drive | None:
    if text is None:
        return None
    drive = parse_drive(text)
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V or -20dBFS")
    return drive
