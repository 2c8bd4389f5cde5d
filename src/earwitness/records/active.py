"""How late a loudspeaker plays; of an active one it is a figure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from earwitness.records.takes import TakeId


@dataclass(frozen=True, slots=True)
class Latency:
    """How much later treble arrives on axis than the way takes, after the loopback.

    `latency_s` is the mean over takes; None where it isn't determined, and `missing` says why.
    `scatter_s` is the standard uncertainty of that mean by repetition, None of one take; `flight_s` what the
    way through the air takes.
    """

    takes: tuple[TakeId, ...]
    latency_s: float | None
    scatter_s: float | None = None
    flight_s: float | None = None
    missing: str = ""


NOT_DETERMINED: Final = Latency((), None, missing="not determined: no loopback")
