"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from earwitness.case.drives import parse_drive
from earwitness.case.intake import gather
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.raw_store import add_raw, read_hashes
from earwitness.case.takes import read_takes, write_takes
from earwitness.measurement.readers.contents import Contents, Source
from earwitness.measurement.readers.registry import look
from earwitness.measurement.recognise import Arrived, recognise
from earwitness.records.errors import CallError, ReadError
from earwitness.records.takes import Drive, ReadOptions, Take, TakeId, TakeKind

Progress = Callable[[str, int, int], None]

#: Volts that no loudspeaker is driven with; a file's name can't say them either.
_VOLTS_BELOW: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a file can't come in as it is, and what to do about it."""

    path: str
    problem: str
    remedy: str


@dataclass(frozen=True)
class Intake:
    """Files that were looked at: where each lies, what it is, and what can't be told.

    Attributes
    ----------
    sources
        Pairs of a file and its name below ``raw/``.
    takes
        What their names were recognised as.
    stated
        What ``takes.toml`` says of them already.
    doubts
        Files that can't be told, or can't be read.
    there
        Names that the case has already.
    """

    sources: tuple[tuple[Path, str], ...]
    takes: tuple[Take, ...]
    stated: tuple[Take, ...]
    doubts: tuple[Doubt, ...]
    there: frozenset[str]

    @property
    def changes_nothing(self) -> bool:
        """Whether every file is in the case and in ``takes.toml`` already."""
        return not self.takes and not self.doubts and all(name in self.there for _, name in self.sources)

    def require_no_doubt(self) -> None:
        """Refuse, naming the first doubtful file, where one is left."""
        if self.doubts:
            first, more = self.doubts[0], len(self.doubts) - 1
            problem = f"{first.problem} (and {more} more files)" if more else first.problem
            raise ReadError(first.path, problem, first.remedy)


@dataclass(frozen=True, slots=True)
class Accepted:
    """What came of it: files by name, and the takes whose entries were corrected."""

    new_files: tuple[str, ...]
    same_files: tuple[str, ...]
    corrected: tuple[TakeId, ...]


def look_at(
    root: Path,
    files: Sequence[Path],
    *,
    drive: str | None = None,
    read: ReadOptions = (),
    progress: Progress = lambda _what, _done, _total: None,
) -> Intake:
    """What `files` (folders with everything below them) would be in the case at `root`; changes nothing.

    What ``takes.toml`` says of a file already wins over its name. Each new file is read, so that one that is
    cut short or clipped is found before it is in the case for good.

    Parameters
    ----------
    drive
        The drive of files whose name has none.
    read
        What holds for the form of every file that ``takes.toml`` doesn't list yet.

    Raises
    ------
    CallError
        `drive` isn't one.
    FileError
        There is no such case, its ``takes.toml`` can't be understood, a file isn't there, a folder holds
        none.
    """
    wanted = _drive(drive)
    case = CaseFolder.open(root)
    sources = gather(files)
    names = {name for _, name in sources}
    known = read_takes(case, awaited=names)
    stated = tuple(take for take in known if take.path in names)
    settled = {take.path: take for take in stated}
    stimuli = [take.path for take in known if take.key.kind is TakeKind.STIMULUS]
    there = frozenset(read_hashes(case)) & names
    unsettled = [(path, name) for path, name in sources if name not in there or name not in settled]
    contents, doubts = _contents(unsettled, settled, read, progress)
    arrived = [Arrived(name, held) for name, held in contents.items() if name not in settled]
    recognised = recognise(arrived, drive=wanted, stimuli=dict.fromkeys(stimuli))
    remedy = "rename it, or write its entry in takes.toml first; --drive states a drive for all"
    doubts |= {r.path: Doubt(r.path, d.problem, remedy) for r in recognised if r.take is None for d in r.doubts[:1]}
    takes = [replace(r.take, read=read) for r in recognised if r.take is not None]
    doubts |= _which_stimulus(takes, stimuli)
    doubts |= _taken_twice(takes, known)
    return Intake(
        sources=sources,
        takes=tuple(take for take in takes if take.path not in doubts),
        stated=stated,
        doubts=tuple(doubts[path] for path in sorted(doubts)),
        there=there,
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


def _which_stimulus(takes: Sequence[Take], stimuli: Sequence[str]) -> dict[str, Doubt]:
    """Doubts of recordings for which the case has more than one stimulus."""
    if len(stimuli) < 2:
        return {}
    problem = f"which stimulus was played isn't said: {' or '.join(stimuli)}"
    remedy = "write its entry in takes.toml first, with its stimulus"
    return {take.path: Doubt(take.path, problem, remedy) for take in takes if take.stimulus in stimuli}


def _taken_twice(takes: Sequence[Take], known: Sequence[Take]) -> dict[str, Doubt]:
    """Doubts of files that would be a take that another file is already."""
    found: dict[str, Doubt] = {}
    owners = {take.key: take for take in known}
    for take in takes:
        owner = owners.setdefault(take.key, take)
        if owner is not take and take.key.kind is not TakeKind.STIMULUS:
            problem = f"would be the same take as raw/{owner.id} ({take.key.label})"
            remedy = "name it as a repeat (…_repeat2), or remove the other's entry from takes.toml"
            found[take.path] = Doubt(take.path, problem, remedy)
    return found


def _contents(
    sources: Sequence[tuple[Path, str]],
    settled: Mapping[str, Take],
    read: ReadOptions,
    progress: Progress,
) -> tuple[dict[str, Contents], dict[str, Doubt]]:
    """What each file holds, and doubts of those that a build couldn't read."""
    found: dict[str, Contents] = {}
    doubts: dict[str, Doubt] = {}
    for done, (path, name) in enumerate(sources):
        progress("looking at the files", done, len(sources))
        take = settled.get(name)
        made = "stimulus" in name.lower() if take is None else take.key.kind is TakeKind.STIMULUS
        options = read if take is None else take.read
        try:
            found[name] = look(Source(path, name, options, may_touch_full_scale=made))
        except ReadError as error:
            problem = f"{error.where}: {error.problem}" if error.where else error.problem
            doubts[name] = Doubt(name, problem, error.remedy)
    return found, doubts


def _drive(text: str | None) -> Drive | None:
    if text is None:
        return None
    drive = parse_drive(text)
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V or -20dBFS")
    if drive.unit == "dBFS" and drive.value > 0.0:
        raise CallError(f"--drive {text!r} is above digital full scale; write the sign, as in -20dBFS")
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        raise CallError(
            f"--drive {text!r} is no drive of a loudspeaker; give volts RMS, under {_VOLTS_BELOW:g}"
        )
    return drive
