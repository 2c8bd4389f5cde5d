"""Runs of a case: what a load that lasts does to the loudspeaker's level."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import endurance
from earwitness.acoustics.endurance import LOAD, PROBE, Frames
from earwitness.acoustics.heating import TimeConstant
from earwitness.acoustics.load_causes import LoadCauses, load_causes, rows_told
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.impulse_response import drive_of
from earwitness.measurement.readers.contents import Recording
from earwitness.measurement.readers.signals import read_sounds
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import REFERENCE_PRESSURE_PA
from earwitness.records.long_term import (
    CauseVerdict,
    CauseWeighed,
    Endurance,
    LoadCause,
    Moment,
    TimeConstantFound,
    WarmCoil,
)
from earwitness.records.takes import Take, TakeKey, TakeKind

Floats = npt.NDArray[np.float64]


def endured(facts: CaseFacts, takes: Sequence[Take], raw: Path) -> Endurance | None:
    """What the run at the greatest drive tells; None where a case has none.

    Raises
    ------
    ReadError
        A recording or its stimulus can't be read, the stimulus isn't a run, or the recording doesn't hold it.
    """
    runs = [take for take in takes if take.key.kind is TakeKind.ENDURANCE]
    if not runs:
        return None
    take = max(runs, key=lambda one: (drive_of(one).value, one.id))
    heard, recording = _frames(raw, take)
    return _told(take, heard, load_causes(heard), _level_db(facts, takes, raw, recording))


def require_run(raw: Path, take: Take) -> None:
    """Refuse a recording that `endured` would refuse.

    Raises
    ------
    ReadError
        See there.
    """
    _frames(raw, take)


def _frames(raw: Path, take: Take) -> tuple[Frames, Recording]:
    if take.stimulus is None:
        raise ReadError(take.path, "has no stimulus stated", "name it in takes.toml")
    played = Take(take.stimulus, TakeKey(TakeKind.STIMULUS))
    (recording,), (stimulus,) = read_sounds(raw, [take]), read_sounds(raw, [played])
    if recording.sample_rate_hz != stimulus.sample_rate_hz:
        problem = f"was recorded at {recording.sample_rate_hz} Hz, and its stimulus {take.stimulus}"
        problem += f" has {stimulus.sample_rate_hz} Hz"
        raise ReadError(take.path, problem, "use one sample rate for both")
    try:
        heard = endurance.frames_of(recording.samples[0], stimulus.samples[0], recording.sample_rate_hz)
    except endurance.NotARunError as error:
        raise ReadError(
            take.path,
            f"can't be used with {take.stimulus} as a run: {error}",
            "play a file of `earwitness stimulus --kind endurance`, and record all of it",
        ) from error
    return heard, recording


def _level_db(facts: CaseFacts, takes: Sequence[Take], raw: Path, recording: Recording) -> float | None:
    """The level of the loudest second, referred to 1 m by the distance."""
    if facts.rig.distance_m is None:
        return None
    try:
        calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)
    except CaseError:
        return None
    rate = recording.sample_rate_hz
    samples = recording.samples[0]
    whole = samples[: samples.size // rate * rate].reshape(-1, rate)
    power = float(np.max(np.mean(whole.astype(np.float64) ** 2, axis=1)))
    pressure = np.sqrt(power) * calibration.pa_per_full_scale * facts.rig.distance_m
    return float(20.0 * np.log10(pressure / REFERENCE_PRESSURE_PA))


def _told(take: Take, heard: Frames, causes: LoadCauses, level_db: float | None) -> Endurance:
    last = int(np.flatnonzero(heard.kind == LOAD)[-1])
    after = int(np.flatnonzero((heard.kind == PROBE) & (heard.time_s > heard.time_s[last]))[0])
    return Endurance(
        take=take.id,
        drive=drive_of(take),
        load_s=float(np.count_nonzero(heard.gain > endurance.PROBE_PART)) * endurance.PERIOD_S,
        rest_s=float(heard.time_s[-1] - heard.time_s[last]),
        level_db=level_db,
        hours=None if level_db is None else float(niosh_hours_a_day(level_db)),
        octaves_hz=_listed(heard.octave_hz),
        change_db=_listed(heard.change_db[last]),
        lasting_db=_listed(heard.change_db[after]),
        uncertainty_db=_listed(np.maximum(heard.uncertainty_db[last], heard.uncertainty_db[after])),
        causes=tuple(
            CauseWeighed(LoadCause(cause), one.probability, one.effect_db, CauseVerdict(one.verdict))
            for cause, one in causes.judged.items()
        ),
        coils=tuple(
            WarmCoil(
                _listed(heard.octave_hz[list(coil.octaves)]),
                coil.warming.loss_db,
                _constant(coil.warming.short),
                _constant(coil.warming.long),
            )
            for coil in causes.coils
        ),
        course=tuple(
            Moment(float(heard.time_s[row]), bool(heard.kind[row] == LOAD), _listed(heard.change_db[row]))
            for row in np.flatnonzero(rows_told(heard))
        ),
    )


def _constant(found: TimeConstant) -> TimeConstantFound:
    return TimeConstantFound(found.value_s, found.low_s, found.high_s, found.part)


def _listed(values: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
