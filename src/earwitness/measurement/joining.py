"""The splice: near fields below, gated far fields above."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise, splice
from earwitness.measurement.carrying import PlacedCabinet, carried, model_uncertainty_db
from earwitness.measurement.gated import Gated
from earwitness.measurement.near_field import NearField
from earwitness.measurement.setting import Setting
from earwitness.records.responses import Origin

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: The overlap in which the two are joined, in octaves: as a rule, and at least.
OVERLAP_OCTAVES: Final = 1.0
LEAST_OVERLAP_OCTAVES: Final = 0.5
#: Near and far that differ by more in the overlap, as a root mean square, are pointed out.
WARN_DB: Final = 1.5


@dataclass(frozen=True)
class Joined:
    """R joined responses on the grid; every array has shape (R, F)."""

    pressure: npt.NDArray[np.complex64]
    valid: Bools
    origin: npt.NDArray[np.uint8]
    noise_db: Float64s
    gate_db: Float64s
    splice_db: Float64s
    notes: tuple[str, ...]


def overlap(near: NearField, frequency_hz: Float64s, gated_from_hz: float) -> slice | None:
    """Where both hold: from the gate's limit up an octave; None where less than half of one is left."""
    above = np.flatnonzero(frequency_hz >= gated_from_hz)
    if above.size == 0:
        return None
    first = int(above[0])
    last = int(np.searchsorted(frequency_hz, gated_from_hz * 2.0**OVERLAP_OCTAVES, side="right"))
    invalid = np.flatnonzero(~near.valid[first:last])
    last = first + int(invalid[0]) if invalid.size else last
    if last - first < 2 or frequency_hz[last - 1] < frequency_hz[first] * 2.0**LEAST_OVERLAP_OCTAVES:
        return None
    return slice(first, last)


def join(
    near: NearField,
    gated: Gated,
    over: slice,
    cabinet: PlacedCabinet,
    setting: Setting,
) -> Joined:
    """Near fields carried to each of the R microphones, cross-faded with the gated responses over `over`.

    The near field keeps its theoretical level. The uncertainty of the splice, in the overlap and below it, is
    how far the two differ in the overlap, and what it does that a sphere stands for a box.
    """
    frequency_hz = setting.frequency_hz
    rows, count = gated.pressure.shape
    below = frequency_hz[: over.stop]
    low, low_noise = carried(near, cabinet, below, setting.speed_m_s)
    high = gated.pressure[:, : over.stop].astype(np.complex128)
    low = splice.aligned(low, high, below, over)
    rms_db = splice.mismatch_db(low, high, over)
    weight = np.ones(count)
    weight[: over.stop] = splice.crossfade_weight(below, below[over.start], below[-1])
    pressure = gated.pressure.copy()
    pressure[:, : over.stop] = splice.blended(low, high, weight[: over.stop])
    near_db = np.zeros((rows, count))
    near_db[:, : over.stop] = noise.level_uncertainty_db(np.abs(low) ** 2, low_noise)
    far_db = np.where(weight > 0.0, gated.noise_db, 0.0)
    splice_db = np.zeros((rows, count))
    splice_db[:, : over.stop] = np.hypot(
        rms_db[:, None], model_uncertainty_db(near, cabinet, below, setting.speed_m_s)
    )
    valid_near = np.where(weight < 1.0, near.valid, True)
    valid_far = np.where(weight > 0.0, gated.valid, True)
    origin = np.full((rows, count), Origin.GATED, dtype=np.uint8)
    origin[:, : over.stop] = Origin.BLENDED
    origin[:, : over.start + 1] = Origin.NEAR_FIELD
    return Joined(
        pressure=pressure,
        valid=valid_near & valid_far,
        origin=origin,
        noise_db=np.hypot((1.0 - weight) * near_db, weight * far_db),
        gate_db=weight * np.where(weight > 0.0, gated.gate_db, 0.0),
        splice_db=splice_db * (1.0 - weight),
        notes=(*near.notes, *_warning(rms_db)),
    )


def _warning(rms_db: Float64s) -> tuple[str, ...]:
    apart = rms_db > WARN_DB
    if not apart.any():
        return ()
    where = "every direction" if apart.all() else "some directions"
    return (
        f"Near field and far field don't agree in level where they overlap, in {where}; "
        "the uncertainty of the splice says by how much.",
    )
