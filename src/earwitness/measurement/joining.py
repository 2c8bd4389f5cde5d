"""The splice: near fields below, gated far fields above."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise, splice
from earwitness.measurement.carrying import (
    PlacedCabinet,
    carried,
    model_uncertainty_db,
    repeat_uncertainty_db,
)
from earwitness.measurement.cut_off import cut_off_db, fitted_roll_off
from earwitness.measurement.gated import Gated
from earwitness.measurement.near_field import NearField
from earwitness.measurement.setting import Setting
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.responses import Origin

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: The overlap in which the two are joined, in octaves: as a rule, and at least.
OVERLAP_OCTAVES: Final = 1.0
LEAST_OVERLAP_OCTAVES: Final = 0.5
#: It is sought within so many octaves from the gate's limit, in steps of this part of one.
SOUGHT_OCTAVES: Final = 2.0
STEP_OCTAVES: Final = 1.0 / 12.0
#: A third of an octave in which they differ by more than so many standard uncertainties, and than so much, is
#: not passed over.
CONTRADICTED_OCTAVES: Final = 1.0 / 3.0
CONTRADICTED_TIMES: Final = 2.0
CONTRADICTED_DB: Final = 0.5
#: Noise that hides one of them explains whatever they differ by.
ANYTHING_DB: Final = 100.0
#: Near and far that differ by more in the overlap, as a root mean square, are pointed out.
WARN_DB: Final = 1.5


@dataclass(frozen=True)
class Repeat:
    """What repeats of near fields tell of the responses: dB (R, F), and its degrees of freedom (F,).

    Below the upper end of the overlap that of the mean; above it that of a single take, for where nothing
    else tells how well a take repeats.
    """

    standard_db: Float64s
    degrees: Float64s


@dataclass(frozen=True)
class Joined:
    """R joined responses on the grid; every array has shape (R, F).

    `over_hz` is the overlap in which they were joined, `mismatch_db` (R,) the mean level of the gated
    response over the carried near field there.
    """

    pressure: npt.NDArray[np.complex64]
    valid: Bools
    origin: npt.NDArray[np.uint8]
    noise_db: Float64s
    gate_db: Float64s
    splice_db: Float64s
    notes: tuple[str, ...]
    over_hz: tuple[float, float]
    mismatch_db: Float64s
    repeat: Repeat | None = None


def common(near: NearField, frequency_hz: Float64s, gated_from_hz: float) -> slice | None:
    """Where both hold: from the gate's limit up, two octaves at most; None where less than half of one is."""
    above = np.flatnonzero(frequency_hz >= gated_from_hz)
    if above.size == 0:
        return None
    first = int(above[0])
    last = int(np.searchsorted(frequency_hz, gated_from_hz * 2.0**SOUGHT_OCTAVES, side="right"))
    invalid = np.flatnonzero(~near.valid[first:last])
    last = first + int(invalid[0]) if invalid.size else last
    if last - first < 2 or frequency_hz[last - 1] < frequency_hz[first] * 2.0**LEAST_OVERLAP_OCTAVES:
        return None
    return slice(first, last)


def best_overlap(difference_db: Float64s, within: slice, explained_db: Float64s | None = None) -> slice:
    """The octave in which near and far differ least, of those that begin a twelfth of an octave apart.

    `difference_db` (R, F) is the level of one over the other; what counts is its root mean square over all R
    directions. Where less than an octave is common it is all of that.

    It doesn't begin above a third of an octave in which they differ by more than twice their uncertainty,
    `explained_db` (R, F) where it is told: there the near field would be taken against the gated response.
    """
    width = round(OVERLAP_OCTAVES * POINTS_PER_OCTAVE) + 1
    step = round(STEP_OCTAVES * POINTS_PER_OCTAVE)
    first = np.arange(within.start, within.stop - width + 1, step)
    if first.size < 2:
        return slice(within.start, min(within.stop, within.start + width))
    square = np.mean(difference_db**2, axis=0)
    if explained_db is not None:
        contradicted = _contradicted(square, np.mean(explained_db**2, axis=0))
        against = np.flatnonzero(contradicted[within.start : first[-1]])
        first = first[first <= within.start + int(against[0])] if against.size else first
    running = np.concatenate([[0.0], np.cumsum(square)])
    start = int(first[np.argmin(running[first + width] - running[first])])
    return slice(start, start + width)


def _contradicted(square_db: Float64s, explained_db: Float64s) -> Bools:
    """Where near and far differ by more than is explained, as squares over a third of an octave, (F,)."""
    width = round(CONTRADICTED_OCTAVES * POINTS_PER_OCTAVE)

    def pooled(values: Float64s) -> Float64s:
        running = np.concatenate([[0.0], np.cumsum(values)])
        stop = np.minimum(np.arange(values.size) + width, values.size)
        return np.asarray((running[stop] - running[:-1]) / (stop - np.arange(values.size)))

    allowed = np.maximum(CONTRADICTED_TIMES**2 * pooled(explained_db), CONTRADICTED_DB**2)
    return np.asarray(pooled(square_db) > allowed)


def join(near: NearField, gated: Gated, within: slice, cabinet: PlacedCabinet, setting: Setting) -> Joined:
    """Near fields carried to each of the R microphones, cross-faded with the gated responses.

    They are joined in that octave of `within` in which they agree best. The near field keeps its theoretical
    level. The uncertainty of the splice, in the overlap and below it, is the greater of what their mismatch
    tells of the near field (`_splice_db`) and of what the cabinet's model may be wrong by.
    """
    frequency_hz = setting.frequency_hz
    rows, count = gated.pressure.shape
    below = frequency_hz[: within.stop]
    low, low_noise = carried(near, cabinet, below, setting.speed_m_s)
    high = gated.pressure[:, : within.stop].astype(np.complex128)
    difference = splice.difference_db(low, high)
    gate_db = _gate_db(near, gated, low, frequency_hz)
    near_db, splice_db = np.zeros((2, rows, count))
    near_db[:, : within.stop] = noise.level_uncertainty_db(np.abs(low) ** 2, low_noise)
    model_db = model_uncertainty_db(near, cabinet, below, setting.speed_m_s)
    explained_db = np.sqrt(np.nan_to_num(gated.noise_db) ** 2 + gate_db**2 + near_db**2)[:, : within.stop]
    over = best_overlap(difference, within, np.minimum(np.hypot(explained_db, model_db), ANYTHING_DB))
    weight = splice.crossfade_weight(frequency_hz, frequency_hz[over.start], frequency_hz[over.stop - 1])
    pressure = gated.pressure.copy()
    low_aligned = splice.aligned(low, high, below, over)[:, : over.stop]
    pressure[:, : over.stop] = splice.blended(low_aligned, high[:, : over.stop], weight[: over.stop])
    mismatch_db = _splice_db(difference, np.hypot(gated.noise_db, gate_db), within, below, gated.gate_s)
    splice_db[:, : within.stop] = np.maximum(mismatch_db[:, None], model_db)
    far_db = np.where(weight > 0.0, gated.noise_db, 0.0)
    origin = np.full((rows, count), Origin.GATED, dtype=np.uint8)
    origin[:, : over.stop] = Origin.BLENDED
    origin[:, : over.start + 1] = Origin.NEAR_FIELD
    return Joined(
        pressure=pressure,
        valid=np.where(weight < 1.0, near.valid, True) & np.where(weight > 0.0, gated.valid, True),
        origin=origin,
        noise_db=np.hypot((1.0 - weight) * near_db, weight * far_db),
        gate_db=weight * np.where(weight > 0.0, gate_db, 0.0),
        splice_db=splice_db * (1.0 - weight),
        notes=(*near.notes, *_warning(splice.root_mean_square(difference[:, over]))),
        over_hz=(float(below[over.start]), float(below[over.stop - 1])),
        mismatch_db=difference[:, over].mean(axis=-1),
        repeat=_repeat(near, cabinet, frequency_hz, over, setting.speed_m_s),
    )


def _repeat(
    near: NearField, cabinet: PlacedCabinet, frequency_hz: Float64s, over: slice, speed_m_s: float
) -> Repeat | None:
    told = repeat_uncertainty_db(near, cabinet, frequency_hz[: over.stop], speed_m_s)
    if told is None or near.scatter is None:
        return None
    of_mean, of_its_degrees = told
    single = near.scatter.single_db.max(axis=0)
    standard = np.tile(single, (len(of_mean), 1))
    standard[:, : over.stop] = of_mean
    degrees = near.scatter.degrees.min(axis=0)
    degrees[: over.stop] = of_its_degrees
    return Repeat(standard, degrees)


def _gate_db(near: NearField, gated: Gated, low: Complex128s, frequency_hz: Float64s) -> Float64s:
    """The gate's uncertainty: the greater of gating again and of gating the near field's roll-off."""
    known = np.flatnonzero(near.valid[: low.shape[-1]])
    level = 20.0 * np.log10(np.abs(low[0, known]))
    model = fitted_roll_off(frequency_hz[known], level) if known.size else None
    return np.maximum(gated.gate_db, cut_off_db(frequency_hz, gated.gate_s, model))


def _splice_db(
    difference_db: Float64s, expected_db: Float64s, within: slice, frequency_hz: Float64s, gate_s: float
) -> Float64s:
    """What the mismatch tells of the near field's error, dB, shape (R,).

    It is the root mean square difference beyond what the gated response's own gate and noise explain, over
    all that both hold: the overlap alone was chosen because there it is small. Over a band of width B a gate
    of T lets pass some BT values that are independent, so the mean's error is no less than the root mean
    square over √(BT), however well the rest explains it.
    """
    square = np.mean(difference_db[:, within] ** 2, axis=-1)
    beyond = square - np.mean(np.nan_to_num(expected_db[:, within]) ** 2, axis=-1)
    values = max((frequency_hz[within.stop - 1] - frequency_hz[within.start]) * gate_s, 1.0)
    return np.asarray(np.sqrt(np.maximum(beyond, square / values)))


def _warning(rms_db: Float64s) -> tuple[str, ...]:
    apart = rms_db > WARN_DB
    if not apart.any():
        return ()
    where = "every direction" if apart.all() else "some directions"
    return (
        f"Near field and far field don't agree in level where they overlap, in {where}; "
        "the uncertainty of the splice says by how much.",
    )
