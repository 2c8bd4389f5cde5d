"""Whether something would be heard, and by how much it changes what the ear's filters pass."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from earwitness.records.sentences import Sentence


class Heard(StrEnum):
    """Whether a listener would hear it."""

    LIKELY = "likely"
    MAYBE = "maybe"
    UNLIKELY = "unlikely"


#: In which sound it changes most.
HeardIn = Literal["on axis", "in the room", "beside the fundamental"]


@dataclass(frozen=True, slots=True)
class Audibility:
    """What a feature, or distortion, does to the excitation of the ear.

    Attributes
    ----------
    excitation_change_db
        The largest change of excitation level over all auditory filters, with its sign.
    uncertainty_db
        Its standard uncertainty; that of the threshold it is held against isn't in it.
    frequency_hz
        The centre of the filter that changes most.
    heard_in
        The sound in which it does.
    level_db
        The level at which that holds: of the programme, or of the fundamental, dB SPL at the listener.
    reason
        Why, in sentences.
    """

    verdict: Heard
    excitation_change_db: float
    uncertainty_db: float
    frequency_hz: float
    heard_in: HeardIn
    level_db: float
    reason: Sentence
