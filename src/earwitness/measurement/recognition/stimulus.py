"""Which stimulus a recording is of: the only one, the only one of its sample rate, or a step of one sweep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from earwitness.measurement.recognition.answers import Recognition, Unclear
from earwitness.measurement.recognition.kind import STEADY, steady_kind_of
from earwitness.records.takes import ELECTRICAL, Drive, TakeKind

#: Kinds that a stimulus is played for; an impedance may be a file of ohms, too, which has no sample rate.
_PLAYED: Final = frozenset({TakeKind.SWEEP, TakeKind.NEAR_FIELD, TakeKind.REFERENCE}) | STEADY | ELECTRICAL


@dataclass(frozen=True, slots=True)
class Step:
    """A stimulus that is one of several levels of the same sweep.

    `sweep` is the same text for all of them; `drives` say at what drive this one plays, in each unit.
    """

    sweep: str
    drives: frozenset[Drive] = frozenset()


def with_stimulus(
    recognition: Recognition,
    rate_hz: float | None,
    stimuli: Mapping[str, float | None],
    steps: Mapping[str, Step] | None = None,
) -> Recognition:
    """Name the stimulus in a recording's take, else doubt it.

    `stimuli` are sample rates by path. Of those that are steps of one sweep it is the one of the take's
    drive, or the first: a response is the same by any of them. A stimulus whose name says endurance
    or tones goes with takes of that kind alone.
    """
    take = recognition.take
    if take is None or take.key.kind not in _PLAYED or (take.key.kind in ELECTRICAL and rate_hz is None):
        return recognition
    steady = take.key.kind if take.key.kind in STEADY else None
    stimuli = {path: rate for path, rate in stimuli.items() if steady_kind_of(path) is steady}
    fitting = fitting_stimuli(rate_hz, stimuli)
    step = _step_at(fitting, take.key.drive, steps or {})
    played = fitting[0] if len(fitting) == 1 else step
    if played is not None:
        return replace(recognition, take=replace(take, stimulus=played))
    doubt = Unclear("stimulus", _why_none(fitting, rate_hz, stimuli))
    return replace(recognition, take=None, doubts=(*recognition.doubts, doubt))


def fitting_stimuli(rate_hz: float | None, stimuli: Mapping[str, float | None]) -> list[str]:
    """Those that may have been played in a recording of that sample rate."""
    return [path for path, rate in stimuli.items() if _may_fit(rate, rate_hz)]


def _step_at(fitting: list[str], drive: Drive | None, steps: Mapping[str, Step]) -> str | None:
    """The step of one sweep that plays at `drive`; None where `fitting` are more sweeps than one."""
    if not fitting or len({steps[path].sweep if path in steps else path for path in fitting}) > 1:
        return None
    ordered = sorted(fitting)
    return next((path for path in ordered if path in steps and drive in steps[path].drives), ordered[0])


def _may_fit(rate: float | None, recorded: float | None) -> bool:
    return rate is None or recorded is None or rate == recorded


def _why_none(fitting: list[str], rate_hz: float | None, stimuli: Mapping[str, float | None]) -> str:
    if fitting:
        return f"which stimulus was played isn't said: {' or '.join(sorted(fitting))}"
    if not stimuli:
        return "no stimulus is among the files; add the file that was played"
    rates = ", ".join(f"{path} at {rate:g} Hz" for path, rate in sorted(stimuli.items()))
    return f"it was recorded at {rate_hz:g} Hz, and no stimulus was: {rates}"
