"""How much of what stands out of a response an equaliser can take away, for every seat or for one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from earwitness.records.grid import Bools, Floats
from earwitness.records.sentences import Sentence


class Mends(StrEnum):
    """For whom an equaliser mends it."""

    EVERY_SEAT = "every seat"
    ONE_SEAT = "one seat"
    NOWHERE = "nowhere"
    CANNOT_TELL = "can't tell"


@dataclass(frozen=True)
class Deviation:
    """How responses of some directions deviate from their own smooth courses, in bands about F frequencies.

    Attributes
    ----------
    common_db2, apart_db2
        Shape (F,): the square of the deviation that all directions have in common, and the variance of the
        others about it, dB². NaN where not valid.
    uncertainty
        Shape (F,): standard uncertainty of `part`.
    """

    common_db2: Floats
    apart_db2: Floats
    uncertainty: Floats

    @property
    def part(self) -> Floats:
        """C = d̄²/(d̄² + s²), 0 … 1: the part of the deviation's square that an equaliser takes away."""
        whole = self.common_db2 + self.apart_db2
        return np.asarray(self.common_db2 / np.where(whole > 0.0, whole, np.nan))

    @property
    def size_db(self) -> Floats:
        """The deviation of all directions, root mean square, dB."""
        return np.asarray(np.sqrt(self.common_db2 + self.apart_db2))


@dataclass(frozen=True)
class Correctability:
    """The two planes, each over the whole orbit, and the listening window; all over `frequency_hz` (F,)."""

    frequency_hz: Floats
    valid: Bools
    horizontal: Deviation
    vertical: Deviation
    window: Deviation


@dataclass(frozen=True, slots=True)
class Correctable:
    """Whether an equaliser mends one feature.

    `part` is the smaller of the planes' C in the feature's band, `window_part` that of the listening window;
    the uncertainties are standard ones.
    """

    mends: Mends
    part: float
    part_uncertainty: float
    window_part: float
    window_uncertainty: float
    reason: Sentence
