"""One band that changes with the level, with what lies beside it, as the causes of the level see it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.impedance import Impedance
from earwitness.records.level_changes import LevelChange

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: Every so many points of the derived grid: the change is a mean over a sixth of an octave, which is 16.
EVERY: Final = 8
#: What lies so far beside the band tells its shape, octaves.
BESIDE_OCTAVES: Final = 1.0
#: Points that err alike, after thinning.
ALIKE: Final = 4.0
#: A mechanism that sets in or ends does so over about this, octaves.
EDGE_OCTAVES: Final = 0.15
#: Ends of mechanisms are tried so far apart, octaves.
ENDS_OCTAVES: Final = 1.0 / 3.0
MOST_ENDS: Final = 12


@dataclass(frozen=True, slots=True)
class Stretch:
    """K frequencies about one band.

    Attributes
    ----------
    change
        The band itself.
    frequency_hz, inside
        Shape (K,): frequencies, and which of them are the band's own.
    change_db
        Shape (K,): at the highest drive against the lowest.
    course_db
        Shape (D,): mean change over the band at each drive.
    gain_db
        Shape (D,): each drive over the lowest.
    ohms
        Shape (K,): impedance, real where its phase isn't known; None where it isn't known all over.
    most_ohm
        By so much a coil's resistance may have grown here at most: what the same driver shows above the bass;
        infinite where that isn't known.
    whole
        Whether the band is all that is valid of the response.
    distortion
        Total harmonic distortion of the band at the highest drive, a ratio; None where noise hides it.
    """

    change: LevelChange
    frequency_hz: Float64s
    inside: Bools
    change_db: Float64s
    course_db: Float64s
    gain_db: Float64s
    ohms: Complex128s | None
    most_ohm: float
    whole: bool
    distortion: float | None

    @property
    def octaves(self) -> Float64s:
        """log₂ of the frequency, (K,)."""
        return np.asarray(np.log2(self.frequency_hz))

    def bands(self) -> tuple[Float64s, Float64s]:
        """Where a mechanism may act: (M, K) of 0 to 1, and how many ends (M,) each band has.

        Everywhere, from an end up, down to an end, and between two.
        """
        step = max(ENDS_OCTAVES, float(np.ptp(self.octaves)) / MOST_ENDS)
        ends = np.arange(self.octaves[0], self.octaves[-1], step)[1:]
        up = 0.5 * (1.0 + np.tanh((self.octaves[None] - ends[:, None]) / EDGE_OCTAVES))
        first, last = np.triu_indices(ends.size, 2)
        found = np.concatenate([np.ones((1, self.octaves.size)), up, 1.0 - up, up[first] * (1.0 - up[last])])
        return found, np.repeat([0.0, 1.0, 1.0, 2.0], [1, ends.size, ends.size, first.size])


def stretch_of(
    change: LevelChange, level: ChangeWithLevel, frequency_hz: Float64s, impedance: Impedance | None
) -> Stretch:
    """The band with an octave to each side, as far as the change is valid."""
    changes = np.asarray(level.change_db, dtype=np.float64)
    valid = np.isfinite(changes[-1])
    low, high = change.band_hz[0] * 2.0**-BESIDE_OCTAVES, change.band_hz[1] * 2.0**BESIDE_OCTAVES
    at = np.flatnonzero(valid & (frequency_hz >= low) & (frequency_hz <= high))[::EVERY]
    inside = (frequency_hz >= change.band_hz[0]) & (frequency_hz <= change.band_hz[1])
    told = inside & np.asarray(level.heard[-1]) & np.isfinite(level.ratio[-1])
    values = np.array([drive.value for drive in level.drives])
    decibels = level.drives[0].in_decibels
    with np.errstate(invalid="ignore"):
        course = np.nanmean(np.where(inside & valid, changes, np.nan)[:, inside], axis=1)
    return Stretch(
        change=change,
        frequency_hz=frequency_hz[at],
        inside=inside[at],
        change_db=changes[-1, at],
        course_db=course,
        gain_db=values - values[0] if decibels else 20.0 * np.log10(values / values[0]),
        ohms=_ohms(impedance, at),
        most_ohm=_most_ohm(change, changes[-1], frequency_hz, impedance),
        whole=int(inside.sum()) >= WHOLE_PART * int(valid.sum()),
        distortion=float(np.median(level.ratio[-1, told])) if told.any() else None,
    )


#: A band is the whole response where it is this part of what is valid.
WHOLE_PART: Final = 0.9


#: A band that ends below the first is the bass: the same driver plays on over the others, Hz.
BASS_HZ, ABOVE_HZ = 150.0, (150.0, 400.0)
#: There it warms more than in a rising sweep's bass; so much more is left room for, dB and a factor.
ROOM_DB, ROOM_FACTOR = 0.15, 1.3


def _most_ohm(
    change: LevelChange, change_db: Float64s, frequency_hz: Float64s, impedance: Impedance | None
) -> float:
    """The ΔR that the loss above the bass bounds; infinite elsewhere, and where nothing is known there."""
    if impedance is None or change.band_hz[1] > BASS_HZ:
        return np.inf
    above = (frequency_hz >= ABOVE_HZ[0]) & (frequency_hz <= ABOVE_HZ[1])
    magnitude = np.asarray(impedance.magnitude_ohm, dtype=np.float64)
    known = above & np.isfinite(change_db) & np.isfinite(magnitude)
    if not known.any():
        return np.inf
    loss_db = np.maximum(-change_db[known], 0.0) + ROOM_DB
    return ROOM_FACTOR * float(np.median(magnitude[known] * (10.0 ** (loss_db / 20.0) - 1.0)))


def _ohms(impedance: Impedance | None, at: npt.NDArray[np.intp]) -> Complex128s | None:
    if impedance is None:
        return None
    magnitude = np.asarray(impedance.magnitude_ohm, dtype=np.float64)[at]
    if not np.isfinite(magnitude).all():
        return None
    phase = np.deg2rad(np.nan_to_num(np.asarray(impedance.phase_deg, dtype=np.float64)[at]))
    return np.asarray(magnitude * np.exp(1j * phase))


def octaves_wide(change: LevelChange) -> float:
    """Width of the band."""
    return float(np.log2(change.band_hz[1] / change.band_hz[0])) + 1.0 / POINTS_PER_OCTAVE
