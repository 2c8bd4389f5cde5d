"""Raw files on their way into a case: looked at first, then accepted as a whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from earwitness.measurement.readers.registry import look
from earwitness.measurement.recognise import recognise
from earwitness.measurement.recognition.answers import Recognition, Subject
from earwitness.pipeline.arrivals import Doubt, Progress, Whole, arrivals, whole_of
from earwitness.pipeline.entry_examples import example_for
from earwitness.pipeline.takes_seen import Change, Correction, changes, corrections, remember
from earwitness.records.errors import CallError, ReadError
from earwitness.records.facts import Rig
from earwitness.records.takes import Drive, Orbit, ReadOptions, Take, TakeId, TakeKind

#: Volts that no loudspeaker is driven with; a file's name can't say them either.
_VOLTS_BELOW: Final = 1000.0
_WRITE_ENTRY: Final = "rename it, or write its entry in takes.toml first"
_REMEDIES: Final[Mapping[Subject, str]] = {
    "drive": f"{_WRITE_ENTRY}; --drive states a drive for all",
    "level": "state with --read level=… what its values are, or export it in dB re 20 µPa",
    "channel": "state --read microphone=1 or the like, or write an entry in takes.toml with its selector",
    "stimulus": "write its entry in takes.toml first, with its stimulus",
}


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
    recognised = recognise(
        [file for file in arrived.files if file.path not in settled],
        drive=wanted,
        stimuli=_stimuli(case, (*known, *back), {name: path for path, name in sources}),
        radiators=[radiator.name for radiator in facts.unit.radiators],
    )
    takes = [replace(r.take, read=arrived.read[r.path]) for r in recognised if r.take is not None]
    takes += back
    doubtful = [r for r in recognised if r.take is None]
    doubts = [*arrived.doubts, *map(_doubt, doubtful)]
    doubts += [*_taken_twice(takes, known), *_others_there(case, sources)]
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
        signs=_signs(takes, facts.rig),
        example=example_for(doubtful, next(iter(_played(known, takes)), None)),
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


def _doubt(recognition: Recognition) -> Doubt:
    """All that can't be told of one part, and what to do about the first."""
    first = recognition.doubts[0]
    problem = "; ".join(str(doubt) for doubt in recognition.doubts)
    remedy = _REMEDIES.get(first.subject, _WRITE_ENTRY)
    return Doubt(recognition.path, problem, remedy, recognition.selector, first.subject)


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


def _played(known: Sequence[Take], takes: Sequence[Take]) -> list[str]:
    return [take.path for take in (*known, *takes) if take.key.kind is TakeKind.STIMULUS]


def _taken_twice(takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """Doubts of parts that would be a take that another one is already."""
    found = []
    owners = {take.key: take for take in known}
    for take in takes:
        owner = owners.setdefault(take.key, take)
        if owner is not take and take.key.kind is not TakeKind.STIMULUS:
            problem = f"would be the same take as raw/{owner.id} ({take.key.label})"
            remedy = "name it as a repeat (…_repeat2), or remove the other's entry from takes.toml"
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


def _signs(takes: Sequence[Take], rig: Rig) -> str:
    """One line on where positive angles are taken to lie; empty where no angle has a side."""
    sided = {
        take.key.direction.orbit
        for take in takes
        if take.key.direction is not None and take.key.direction.shared.angle_deg not in (0.0, 180.0)
    }
    parts = []
    if Orbit.HORIZONTAL in sided:
        stated = rig.positive_horizontal
        said = "as case.toml states" if stated else "not stated: rig.positive_horizontal in case.toml"
        parts.append(f"horizontal + is the loudspeaker's {stated or 'left'} ({said})")
    if Orbit.VERTICAL in sided:
        stated_vertical = rig.positive_vertical
        said = "as case.toml states" if stated_vertical else "not stated: rig.positive_vertical in case.toml"
        parts.append(f"vertical + is {stated_vertical or 'up'} ({said})")
    return ", ".join(parts)


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
    if drive is None:
        raise CallError(f"--drive {text!r} is no drive; write it like 2.83V or -20dBFS")
    if drive.unit == "dBFS" and drive.value > 0.0:
        raise CallError(f"--drive {text!r} is above digital full scale; write the sign, as in -20dBFS")
    if drive.unit == "V" and drive.value >= _VOLTS_BELOW:
        raise CallError(
            f"--drive {text!r} is no drive of a loudspeaker; give volts RMS, under {_VOLTS_BELOW:g}"
        )
    return drive
