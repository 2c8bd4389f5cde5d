"""What parts of raw files are, by their names and by what they say. A guess is right or absent."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Final

from earwitness.measurement.readers.contents import Contents, Form, Part
from earwitness.records.takes import EVERY_PART, Direction, Drive, Orbit, Take, TakeKey, TakeKind

_PLANES: Final = {
    "horizontal": Orbit.HORIZONTAL,
    "hor": Orbit.HORIZONTAL,
    "h": Orbit.HORIZONTAL,
    "vertical": Orbit.VERTICAL,
    "vert": Orbit.VERTICAL,
    "ver": Orbit.VERTICAL,
}
#: Files of which the name says nothing but the kind, and whether they are recordings.
_PLAIN_KINDS: Final = {
    "stimulus": (TakeKind.STIMULUS, True),
    "impedance": (TakeKind.IMPEDANCE, False),
    "microphone": (TakeKind.MICROPHONE_CALIBRATION, False),
    "noise": (TakeKind.NOISE, True),
}
_DEGREES: Final = r"(?P<degrees>\d{1,3}(?:\.\d+)?)(?:deg|°)?"
_ANGLE: Final = re.compile(rf"(?P<plane>[a-z]*)(?P<sign>[+−-]?){_DEGREES}", re.ASCII)
_GLUED: Final = re.compile(rf"(?P<word>[a-z]*)[0-9.]*(?<!^)-{_DEGREES}(?:-.*)?", re.ASCII)
_VOLTS: Final = re.compile(r"(?P<volts>\d{1,3}(?:\.\d+)?)v(?:rms)?", re.ASCII)
_FULL_SCALE: Final = re.compile(r"(?P<sign>[+−-]?)(?P<level>\d{1,3}(?:\.\d+)?)dbfs", re.ASCII)
_REPEAT: Final = re.compile(r"(?:^|_)repeat[_ ]?(?P<repeat>\d{1,4})(?=_|$)", re.ASCII)
_DISTANCE: Final = re.compile(r"(?P<distance>\d{1,4}(?:\.\d+)?)(?P<unit>mm|cm)", re.ASCII)
_LEVEL: Final = re.compile(r"(?P<level>\d{2,3}(?:\.\d+)?)(?:db)?", re.ASCII)
_RADIATOR: Final = re.compile(r"[a-z][a-z0-9_]{0,39}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Arrived:
    """A file that its reader has looked at; `path` is relative to ``raw/``, with forward slashes."""

    path: str
    contents: Contents


@dataclass(frozen=True, slots=True)
class Recognition:
    """What a part of a file was taken for, or why it can't be told.

    `path` is relative to ``raw/``. `take` is None as long as there is a doubt; each doubt is one line that a
    person can settle in ``takes.toml`` or by renaming the file.
    """

    path: str
    take: Take | None
    doubts: tuple[str, ...] = ()


def recognise(
    files: Sequence[Arrived], *, drive: Drive | None = None, stimulus: str | None = None
) -> tuple[Recognition, ...]:
    """Takes of the parts of `files`, in the order of their paths.

    Parameters
    ----------
    drive
        What the caller states for every file whose name gives no drive.
    stimulus
        The stimulus that the case has already; needed where none is among `files`.
    """
    ordered = sorted(files, key=lambda file: file.path)
    found = [_recognise_one(file, part, drive) for file in ordered for part in _parts(file.contents)]
    stimuli = [r.path for r in found if r.take is not None and r.take.key.kind is TakeKind.STIMULUS]
    stimuli += [stimulus] if stimulus is not None and stimulus not in stimuli else []
    return tuple(_with_stimulus(r, stimuli) for r in found)


def _with_stimulus(recognition: Recognition, stimuli: list[str]) -> Recognition:
    """Name the one stimulus in a recording's take."""
    take = recognition.take
    if take is None or take.key.kind not in (TakeKind.SWEEP, TakeKind.NEAR_FIELD):
        return recognition
    if len(stimuli) == 1:
        return replace(recognition, take=replace(take, stimulus=stimuli[0]))
    doubt = (
        "no stimulus is among the files; add the file that was played"
        if not stimuli
        else f"which stimulus was played isn't said: {' or '.join(stimuli)}"
    )
    return replace(recognition, take=None, doubts=(doubt,))


def _parts(contents: Contents) -> tuple[Part, ...]:
    """The parts to be told apart: one for all where the file itself says in which direction each lies."""
    if len(contents.parts) > 1 and all(part.position_deg is not None for part in contents.parts):
        return (Part(EVERY_PART),)
    return contents.parts


def _recognise_one(file: Arrived, part: Part, stated: Drive | None) -> Recognition:
    path, audio = file.path, file.contents.form is Form.SOUND
    words = _words(path.removesuffix(PurePosixPath(path).suffix))
    doubts: list[str] = []
    if part.selector == EVERY_PART:
        drive = _drive(words.split("_"), stated, doubts)
        take: Take | None = Take(path, TakeKey(TakeKind.RESPONSE, drive=drive))
    else:
        take = _take(path, words, audio, stated, doubts)
    if doubts or take is None:
        return Recognition(path, None, tuple(doubts))
    return Recognition(path, replace(take, selector=part.selector))


def _words(stem: str) -> str:
    """The path's name parts joined by single underscores; a sign stays with its number.

    A hyphen before a digit and after a letter or digit may be either, and stays for `_direction` to doubt.
    """
    text = re.sub(r"[/_\s]+", "_", stem.lower())
    text = re.sub(r"(?<=[^_])-(?=[a-z+−-]|[\d.]+v)|-(?=_)|-$", "_", text)
    return re.sub(r"_+", "_", text).strip("_")


def _take(path: str, words: str, audio: bool, stated: Drive | None, doubts: list[str]) -> Take | None:
    """The take of one file; what can't be told is added to `doubts`."""
    tokens = words.split("_")
    if "calibrator" in tokens:
        return _calibrator(path, tokens, audio, doubts)
    if "near_field" in words or "nearfield" in tokens:
        return _near_field(path, words, audio, stated, doubts)
    for word, (only, expects_audio) in _PLAIN_KINDS.items():
        if word in tokens:
            return _single(path, only, audio, expects_audio, doubts)
    kind = TakeKind.SWEEP if audio else TakeKind.RESPONSE
    rest, repeat = _repeat(words)
    direction = _direction(rest.split("_"), doubts)
    drive = _drive(rest.split("_"), stated, doubts)
    return None if doubts else Take(path, TakeKey(kind, direction, drive, repeat=repeat))


def _single(path: str, kind: TakeKind, audio: bool, expects_audio: bool, doubts: list[str]) -> Take:
    """A take of which nothing but the kind is told by the name."""
    if audio != expects_audio:
        name = str(kind).replace("_", " ")
        doubts.append(f"named as {name}, which is {'a recording' if expects_audio else 'text'}")
    return Take(path, TakeKey(kind))


def _calibrator(path: str, tokens: list[str], audio: bool, doubts: list[str]) -> Take:
    take = _single(path, TakeKind.CALIBRATOR, audio, True, doubts)
    levels = {float(m["level"]) for m in map(_LEVEL.fullmatch, tokens) if m}
    if len(levels) != 1:
        doubts.append("the calibrator's level isn't said, as in calibrator_94")
        return take
    return replace(take, level_db=levels.pop())


def _near_field(path: str, words: str, audio: bool, stated: Drive | None, doubts: list[str]) -> Take | None:
    """A near field: what else the name says is the radiator."""
    if not audio:
        doubts.append("a near field is read from its recording, not from text")
    rest, repeat = _repeat(words)
    tokens = rest.replace("near_field", "nearfield").split("_")
    distances = [m for m in map(_DISTANCE.fullmatch, tokens) if m]
    if len(distances) > 1:
        doubts.append("more than one distance is in the name")
    drive = _drive(tokens, stated, doubts)
    after = tokens[tokens.index("nearfield") + 1 :]
    radiator = "_".join(t for t in after if not (_DISTANCE.fullmatch(t) or _is_drive(t)))
    if not _RADIATOR.fullmatch(radiator):
        doubts.append("the radiator isn't said, as in near_field_woofer")
    if doubts:
        return None
    distance = None
    if distances:
        scale = 0.001 if distances[0]["unit"] == "mm" else 0.01
        distance = round(float(distances[0]["distance"]) * scale, 6)
    key = TakeKey(TakeKind.NEAR_FIELD, drive=drive, radiator=radiator, repeat=repeat)
    return Take(path, key, distance_m=distance)


def _repeat(words: str) -> tuple[str, int]:
    """The name without its repeat, and the repeat."""
    match = _REPEAT.search(words)
    if match is None or int(match["repeat"]) < 1:
        return words, 1
    return (words[: match.start()] + words[match.end() :]).strip("_").replace("__", "_"), int(match["repeat"])


def _is_drive(token: str) -> bool:
    return bool(_VOLTS.fullmatch(token) or _FULL_SCALE.fullmatch(token))


def _drive(tokens: list[str], stated: Drive | None, doubts: list[str]) -> Drive | None:
    """The drive in the name, else the stated one."""
    found: set[Drive] = set()
    for token in tokens:
        if volts := _VOLTS.fullmatch(token):
            found.add(Drive(float(volts["volts"]), "V"))
        elif full_scale := _FULL_SCALE.fullmatch(token):
            level = float(full_scale["level"])
            if level and full_scale["sign"] not in ("-", "−"):
                doubts.append("a drive above digital full scale is in the name; −20dBFS has its sign")
                return None
            found.add(Drive(-level, "dBFS"))
    if len(found) > 1:
        doubts.append(f"more than one drive is in the name: {', '.join(sorted(d.label for d in found))}")
        return None
    drive = found.pop() if found else stated
    if drive is None:
        doubts.append("the drive isn't said, as in 2.83V")
    elif drive.unit == "V" and drive.value <= 0.0:
        doubts.append("a drive of zero volts is in the name")
    return drive


def _direction(tokens: list[str], doubts: list[str]) -> Direction | None:
    """Plane and signed angle."""
    planes = {_PLANES[t] for t in tokens if t in _PLANES}
    signed: set[float] = set()
    unsigned: set[float] = set()
    for token in tokens:
        if (glued := _GLUED.fullmatch(token)) and not _is_drive(token):
            unsigned.add(float(glued["degrees"]))
            planes |= {_PLANES[glued["word"]]} if glued["word"] in _PLANES else set()
        elif (match := _ANGLE.fullmatch(token)) and (not match["plane"] or match["plane"] in _PLANES):
            planes |= {_PLANES[match["plane"]]} if match["plane"] else set()
            value = float(match["degrees"])
            if match["sign"]:
                signed.add(value if match["sign"] == "+" else -value)
            else:
                unsigned.add(value)
    if {"on", "axis"} <= set(tokens) or "onaxis" in tokens:
        signed.add(0.0)
    angle = _angle(signed, unsigned, doubts)
    if angle is None:
        return None
    if len(planes) > 1:
        doubts.append("both planes are in the name")
    elif not planes and angle not in (0.0, 180.0):
        doubts.append("the plane isn't said: horizontal or vertical")
    else:
        return Direction(planes.pop() if planes else Orbit.HORIZONTAL, angle)
    return None


def _angle(signed: set[float], unsigned: set[float], doubts: list[str]) -> float | None:
    """The one angle in (−180, 180] that the name says without doubt."""
    candidates = signed or unsigned
    if not candidates:
        doubts.append("the angle isn't said, as in horizontal_+030")
        return None
    if len(candidates) > 1:
        doubts.append("more than one angle may be in the name")
        return None
    (angle,) = candidates
    angle = 180.0 if angle == -180.0 else angle + 0.0
    if not -180.0 < angle <= 180.0:
        doubts.append(f"an angle of {angle:g}° lies outside ±180°")
        return None
    if not signed and angle not in (0.0, 180.0):
        doubts.append(f"the sign of {angle:g}° isn't said: + is the loudspeaker's left, or upward")
        return None
    return angle
