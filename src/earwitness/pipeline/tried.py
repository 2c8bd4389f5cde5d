"""New files, tried as a build will take them, before they are in the case."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from earwitness.measurement.answers import answer_in, stimuli_of, stimulus_in
from earwitness.measurement.deconvolution import RECORDED, Trial
from earwitness.measurement.electrical import is_electrical, require_electrical
from earwitness.measurement.endurance import require_run
from earwitness.measurement.expansion import expanded
from earwitness.measurement.given_impulse import is_given
from earwitness.measurement.readers.signals import read_responses, read_sounds
from earwitness.measurement.toned import TONED, require_tones
from earwitness.pipeline.arrivals import Doubt, Progress
from earwitness.records.errors import ReadError
from earwitness.records.takes import EVERY_PART, Take, TakeKind

_RESPONSES: Final = frozenset({TakeKind.RESPONSE, TakeKind.IMPEDANCE, TakeKind.MICROPHONE_CALIBRATION})


#: Of more recordings those are deconvolved that matter most, or are weak re full scale; all are read.
_FEW: Final = 12
_WEAK: Final = 1e-3


def tried(
    files: Mapping[str, Path], takes: Sequence[Take], known: Sequence[Take], progress: Progress
) -> list[Doubt]:
    """Doubts of `takes` that a build of the case would refuse.

    Parameters
    ----------
    files
        Where each file lies, by its name below ``raw/``: those of `takes`, and of `known` where it is there.
    known
        What the case has beside them.
    """
    with tempfile.TemporaryDirectory(prefix="earwitness-") as folder:
        raw = Path(folder)
        for name, file in files.items():
            (raw / name).parent.mkdir(parents=True, exist_ok=True)
            (raw / name).symlink_to(file.absolute())
        doubts = _of_parts(raw, takes, known)
        doubted = {doubt.path for doubt in doubts}
        doubts += _of_signals(raw, [take for take in takes if take.path not in doubted])
        doubts += _of_steady(raw, takes)
        return [*doubts, *_of_electrical(raw, takes, known), *_of_recordings(raw, takes, known, progress)]


def _of_parts(raw: Path, takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """The doubt of files whose parts are all told at once, beside what else there is."""
    there = [take for take in known if (raw / take.path).exists()]
    if not any(take.selector for take in (*takes, *there)):
        return []
    try:
        expanded((*there, *takes), raw)
    except ReadError as error:
        new = {take.path for take in takes}
        return [Doubt.of(error, error.file if error.file in new else takes[0].path)] if takes else []
    return []


def _of_signals(raw: Path, takes: Sequence[Take]) -> list[Doubt]:
    """Doubts of takes whose part isn't in their file, or is something else than is meant."""
    doubts = []
    for take in takes:
        if take.selector == EVERY_PART or is_electrical(raw, take):
            continue
        if take.key.kind in RECORDED and not is_given(take):
            continue
        read = read_responses if take.key.kind in _RESPONSES else read_sounds
        try:
            read(raw, [take])
        except ReadError as error:
            doubts.append(Doubt.of(error, take.path, take.selector))
    return doubts


def _of_steady(raw: Path, takes: Sequence[Take]) -> list[Doubt]:
    """Doubts of runs and of tones that a build would refuse."""
    doubts = []
    require = {TakeKind.ENDURANCE: require_run, **dict.fromkeys(TONED, require_tones)}
    for take in takes:
        if take.key.kind in require and take.stimulus and (raw / take.stimulus).exists():
            try:
                require[take.key.kind](raw, take)
            except ReadError as error:
                doubts.append(Doubt.of(error, take.path, take.selector))
    return doubts


def _of_electrical(raw: Path, takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """Doubts of recordings of voltage and current that a build would refuse."""
    doubts = []
    stimuli = stimuli_of((*known, *takes))
    for take in takes:
        try:
            if is_electrical(raw, take):
                require_electrical(raw, take, stimuli)
        except ReadError as error:
            doubts.append(Doubt.of(error, take.path, take.selector))
    return doubts


def _of_recordings(
    raw: Path, takes: Sequence[Take], known: Sequence[Take], progress: Progress
) -> list[Doubt]:
    """Doubts of recordings that don't hold their stimulus as a build needs it."""
    doubts = []
    recorded = [take for take in takes if take.key.kind in RECORDED and not is_given(take) and take.stimulus]
    made = {take.path: take for take in (*known, *takes) if take.key.kind is TakeKind.STIMULUS}
    trials: dict[str, Trial | None] = {}
    for done, take in enumerate(recorded):
        progress("trying the recordings", done, len(recorded))
        played = take.stimulus or ""
        try:
            if played not in trials:
                trials[played] = None
                if played in made and (raw / played).exists():
                    trials[played] = Trial(stimulus_in(raw / played, made[played]))
            trial = trials[played]
            if trial is None:
                read_sounds(raw, [take])
            elif len(recorded) <= _FEW or _matters_most(take) or _is_weak(trial, take, raw / take.path):
                trial.require(take, raw / take.path)
        except ReadError as error:
            of_stimulus = error.file == played and any(new.path == played for new in takes)
            whose = (played, "") if of_stimulus else (take.path, take.selector)
            doubts.append(Doubt.of(error, *whose))
    return doubts


def _matters_most(take: Take) -> bool:
    """Whether a take stands for many: on axis, or a near field."""
    direction = take.key.direction
    return direction is None or direction.angle_deg == 0.0


def _is_weak(trial: Trial, take: Take, file: Path) -> bool:
    """Whether a take, or its loopback, is too weak to hold its stimulus for sure; reads it whole."""
    answer = answer_in(file, take, trial.stimulus)
    heard = [answer.microphone] if answer.loopback is None else [answer.microphone, answer.loopback]
    return any(max(float(samples.max()), -float(samples.min())) < _WEAK for samples in heard)
