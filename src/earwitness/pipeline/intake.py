"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
from earwitness.case.takes import read_takes
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.measurement.recognise import recognise
from earwitness.measurement.recognition.answers import Recognition, Unclear
from earwitness.measurement.recognition.drive import drive_in, settled_drive
from earwitness.measurement.recognition.stimulus import fitting_stimuli
from earwitness.measurement.recognition.tokens import text_of
from earwitness.measurement.recognition.words import PLANES
from earwitness.pipeline.arrivals import Doubt, Progress, Whole, arrivals, whole_of
from earwitness.pipeline.entry_examples import example_for
from earwitness.pipeline.takes_seen import Change, Correction, changes, corrections, remember
from earwitness.pipeline.tried import tried
from earwitness.pipeline.unsettled import doubt_of, other_drives, signs_of
from earwitness.records.errors import CallError, ReadError
from earwitness.records.takes import Drive, ReadOptions, Take, TakeId, TakeKind

#: Volts that no loudspeaker is driven with; a file's name can't say them either.
_VOLTS_BELOW: Final = 1000.0
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
    case = CaseFolder.open(root)
    facts = read_facts(case)
    sources = gather(files)
    names = {name for _, name in sources}
    back = returning(case, sources)
    returned = frozenset(take.path for take in back)
    known = tuple(take for take in read_takes(case, awaited=names) if take.path not in returned)
    stated = tuple(take for take in known if take.path in names)
    settled = {take.path: take for take in (*stated, *back)}
    there = frozenset(read_hashes(case)) & names
    unsettled = [(path, name) for path, name in sources if name not in there or name not in settled]
    arrived = arrivals(unsettled, settled, read, progress)
    stimuli = _stimuli(case, (*known, *back), {name: path for path, name in sources})
    within = _within(files, sources)
    recognised = recognise(
        [replace(f, within=within.get(f.path, "")) for f in arrived.files if f.path not in settled],
        drive=wanted,
        stimuli=stimuli,
        radiators=[radiator.name for radiator in facts.unit.radiators],
    )
    takes = [replace(r.take, read=arrived.read[r.path]) for r in recognised if r.take is not None]
    takes += back
    doubtful = [r for r in recognised if r.take is None]
    rates = {file.path: file.contents.sample_rate_hz for file in arrived.files}
    stimuli = {**stimuli, **{t.path: rates.get(t.path) for t in takes if t.key.kind is TakeKind.STIMULUS}}
    played = {r.path: fitting_stimuli(rates.get(r.path), stimuli) for r in doubtful}
    doubts = [
        *arrived.doubts,
        *(
            doubt_of(r, facts.rig, _level_option(r, arrived.read[r.path]), has_stimulus=bool(played[r.path]))
            for r in doubtful
        ),
    ]
    doubts += [*_taken_twice(takes, known), *_others_there(case, sources)]
    new = [*takes, *(take for take in stated if take.path not in there)]
    refused = {(doubt.path, doubt.selector) for doubt in doubts}
    doubts += tried(_files(case, sources, known), _others_of(new, refused), known, progress)
    refused = {(doubt.path, doubt.selector) for doubt in doubts}
    return Intake(
        sources=sources,
        takes=tuple(take for take in takes if (take.path, take.selector) not in refused),
        stated=stated,
        doubts=tuple(sorted(doubts, key=lambda doubt: (doubt.path, doubt.selector))),
        there=there,
        remarks={file.path: file.contents.remark for file in arrived.files if file.contents.remark},
        wholes={file.path: whole for file in arrived.files if (whole := whole_of(file.contents))},
        corrections=corrections(stated),
        changes=changes(case, [*(take for take in known if take.path not in names - there), *back]),
        signs=signs_of(takes, facts.rig),
        drives=other_drives(takes, wanted),
        example=example_for(doubtful, played, arrived.read, facts.rig),
        returned=returned,
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
        added, written = take_in(case, intake.sources, intake.takes)
        remember(case, read_takes(case))
    return Accepted(added.new, added.same, written.corrected)


def _level_option(one: Recognition, read: ReadOptions) -> str:
    """The option that states what a file's levels are; empty where its reader has none."""
    return reader_of(Source(Path(one.path), one.path, read)).level_option


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


def _others_of(takes: Sequence[Take], refused: Collection[tuple[str, str]]) -> list[Take]:
    paths = {path for path, selector in refused if not selector}
    return [t for t in takes if t.path not in paths and (t.path, t.selector) not in refused]


def _files(
    case: CaseFolder, sources: Sequence[tuple[Path, str]], known: Sequence[Take]
) -> Mapping[str, Path]:
    """Where each file lies, of those that come in and of those that are in the case."""
    there = {take.path: case.raw / take.path for take in known}
    given = {name: path for path, name in sources}
    return {**{name: file for name, file in there.items() if file.exists()}, **given}


def _stimuli(
    case: CaseFolder, known: Sequence[Take], given: Mapping[str, Path]
) -> Mapping[str, float | None]:
    """The case's stimuli and their sample rates in Hz: None where its file is gone or can't be read."""
    rates: dict[str, float | None] = {}
    for take in known:
        if take.key.kind is TakeKind.STIMULUS:
            file = case.raw / take.path
            file = file if file.exists() else given.get(take.path, file)
            try:
                contents = look(Source(file, take.path, take.read, may_touch_full_scale=True))
                rates[take.path] = contents.sample_rate_hz
            except ReadError:
                # it may come in by this very call, and is a doubt of its own then
                rates[take.path] = None
    return rates


def _taken_twice(takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """Doubts of parts that would be a take that another one is already."""
    found = []
    owners = {take.key: take for take in known}
    for take in takes:
        owner = owners.setdefault(take.key, take)
        if owner is not take and take.key.kind is not TakeKind.STIMULUS:
            problem = f"would be the same take as raw/{owner.id} ({take.key.label})"
            remedy = "name it as a repeat (…_repeat2), or remove the other's entry from takes.toml"
            direction = take.key.direction
            if direction is not None and direction.angle_deg == 180.0:
                problem = f"{problem}: −180° and +180° are one direction"
                remedy = "name one of the two as a repeat (…_repeat2), or leave it out"
            found.append(Doubt(take.path, problem, remedy, take.selector, "repeat"))
    return found


def _others_there(case: CaseFolder, sources: Sequence[tuple[Path, str]]) -> list[Doubt]:
    """Doubts of files for which the case has another one of that name."""
    found, listed = [], read_hashes(case)
    for path, name in sources:
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
        raise CallError(f"--drive {text!r} is no drive ({doubts[0]}); write it like 2.83V or -20dBFS")
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V or -20dBFS")
    if drive.unit == "dBFS" and drive.value > 0.0:
        raise CallError(f"--drive {text!r} is above digital full scale; write the sign, as in -20dBFS")
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        raise CallError(
            f"--drive {text!r} is no drive of a loudspeaker; give volts RMS, under {_VOLTS_BELOW:g}"
        )
    return drive
