"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from earwitness.case.intake import take_in
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.takes import read_takes
from earwitness.measurement.recognise import recognise
from earwitness.measurement.recognition.answers import Recognition
from earwitness.pipeline.arrivals import Arrivals, Doubt, Progress, Whole, arrivals, whole_of
from earwitness.pipeline.drive_option import drive_of
from earwitness.pipeline.entry_examples import example_for
from earwitness.pipeline.given_files import Given
from earwitness.pipeline.intake_doubts import (
    may_have_been_played,
    of_other_size,
    others_there,
    taken_twice,
    undoubted,
    untold,
)
from earwitness.pipeline.takes_seen import Change, Correction, changes, corrections, remember
from earwitness.pipeline.tried import tried
from earwitness.pipeline.unsettled import other_drives, signs_of
from earwitness.records.errors import ReadError
from earwitness.records.takes import Drive, ReadOptions, Take, TakeId


@dataclass(frozen=True)
class Intake:
    """Files that were looked at: where each lies, what it is, and what can't be told.

    Attributes
    ----------
    sources
        Pairs of a file and its name below ``raw/``.
    takes
        What their names, and what they say, were recognised as.
    stated
        What ``takes.toml`` says of them already.
    doubts
        Files and parts that can't be told, and files that can't be read.
    there
        Names that the case has already.
    remarks
        How files were read, by name.
    wholes
        Files that say themselves where each of their parts lies, by name.
    corrections
        Where ``takes.toml`` says otherwise than a name does.
    changes
        What a person changed in ``takes.toml`` since files were added last.
    signs
        How the signs of new angles are taken; empty where none has one.
    drives
        For which takes the call's drive doesn't hold; empty where it does for all.
    example
        What to paste into ``takes.toml`` to settle the first doubt; empty where that settles none.
    returned
        Names of files that were removed and come back; their `takes` are what was stated of them then.
    digests
        SHA-256 of new files by name, as they were before they were looked at.
    """

    sources: tuple[tuple[Path, str], ...]
    takes: tuple[Take, ...]
    stated: tuple[Take, ...]
    doubts: tuple[Doubt, ...]
    there: frozenset[str]
    remarks: Mapping[str, str] = field(default_factory=dict)
    wholes: Mapping[str, Whole] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()
    changes: tuple[Change, ...] = ()
    signs: str = ""
    drives: str = ""
    example: str = ""
    returned: frozenset[str] = frozenset()
    digests: Mapping[str, str] = field(default_factory=dict)

    @property
    def changes_nothing(self) -> bool:
        """Whether every file is in the case and in ``takes.toml`` already."""
        return not self.takes and not self.doubts and all(name in self.there for _, name in self.sources)

    def require_no_doubt(self) -> None:
        """Refuse, naming the first doubtful file, where one is left."""
        if self.doubts:
            first, more = self.doubts[0], len(self.doubts) - 1
            counted = "files" if len({doubt.path for doubt in self.doubts}) == len(self.doubts) else "doubts"
            counted = counted if more > 1 else counted.removesuffix("s")
            problem = f"{first.problem} (and {more} more {counted})" if more else first.problem
            raise ReadError(first.label, problem, first.remedy)


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
    cut short or clipped is found before it is in the case for good. `drive` is that of files that say none;
    `read` holds for the form of every file that isn't listed yet, each option where the file's reader has it.

    Raises
    ------
    CallError
        `drive` isn't one, or an option of `read` is none that one of the files has.
    FileError
        There is no such case, one of its files can't be understood, or nothing is where `files` say.
    """
    wanted = drive_of(drive)
    given = Given.of(CaseFolder.open(root), files)
    arrived = arrivals(given.unsettled, given.settled, read, progress)
    told = given.told
    recognised = _recognised(given, arrived, wanted)
    takes = [replace(r.take, read=told.read(r.path, arrived.read[r.path])) for r in recognised if r.take]
    takes += given.back
    doubtful = [r for r in recognised if r.take is None]
    played = may_have_been_played(doubtful, takes, arrived, given.stimuli)
    doubts = [*arrived.doubts, *told.doubts, *untold(doubtful, played, arrived, given.facts.rig)]
    doubts += [*taken_twice(takes, given.known), *others_there(given)]
    new = [*takes, *(take for take in given.stated if take.path not in given.there)]
    doubts += of_other_size([take for take in new if take.path in given.settled], arrived)
    doubts += tried(given.lying, undoubted(new, doubts), given.known, progress)
    refused = {(doubt.path, doubt.selector) for doubt in doubts}
    return Intake(
        sources=given.sources,
        takes=tuple(take for take in takes if (take.path, take.selector) not in refused),
        stated=given.stated,
        doubts=tuple(sorted(doubts, key=lambda doubt: (doubt.path, doubt.selector))),
        there=given.there,
        remarks={
            file.path: remark
            for file in arrived.files
            if (remark := file.contents.remark or told.remarks.get(file.path))
        },
        wholes={file.path: whole for file in arrived.files if (whole := whole_of(file.contents))},
        corrections=corrections(given.stated),
        changes=changes(given.case, given.known_before),
        signs=signs_of(takes, given.facts.rig),
        drives=other_drives(takes, wanted),
        example=example_for(doubtful, played, arrived.read, given.facts.rig),
        returned=given.returned,
        digests=given.digests,
    )


def _recognised(given: Given, arrived: Arrivals, drive: Drive | None) -> Sequence[Recognition]:
    """What each part of the files is of which nothing is stated."""
    files = [
        replace(file, within=given.within.get(file.path, ""))
        for file in arrived.files
        if file.path not in given.settled
    ]
    unit = given.facts.unit
    return recognise(
        files,
        drive=drive,
        stimuli=given.stimuli,
        radiators=[radiator.name for radiator in unit.radiators],
        alike=unit.alike,
        steps=given.told.steps,
    )


def accept(root: Path, intake: Intake) -> Accepted:
    """Copy the files of an intake into the case and write their takes.

    Raises
    ------
    BusyError
        Another process works on the case.
    FileError
        A doubt is left, or a file can't be taken in; then the case is as it was.
    """
    intake.require_no_doubt()
    case = CaseFolder.open(root)
    with exclusive(case):
        added, written = take_in(case, intake.sources, intake.takes, intake.digests)
        remember(case, read_takes(case))
    return Accepted(added.new, added.same, written.corrected)
