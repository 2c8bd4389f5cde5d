"""What parts of raw files are, by their names and by what they say. A guess is right or absent.

A file's name with its folders, the lines that it says of itself, the heading of each part and its levels are
read each by itself and held against each other: where two contradict, that is a doubt that names both.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from earwitness.measurement.readers.contents import Contents, Form, LevelUnit, Part
from earwitness.measurement.recognition.angle import SaidDirection, direction_in
from earwitness.measurement.recognition.answers import Recognition, Said, Unclear
from earwitness.measurement.recognition.combined import one_direction, one_drive
from earwitness.measurement.recognition.drive import SaidDrive, drive_in, volts_in
from earwitness.measurement.recognition.headers import HEADER, Header, header_of, why_derived
from earwitness.measurement.recognition.kind import STEADY, Repeat, calibrator_level_db, kind_in, repeat_in
from earwitness.measurement.recognition.levels import Levels, why_not_of_kind
from earwitness.measurement.recognition.near_field import distance_in, radiator_in, times_unclear
from earwitness.measurement.recognition.sets import Sets
from earwitness.measurement.recognition.stimulus import Step, with_stimulus
from earwitness.measurement.recognition.tokens import Text, text_of, text_of_path
from earwitness.records.takes import DIRECTIONAL, ELECTRICAL, EVERY_PART, Drive, Take, TakeKey, TakeKind

HEADING = "column heading"
#: Kinds that are played at a drive, and have no place of their own.
_WITHOUT_PLACE: Final = frozenset({TakeKind.REFERENCE}) | STEADY


@dataclass(frozen=True, slots=True)
class Arrived:
    """A file that its reader has looked at; `path` is relative to ``raw/``, with forward slashes.

    `levels` are those of its responses by selector, where they were read; `within` is the name of the folder
    that was given, where that counts as said of its files.
    """

    path: str
    contents: Contents
    levels: Mapping[str, Levels] = field(default_factory=dict)
    within: str = ""

    @property
    def whole_path(self) -> str:
        """Its path, with the folder that it was given in."""
        return f"{self.within}/{self.path}" if self.within else self.path


@dataclass(frozen=True, slots=True)
class _Texts:
    """What one part of a file says, each text by itself."""

    name: Text
    heading: Text
    lines: Header

    @property
    def header(self) -> Text:
        """The lines that are understood."""
        return self.lines.text


@dataclass(frozen=True, slots=True)
class _Context:
    """What holds for all files of one call."""

    stated: Drive | None
    radiators: Collection[str]
    alike: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class _Heard:
    """One part of a file, and everything that is said of it, by the name of what says it."""

    file: Arrived
    part: Part
    texts: _Texts
    repeat: Repeat
    drives: Mapping[str, SaidDrive]
    directions: Mapping[str, SaidDirection]


def recognise(
    files: Sequence[Arrived],
    *,
    drive: Drive | None = None,
    stimuli: Mapping[str, float | None] | None = None,
    radiators: Collection[str] = (),
    alike: Mapping[str, int] | None = None,
    steps: Mapping[str, Step] | None = None,
) -> tuple[Recognition, ...]:
    """Takes of the parts of `files`, in the order of their paths.

    Parameters
    ----------
    drive
        What the caller states for every file that says no drive.
    stimuli
        The stimuli that the case has already, each with its sample rate in Hz where that is known.
    radiators
        The names that the case gives to radiators.
    alike
        How many radiators of the case are stated to be the same as each of them, itself among them.
    steps
        Stimuli that are known to be one sweep at several levels.
    """
    ordered = sorted(files, key=lambda file: file.path)
    texts = [
        (file, part, _Texts(text_of_path(file.whole_path), text_of(part.words, HEADING), header))
        for file in ordered
        for header in (header_of(file.contents.words),)
        for part in parts_of(file.contents)
    ]
    sets = Sets([text for _, _, said in texts for text in (said.name, said.heading, said.header)])
    context = _Context(drive, radiators, alike or {})
    heard = [_heard(file, part, said, sets) for file, part, said in texts]
    found = [_recognise_one(one, context) for one in heard]
    rates = {file.path: file.contents.sample_rate_hz for file in ordered}
    played = dict(stimuli or {})
    for one in found:
        if one.take is not None and one.take.key.kind is TakeKind.STIMULUS:
            played[one.path] = rates[one.path]
    return tuple(with_stimulus(one, rates[one.path], played, steps) for one in found)


def parts_of(contents: Contents) -> tuple[Part, ...]:
    """The parts to be told apart: one for all where the file itself says in which direction each lies."""
    placed = all(part.position_deg is not None or part.direction is not None for part in contents.parts)
    if len(contents.parts) > 1 and placed:
        drives = {part.drive for part in contents.parts}
        return (Part(EVERY_PART, drive=drives.pop() if len(drives) == 1 else None),)
    return (Part(),) if _has_unnamed_channels(contents) else contents.parts


def _heard(file: Arrived, part: Part, texts: _Texts, sets: Sets) -> _Heard:
    repeat = repeat_in(texts.name)
    by_label = {"name": texts.name, HEADING: texts.heading, HEADER: texts.header}
    drives = {label: drive_in(text, sets) for label, text in by_label.items()}
    drives[HEADER] = replace(drives[HEADER], hints=volts_in(texts.lines.others))
    directions = {}
    for label, text in by_label.items():
        spent = drives[label].places | (repeat.places if label == "name" else frozenset())
        directions[label] = direction_in(text, sets, spent)
    return _Heard(file, part, texts, repeat, drives, directions)


def _recognise_one(heard: _Heard, context: _Context) -> Recognition:
    """One part: what is said of its kind decides what else must be said."""
    path, selector = heard.file.path, heard.part.selector
    kind = _kind(heard)
    if isinstance(kind, Unclear):
        return Recognition(path, None, (kind,), selector)
    doubts: list[Unclear] = []
    if kind in DIRECTIONAL:
        take, said = _directional(heard, kind, context, doubts)
    elif kind is TakeKind.NEAR_FIELD:
        take, said = _near_field(heard, context, doubts)
    elif kind in _WITHOUT_PLACE or _is_electrical(heard, kind):
        take, said = _without_place(heard, kind, context, doubts)
    else:
        take, said = _plain(heard, kind, doubts)
    driven = said.drive or next((part.drive for part in heard.file.contents.parts if part.drive), None)
    wrong = why_not_of_kind(kind, heard.file.levels.get(selector), driven)
    doubts += [wrong] if wrong is not None else []
    if not _is_electrical(heard, kind):
        doubts += _unnamed_channels(heard.file.contents)
    if doubts:
        return Recognition(path, None, tuple(dict.fromkeys(doubts)), selector, said)
    return Recognition(path, replace(take, selector=selector), (), selector, said)


def _kind(heard: _Heard) -> TakeKind | Unclear:
    """The kind that the file's format states, else what the name says, else what the values are."""
    form = heard.file.contents.form
    named, whole = heard.directions["name"], heard.part.selector == EVERY_PART
    says_plane, says_angle = bool(named.planes) and not whole, named.is_sure and not whole
    kind = kind_in(heard.texts.name, form, says_plane=says_plane, says_angle=says_angle)
    levels = heard.file.levels.get(heard.part.selector)
    in_ohms = levels is not None and levels.unit is LevelUnit.OHM
    says_nothing = not (says_plane or says_angle) and not heard.drives["name"].drives
    if kind is TakeKind.RESPONSE and in_ohms and says_nothing:
        return TakeKind.IMPEDANCE
    stated = heard.part.kind
    if stated is not None and isinstance(kind, TakeKind) and kind is not stated and kind is not _usual(form):
        first, second = (str(one).replace("_", " ") for one in (stated, kind))
        return Unclear("kind", f"the file says {first}, and the name {second}")
    return stated or kind


def _usual(form: Form) -> TakeKind:
    return TakeKind.SWEEP if form is Form.SOUND else TakeKind.RESPONSE


def _directional(
    heard: _Heard, kind: TakeKind, context: _Context, doubts: list[Unclear]
) -> tuple[Take, Said]:
    """A response of the loudspeaker in a direction, or in those that the file itself says."""
    doubts += why_derived(heard.file.contents.words, kind)
    doubts += heard.texts.lines.doubts
    doubts += heard.repeat.unclear
    direction = None
    if heard.part.selector != EVERY_PART:
        direction, unclear = one_direction(heard.directions, heard.part)
        doubts += unclear
    drive, unclear = one_drive(heard.drives, heard.part, context.stated)
    if heard.part.selector == EVERY_PART and all(part.drive for part in heard.file.contents.parts):
        unclear = []
    doubts += unclear
    repeat = heard.part.repeat if heard.part.repeat != 1 else heard.repeat.count
    key = TakeKey(kind, direction, drive, repeat=repeat)
    orbits = {orbit for said in heard.directions.values() for orbit in said.orbits}
    return Take(heard.file.path, key), Said(
        kind, direction, orbits.pop() if len(orbits) == 1 else None, drive
    )


def _near_field(heard: _Heard, context: _Context, doubts: list[Unclear]) -> tuple[Take, Said]:
    """A radiator measured from close to."""
    name = heard.texts.name
    spent = heard.repeat.places | heard.drives["name"].places
    doubts += heard.repeat.unclear
    radiator, distance = radiator_in(name, spent, context.radiators), distance_in(name)
    doubts += [one for one in (radiator, distance) if isinstance(one, Unclear)]
    drive, unclear = one_drive(heard.drives, heard.part, context.stated)
    doubts += unclear
    called = None if isinstance(radiator, Unclear) else radiator
    times = times_unclear(name, called, context.alike) if called else None
    doubts += [times] if times else []
    key = TakeKey(TakeKind.NEAR_FIELD, drive=drive, radiator=called, repeat=heard.repeat.count)
    metres = None if isinstance(distance, Unclear) else distance
    return Take(heard.file.path, key, distance_m=metres), Said(
        TakeKind.NEAR_FIELD, drive=drive, radiator=called
    )


def _is_electrical(heard: _Heard, kind: TakeKind) -> bool:
    """Whether voltage and current were recorded; an impedance may be a file of ohms, too."""
    return kind in ELECTRICAL and heard.file.contents.form is Form.SOUND


def _without_place(
    heard: _Heard, kind: TakeKind, context: _Context, doubts: list[Unclear]
) -> tuple[Take, Said]:
    """The rig's reference loudspeaker or a run, which have one place, or what is recorded at terminals."""
    doubts += heard.repeat.unclear
    drive, unclear = one_drive(heard.drives, heard.part, context.stated)
    doubts += unclear
    key = TakeKey(kind, drive=drive, repeat=heard.repeat.count)
    return Take(heard.file.path, key), Said(kind, drive=drive)


def _plain(heard: _Heard, kind: TakeKind, doubts: list[Unclear]) -> tuple[Take, Said]:
    """A take of which the kind is all, and a calibrator's level and repeat."""
    take = Take(heard.file.path, TakeKey(kind))
    if kind is TakeKind.CALIBRATOR:
        doubts += heard.repeat.unclear
        take = replace(take, key=TakeKey(kind, repeat=heard.repeat.count))
        level = calibrator_level_db(heard.texts.name)
        if isinstance(level, Unclear):
            doubts.append(level)
        else:
            take = replace(take, level_db=level)
    return take, Said(kind)


def _unnamed_channels(contents: Contents) -> list[Unclear]:
    """A doubt where a recording has several channels, and nothing says which is the microphone's."""
    if not _has_unnamed_channels(contents):
        return []
    names = ", ".join(part.selector for part in contents.parts)
    line = f"which of {names} is the microphone's isn't said; read.microphone states it"
    return [Unclear("channel", line)]


def _has_unnamed_channels(contents: Contents) -> bool:
    unnamed = not any(part.words or part.position_deg or part.direction for part in contents.parts)
    return contents.form is Form.SOUND and len(contents.parts) > 1 and unnamed
