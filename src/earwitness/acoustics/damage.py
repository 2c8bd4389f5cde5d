"""What a recording itself tells of the way it was made: flat tops, and stretches that were lost.

All limits are set so that no loudspeaker can meet them (common practice): where it can't be told, nothing is.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

Float32s = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int_]

#: Widths of the two bands below the greatest value in which samples are counted, re that value: fine, for
#: clean clipping, and coarse, for clipping with noise on it.
TOP_BANDS: Final = ((1e-3, 1e-2), (1e-2, 1e-1))
#: A crest is round at its top, so the inner band holds √(1/10) of what the outer one holds, and half of it
#: at most where samples are few. Clipped by 5 % it holds 0.6 in the coarse bands, by 0.6 % in the fine ones.
FLAT_PART: Final = 0.6
#: An outer band of fewer steps of the converter doesn't tell a round crest from a flat one.
BAND_STEPS: Final = 10.0
#: Fewer samples in a row are no flat top, and fewer tops no clipping.
TOP_RUN: Final = 3
TOPS: Final = 8
#: Zeros that are lost sound last so long at least, and lie in sound of so many steps of the converter, so
#: near: a sine of 15 Hz and 64 steps crosses zero in 0.2 ms.
LOST_S: Final = 1e-3
LOST_STEPS: Final = 64.0
LOST_NEAR_S: Final = 2e-2


def flat_top(samples: Float32s) -> int | None:
    """The first sample of the first flat top in a recording (n,); None where its crests are round.

    Both polarities are examined by themselves, since an amplifier may clip one of them first.
    """
    step = _step(np.abs(samples))
    widest = max(outer for _, outer in TOP_BANDS)
    first = []
    for signed in (samples, -samples):
        greatest = float(signed.max())
        if greatest > 0.0:
            near = np.flatnonzero(signed >= greatest * (1.0 - widest))
            first += [_flat_top(near, signed[near] / greatest, step / greatest, *band) for band in TOP_BANDS]
    return min((place for place in first if place is not None), default=None)


def _flat_top(places: Places, heights: Float32s, step: float, inner: float, outer: float) -> int | None:
    """The first sample of the first flat top of one polarity.

    `heights` are those of the samples at `places`, re the greatest, as is the converter's `step`.
    """
    if outer < BAND_STEPS * step:
        return None
    top = places[heights >= 1.0 - inner]
    if top.size < TOPS * TOP_RUN:
        return None
    top_starts, top_lengths = _runs(top)
    long = top_lengths >= TOP_RUN
    if np.count_nonzero(long) < TOPS:
        return None
    _, lengths = _runs(places[heights >= 1.0 - outer])
    whole = int(lengths[lengths >= TOP_RUN].sum())
    if top_lengths[long].sum() < FLAT_PART * whole:
        return None
    return int(top_starts[long][0])


def lost_stretch(samples: Float32s, sample_rate_hz: float, until: int) -> tuple[int, int] | None:
    """The first stretch [start, stop) of zeros inside the sound of a recording (n,).

    Before sample `until` it may be the recording's end; otherwise there is sound on both sides of it. None
    where there is none.
    """
    starts, lengths = _runs(np.flatnonzero(samples == 0.0))
    long = lengths >= max(2, round(LOST_S * sample_rate_hz))
    if not long.any():
        return None
    sounding = np.abs(samples)
    step = _step(sounding)
    near = round(LOST_NEAR_S * sample_rate_hz)
    for start, length in zip(starts[long].tolist(), lengths[long].tolist(), strict=True):
        stop = start + length
        before, after = sounding[max(start - near, 0) : start], sounding[stop : stop + near]
        ends = stop == samples.size and start < until
        if _loud(before, step) and (ends or _loud(after, step)):
            return start, stop
    return None


def _step(magnitude: Float32s) -> float:
    """The converter's step, as the least value of a sound that crosses zero; infinite for silence."""
    return float(np.min(magnitude, where=magnitude > 0.0, initial=np.inf))


def _loud(samples: Float32s, step: float) -> bool:
    return samples.size > 0 and float(samples.max()) >= LOST_STEPS * step


def _runs(places: Places) -> tuple[Places, Places]:
    """First places and lengths of runs of neighbours in rising `places`."""
    if places.size == 0:
        return places, places
    breaks = np.flatnonzero(np.diff(places) != 1) + 1
    first = np.concatenate([[0], breaks])
    return places[first], np.diff(np.append(first, places.size))
