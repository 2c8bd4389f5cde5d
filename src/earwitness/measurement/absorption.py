"""What the air between loudspeaker and microphone takes: off a level, or into its uncertainty.

Levels at 1 m are those of air that absorbs nothing (decision 12).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.methods.iso_9613_1 import absorption_db_per_m
from earwitness.records.facts import Rig

Float64s = npt.NDArray[np.float64]

#: Where no humidity is stated it may be any between these, in %; where no temperature is, it is a room's.
HUMIDITY_PERCENT: Final = (20.0, 80.0)
ROOM_C: Final = 20.0
HUMIDITIES: Final = 25

CORRECTED: Final = "What the air absorbs between loudspeaker and microphone is added, by the stated humidity."
NOT_CORRECTED: Final = (
    "What the air absorbs isn't added, since its humidity or its warmth isn't stated: treble reads a little "
    "low, and its uncertainty says by how much."
)


@dataclass(frozen=True)
class Absorption:
    """dB per metre of air, shape (F,) each: what is added to a level, and the standard uncertainty left."""

    added_db: Float64s
    unsure_db: Float64s

    @property
    def note(self) -> str:
        """What was done, in words."""
        return NOT_CORRECTED if self.unsure_db.any() else CORRECTED


def absorption_in(rig: Rig, frequency_hz: Float64s) -> Absorption:
    """By the rig's air; where it isn't stated nothing is added.

    The error that is left then is what the air took: its root mean square where humidity is any between 20
    and 80 % alike (JCGM 100:2008, 4.3.7 and F.2.4.5: a bias that isn't corrected counts whole; recalled).
    """
    nothing = np.zeros(frequency_hz.size)
    if rig.humidity_percent is not None and rig.temperature_c is not None:
        taken = absorption_db_per_m(frequency_hz, rig.temperature_c, rig.humidity_percent)
        return Absorption(np.asarray(taken, dtype=np.float64), nothing)
    warmth = ROOM_C if rig.temperature_c is None else rig.temperature_c
    any_of = np.linspace(*HUMIDITY_PERCENT, HUMIDITIES)
    each = np.stack([absorption_db_per_m(frequency_hz, warmth, float(humid)) for humid in any_of])
    return Absorption(nothing, np.sqrt(np.mean(each**2, axis=0)))
