"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Final

from earwitness.case import durable
from earwitness.case.drives import parse_drive
from earwitness.case.intake import gather, take_in
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.manifest import read_facts
from earwitness.case.raw_store import read_hashes
from earwitness.case.removal import returning
from earwitness.case.sidecar import sidecar_of
from earwitness.case.source_files import source_digest
from earwitness.case.takes import read_takes
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.measurement.recognise import recognise
from earwitness.measurement.recognition.answers import Recognition, Unclear
from earwitness.measurement.recognition.drive import DBU_TO, drive_in, settled_drive
from earwitness.measurement.recognition.levels import why_not_of_kind
from earwitness.measurement.recognition.stimulus import fitting_stimuli
from earwitness.measurement.recognition.tokens import text_of
from earwitness.measurement.recognition.words import PLANES
from earwitness.pipeline.arrivals import Arrivals, Doubt, Progress, Whole, arrivals, whole_of
from earwitness.pipeline.entry_examples import example_for
from earwitness.pipeline.sidecars import Told, sidecars_among, with_sidecars
from earwitness.pipeline.takes_seen import Change, Correction, changes, corrections, remember
from earwitness.pipeline.tried import tried
from earwitness.pipeline.unsettled import doubt_of, other_drives, signs_of
from earwitness.records.errors import CallError, ReadError
from earwitness.records.facts import CaseFacts, Rig
from earwitness.records.takes import EVERY_PART, Drive, ReadOptions, Take, TakeId, TakeKind

#: Volts that no loudspeaker is driven with; a file's name can't say them either.
_VOLTS_BELOW: Final = 1000.0
#: Larger files than this no reader takes: they aren't hashed.
_LARGEST_BYTES: Final = 2**30
#: What a name may say of a drive, the option may say as well.
_DRIVE: Final = re.compile(r"[+\-−]?[0-9.,]+[ _]?[A-Za-z]+")


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
    given = _Given.of(CaseFolder.open(root), files)
    arrived = arrivals(given.unsettled, given.settled, read, progress)
    stimuli = _stimuli(given)
    told = given.told
    recognised = recognise(
        [
            replace(f, within=given.within.get(f.path, ""))
            for f in arrived.files
            if f.path not in given.settled
        ],
        drive=wanted,
        stimuli=stimuli,
        radiators=[radiator.name for radiator in given.facts.unit.radiators],
        alike=given.facts.unit.alike,
        steps=told.steps,
    )
    takes = [replace(r.take, read=told.read(r.path, arrived.read[r.path])) for r in recognised if r.take]
    takes += given.back
    doubtful = [r for r in recognised if r.take is None]
    played = _may_have_been_played(doubtful, takes, arrived, stimuli)
    doubts = [*arrived.doubts, *told.doubts, *_untold(doubtful, played, arrived, given.facts.rig)]
    doubts += [*_taken_twice(takes, given.known), *_others_there(given)]
    new = [*takes, *(take for take in given.stated if take.path not in given.there)]
    doubts += _of_other_size([take for take in new if take.path in given.settled], arrived)
    doubts += tried(given.lying, _others_of(new, doubts), given.known, progress)
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


@dataclass(frozen=True)
class _Given:
    """What was given for a case, and what the case has already.

    `known` are the takes that the case states, `stated` those of the given files, and `back` those of given
    files that were removed. `digests` are those of files that the case doesn't have, before they are looked
    at.
    """

    case: CaseFolder
    facts: CaseFacts
    sources: tuple[tuple[Path, str], ...]
    within: Mapping[str, str]
    there: frozenset[str]
    digests: Mapping[str, str]
    back: tuple[Take, ...]
    known: tuple[Take, ...]

    @classmethod
    def of(cls, case: CaseFolder, files: Sequence[Path]) -> _Given:
        facts = read_facts(case)
        sources = with_sidecars(gather(files))
        names = {name for _, name in sources}
        back = returning(case, sources)
        returned = {take.path for take in back}
        known = tuple(take for take in read_takes(case, awaited=names) if take.path not in returned)
        there = frozenset(read_hashes(case)) & names
        digests = {
            name: source_digest(path, name)
            for path, name in sources
            if name not in there and path.stat().st_size <= _LARGEST_BYTES
        }
        return cls(case, facts, sources, _within(files, sources), there, digests, back, known)

    @cached_property
    def places(self) -> Mapping[str, Path]:
        """Where each given file lies, by its name."""
        return {name: path for path, name in self.sources}

    @cached_property
    def told(self) -> Told:
        """What the sidecars of stimuli say, of those that come in and of those that are in the case."""
        played = [take.path for take in self.known if take.key.kind is TakeKind.STIMULUS]
        names = [name for path in played for name in (path, sidecar_of(Path(path)).as_posix())]
        held = {name: file for name in names if (file := self.case.raw / name).is_file()}
        return Told.by({**held, **self.places})

    @cached_property
    def lying(self) -> Mapping[str, Path]:
        """Where each file lies, of those that come in and of those that are in the case."""
        there = {take.path: self.case.raw / take.path for take in self.known}
        return {**{name: file for name, file in there.items() if file.exists()}, **self.places}

    @cached_property
    def stated(self) -> tuple[Take, ...]:
        names = self.places.keys()
        return tuple(take for take in self.known if take.path in names)

    @cached_property
    def settled(self) -> Mapping[str, Take]:
        """A take of each file that needs no recognition, by name."""
        return {take.path: take for take in (*self.stated, *self.back)}

    @cached_property
    def unsettled(self) -> list[tuple[Path, str]]:
        """The files to look at: those that are new, or of which nothing is stated."""
        settled, sidecars = self.settled, sidecars_among(self.sources)
        return [
            (path, name)
            for path, name in self.sources
            if name not in sidecars and (name not in self.there or name not in settled)
        ]

    @cached_property
    def returned(self) -> frozenset[str]:
        return frozenset(take.path for take in self.back)

    @cached_property
    def known_before(self) -> list[Take]:
        """What was stated before this call's new files were awaited."""
        awaited = self.places.keys() - self.there
        return [*(take for take in self.known if take.path not in awaited), *self.back]


def _may_have_been_played(
    doubtful: Sequence[Recognition],
    takes: Sequence[Take],
    arrived: Arrivals,
    stimuli: Mapping[str, float | None],
) -> Mapping[str, Sequence[str]]:
    """For each doubtful file the stimuli of its sample rate, of the case and of this call."""
    rates = {file.path: file.contents.sample_rate_hz for file in arrived.files}
    new = {take.path: rates.get(take.path) for take in takes if take.key.kind is TakeKind.STIMULUS}
    return {r.path: fitting_stimuli(rates.get(r.path), {**stimuli, **new}) for r in doubtful}


def _untold(
    doubtful: Sequence[Recognition], played: Mapping[str, Sequence[str]], arrived: Arrivals, rig: Rig
) -> Iterator[Doubt]:
    """Doubts of parts that can't be told."""
    for one in doubtful:
        option = _level_option(one.path, arrived.read[one.path])
        yield doubt_of(one, rig, option, has_stimulus=bool(played[one.path]))


def _of_other_size(takes: Sequence[Take], arrived: Arrivals) -> list[Doubt]:
    """Doubts of stated takes whose levels can't be what they are stated to be.

    Where the entry says what the file's values are, it is believed.
    """
    found = []
    levels = {file.path: file.levels for file in arrived.files}
    for take in takes:
        option = _level_option(take.path, take.read)
        if option and option in dict(take.read):
            continue
        of_part = levels.get(take.path, {}).get(take.selector)
        wrong = why_not_of_kind(take.key.kind, of_part, take.key.drive)
        if wrong is not None:
            said = f'read = {{ {option} = "…" }}' if option else "its kind"
            remedy = f"say in its entry what it is, with {said}, or export it in dB re 20 µPa"
            found.append(Doubt(take.path, str(wrong), remedy, take.selector, wrong.subject))
    return found


def _level_option(path: str, read: ReadOptions) -> str:
    """The option that states what a file's levels are; empty where its reader has none."""
    return reader_of(Source(Path(path), path, read)).level_option


def _within(files: Sequence[Path], sources: Sequence[tuple[Path, str]]) -> Mapping[str, str]:
    """The name of the folder that each file was given in, where that says a plane."""
    folders = [path for path in files if path.is_dir()]
    named = {path: path.resolve().name for path in folders}
    return {
        name: named[folder]
        for folder in folders
        if text_of(named[folder], "folder").words & PLANES.keys()
        for path, name in sources
        if path == folder / name
    }


def _others_of(takes: Sequence[Take], doubts: Sequence[Doubt]) -> list[Take]:
    """Takes that nothing is doubted of so far."""
    refused = {(doubt.path, doubt.selector) for doubt in doubts}
    paths = {path for path, selector in refused if not selector}
    return [t for t in takes if t.path not in paths and (t.path, t.selector) not in refused]


def _stimuli(given: _Given) -> Mapping[str, float | None]:
    """The case's stimuli and their sample rates in Hz: None where its file is gone or can't be read."""
    rates: dict[str, float | None] = {}
    lying = given.lying
    for take in (*given.known, *given.back):
        if take.key.kind is TakeKind.STIMULUS:
            file = lying.get(take.path, given.case.raw / take.path)
            try:
                contents = look(Source(file, take.path, take.read, may_touch_full_scale=True))
                rates[take.path] = contents.sample_rate_hz
            except ReadError:
                # it may come in by this very call, and is a doubt of its own then
                rates[take.path] = None
    return rates


def _taken_twice(takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """Doubts of parts that would be a take that another one is already.

    Files that are taken whole are told apart part by part, when they are `tried`.
    """
    found = []
    owners = {take.key: take for take in known}
    for take in takes:
        owner = owners.setdefault(take.key, take)
        if EVERY_PART in (take.selector, owner.selector):
            continue
        if owner is not take and take.key.kind is not TakeKind.STIMULUS:
            problem = f"would be the same take as raw/{owner.id} ({take.key.label})"
            remedy = "name it as a repeat (…_repeat2), or remove the other's entry from takes.toml"
            direction = take.key.direction
            if direction is not None and direction.angle_deg == 180.0:
                problem = f"{problem}: −180° and +180° are one direction"
                remedy = "name one of the two as a repeat (…_repeat2), or leave it out"
            found.append(Doubt(take.path, problem, remedy, take.selector, "repeat"))
    return found


def _others_there(given: _Given) -> list[Doubt]:
    """Doubts of files for which the case has another one of that name."""
    found, listed = [], read_hashes(given.case)
    for path, name in given.sources:
        if name in listed and (digest := durable.file_digest(path)) != listed[name]:
            problem = f"raw/{name} is there already and differs (SHA-256 {listed[name]}, this one {digest})"
            found.append(Doubt(name, problem, "give it another name; raw files are never replaced"))
    return found


def drive_of(text: str | None) -> Drive | None:
    """The drive that the option states; None where it isn't given.

    Raises
    ------
    CallError
        It isn't one.
    """
    if text is None:
        return None
    drive = parse_drive(text)
    doubts: list[Unclear] = []
    if drive is None and _DRIVE.fullmatch(text.strip()):
        drive = settled_drive(drive_in(text_of(text, "--drive")), doubts)
    if doubts:
        raise CallError(f"--drive {text!r} is no drive ({doubts[0]}); write it like 2.83V, -20dBFS or +4dBu")
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V, -20dBFS or +4dBu")
    if drive.unit == "dBFS" and drive.value > 0.0:
        raise CallError(f"--drive {text!r} is above digital full scale; write the sign, as in -20dBFS")
    if drive.unit == "dBu" and drive.value > DBU_TO:
        raise CallError(f"--drive {text!r} is more than lines have; give dBu up to {DBU_TO:g}")
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        raise CallError(
            f"--drive {text!r} is no drive of a loudspeaker; give volts RMS, under {_VOLTS_BELOW:g}"
        )
    return drive
