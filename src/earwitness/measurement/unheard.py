"""A port that nobody measured: what the near field of its cone tells of it.

At a vented cabinet's tuning the cone hardly moves and the port gives all there is, so the cone's near field
has a notch there. Above it port over cone, in volume velocity, is 1/((f/f_b)² − 1) without losses (R. H.
Small, Vented-Box Loudspeaker Systems, JAES 21, 1973; recalled), and both add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.facts import Radiator

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: A notch lies below this, at least so far under what is an octave above it, and under the most below it.
HIGHEST_HZ: Final = 150.0
UNDER_ABOVE_DB: Final = 12.0
UNDER_BELOW_DB: Final = 4.0
#: From so many times the tuning a missing port is less than 0.4 dB: what is below isn't said.
SAID_FROM: Final = 5.0
NOTCH: Final = "has the notch of a cone at its cabinet's tuning"


@dataclass(frozen=True)
class Unheard:
    """Where a cone's notch lies, and whose it is."""

    tuning_hz: float
    cone: Radiator

    @property
    def note(self) -> str:
        """What is wrong, and what that does."""
        name, from_hz = self.cone.name.replace("_", " "), SAID_FROM * self.tuning_hz
        return (
            f"The near field of the {name} {NOTCH}, at {self.tuning_hz:.0f} Hz, and there is no near field "
            f"of a port or passive radiator: below {from_hz:.0f} Hz nothing is said, and above it the "
            "splice's uncertainty holds what may be missing."
        )

    def said(self, frequency_hz: Float64s) -> Bools:
        """Where the port is small enough, shape (F,)."""
        return np.asarray(frequency_hz >= SAID_FROM * self.tuning_hz)

    def half_width_db(self, frequency_hz: Float64s) -> Float64s:
        """What the port adds there, dB, shape (F,); 0 below."""
        above = np.maximum(frequency_hz / self.tuning_hz, SAID_FROM) ** 2
        return np.where(self.said(frequency_hz), 20.0 * np.log10(1.0 + 1.0 / (above - 1.0)), 0.0)


def unheard(
    radiators: Sequence[Radiator], pressure: Complex128s, frequency_hz: Float64s, valid: Bools
) -> Unheard | None:
    """The tuning of a port that is missing among K near fields (K, F); None where nothing shows one.

    None, too, where another radiator gives more at the notch than the cone: that is the port.
    """
    diameter = np.array([radiator.diameter_m for radiator in radiators])
    moved = np.abs(pressure) * diameter[:, None]
    for place, radiator in enumerate(radiators):
        at = _notch(20.0 * np.log10(np.maximum(moved[place], 1e-30)), frequency_hz, valid)
        if at is not None and moved[:, at].max() <= 2.0 * moved[place, at]:
            return Unheard(float(frequency_hz[at]), radiator)
    return None


def _notch(level_db: Float64s, frequency_hz: Float64s, valid: Bools) -> int | None:
    """Where the level is least between what is higher on both sides; None where it isn't low enough."""
    places = np.flatnonzero(valid & (frequency_hz <= HIGHEST_HZ))
    if places.size < 3:
        return None
    before = np.maximum.accumulate(level_db[places])
    octave = np.searchsorted(frequency_hz, 2.0 * frequency_hz[places])
    after = level_db[np.minimum(octave, level_db.size - 1)]
    low = level_db[places]
    deep = (before - low >= UNDER_BELOW_DB) & (after - low >= UNDER_ABOVE_DB)
    return int(places[deep][np.argmin(low[deep])]) if deep.any() else None
