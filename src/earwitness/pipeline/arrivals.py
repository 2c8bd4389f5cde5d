"""What the readers find in files that are about to come in, and what can't come in as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from random import Random
from typing import Final

from earwitness.measurement.readers.contents import Contents, Form, LevelUnit, MeasuredResponse, Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.measurement.recognise import Arrived, parts_of
from earwitness.measurement.recognition.kind import says_stimulus
from earwitness.measurement.recognition.levels import Levels, levels_of, oddest
from earwitness.records.errors import CallError, ReadError
from earwitness.records.takes import EVERY_PART, Direction, ReadOptions, Take, TakeKind

Progress = Callable[[str, int, int], None]

#: The option that every file has: which reader it goes to.
_READER: Final = "reader"
#: Of so many parts the levels are looked at; of more, a sample's.
_MOST_LEVELS: Final = 1024
_MOST_SAMPLED: Final = 64
_SEED: Final = 1


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a file, or a part of it, can't come in as it is, and what to do about it.

    `subject` names what can't be told (`recognition.answers.Subject`); empty where the file can't be read.
    """

    path: str
    problem: str
    remedy: str
    selector: str = ""
    subject: str = ""

    @classmethod
    def of(cls, error: ReadError, path: str, selector: str = "") -> Doubt:
        """The doubt of a part that can't be read; where another file is at fault, it is named."""
        problem = f"{error.where}: {error.problem}" if error.where else error.problem
        whose = "" if error.file.startswith(path) else f"{error.file}: "
        return cls(path, f"{whose}{problem}", error.remedy, selector)

    @property
    def label(self) -> str:
        """The file, and the part where it has several."""
        return f"{self.path}#{self.selector}" if self.selector else self.path


@dataclass(frozen=True, slots=True)
class Whole:
    """A file that says itself where each of its parts lies: how many directions, how many on the orbits."""

    directions: int
    on_orbits: int


@dataclass(frozen=True)
class Arrivals:
    """Files as their readers found them, the ``read`` options of each, and those that can't be read."""

    files: tuple[Arrived, ...]
    read: Mapping[str, ReadOptions]
    doubts: tuple[Doubt, ...]


def arrivals(
    sources: Sequence[tuple[Path, str]],
    settled: Mapping[str, Take],
    read: ReadOptions,
    progress: Progress,
) -> Arrivals:
    """Look at every file of `sources`: pairs of a file and its name below ``raw/``.

    Parameters
    ----------
    settled
        What ``takes.toml`` says of files already, by name.
    read
        Options of all other files, each for those whose reader has it.

    Raises
    ------
    CallError
        An option of `read` is none that any of the files has.
    """
    files: list[Arrived] = []
    options: dict[str, ReadOptions] = {}
    doubts: list[Doubt] = []
    known: set[str] = set()
    for done, (path, name) in enumerate(sources):
        progress("looking at the files", done, len(sources))
        take = settled.get(name)
        made = says_stimulus(name) if take is None else take.key.kind is TakeKind.STIMULUS
        try:
            if take is None:
                had = {_READER, *reader_of(Source(path, name, read)).options}
                options[name] = tuple(option for option in read if option[0] in had)
                known |= had
            stated = options[name] if take is None else take.read
            files.append(_arrived(Source(path, name, stated, may_touch_full_scale=made)))
        except ReadError as error:
            doubts.append(Doubt.of(error, name))
    if options:
        _refuse_unused(read, known)
    return Arrivals(tuple(files), options, tuple(doubts))


def whole_of(contents: Contents) -> Whole | None:
    """What a file holds that says itself where each of its parts lies; None for any other."""
    if [part.selector for part in parts_of(contents)] != [EVERY_PART]:
        return None
    places = {part.position_deg or part.direction for part in contents.parts}
    on_orbits = {
        part.position_deg or part.direction
        for part in contents.parts
        if part.direction or (part.position_deg and Direction.at(*part.position_deg))
    }
    return Whole(len(places), len(on_orbits))


def _arrived(source: Source) -> Arrived:
    contents = look(source)
    return Arrived(source.name, contents, _levels(source, contents))


def _levels(source: Source, contents: Contents) -> Mapping[str, Levels]:
    """The levels of responses; of a file whose parts are all told at once, the oddest of a sample."""
    if contents.form is not Form.RESPONSES:
        return {}
    every = [part.selector for part in contents.parts]
    whole = whole_of(contents) is not None
    most = _MOST_SAMPLED if whole else _MOST_LEVELS
    selectors = every if len(every) <= most else Random(_SEED).sample(every, most)
    signals = reader_of(source).read(source, selectors)
    if whole:
        return {EVERY_PART: oddest([_levels_of(signal) for signal in signals])}
    return {selector: _levels_of(s) for selector, s in zip(selectors, signals, strict=True)}


def _levels_of(signal: object) -> Levels:
    if isinstance(signal, MeasuredResponse):
        return levels_of(signal)
    return Levels(LevelUnit.DB, None)


def _refuse_unused(read: ReadOptions, known: set[str]) -> None:
    for key, _ in read:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            remedy = f"did you mean {near[0]}?" if near else f"they have: {', '.join(sorted(known))}"
            raise CallError(f"--read {key}: none of these files has such an option; {remedy}")
