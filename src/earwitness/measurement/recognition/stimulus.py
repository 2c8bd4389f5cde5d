"""Which stimulus a recording is of: the only one, or the only one of its sample rate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from earwitness.measurement.recognition.answers import Recognition, Unclear
from earwitness.records.takes import TakeKind


def with_stimulus(
    recognition: Recognition, rate_hz: float | None, stimuli: Mapping[str, float | None]
) -> Recognition:
    """Name the stimulus in a recording's take, else doubt it. `stimuli` are sample rates by path."""
    take = recognition.take
    if take is None or take.key.kind not in (TakeKind.SWEEP, TakeKind.NEAR_FIELD, TakeKind.REFERENCE):
        return recognition
    fitting = fitting_stimuli(rate_hz, stimuli)
    if len(fitting) == 1:
        return replace(recognition, take=replace(take, stimulus=fitting[0]))
    doubt = Unclear("stimulus", _why_none(fitting, rate_hz, stimuli))
    return replace(recognition, take=None, doubts=(*recognition.doubts, doubt))


def fitting_stimuli(rate_hz: float | None, stimuli: Mapping[str, float | None]) -> list[str]:
    """Those that may have been played in a recording of that sample rate."""
    return [path for path, rate in stimuli.items() if _may_fit(rate, rate_hz)]


def _may_fit(rate: float | None, recorded: float | None) -> bool:
    return rate is None or recorded is None or rate == recorded


def _why_none(fitting: list[str], rate_hz: float | None, stimuli: Mapping[str, float | None]) -> str:
    if fitting:
        return f"which stimulus was played isn't said: {' or '.join(sorted(fitting))}"
    if not stimuli:
        return "no stimulus is among the files; add the file that was played"
    rates = ", ".join(f"{path} at {rate:g} Hz" for path, rate in sorted(stimuli.items()))
    return f"it was recorded at {rate_hz:g} Hz, and no stimulus was: {rates}"
