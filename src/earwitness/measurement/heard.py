"""What a recording itself tells beside its impulse response: its greatest sample, and hum.

It is found while the recording is in memory, and kept beside the impulse response.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]

#: Mains frequencies, and how many multiples of each are looked at.
MAINS_HZ: Final = (50.0, 60.0)
MULTIPLES: Final = 12
#: Hum is looked for in the last stretch of a recording, about so long, once the sweep has passed this.
STRETCH_S: Final = 0.7
PASSED_HZ: Final = 2_000.0
#: A line is what lies so near a multiple; the floor beside it lies between these, all in hertz.
LINE_HZ: Final = 3.0
FLOOR_HZ: Final = (8.0, 25.0)
#: How many numbers a `Heard` is.
HEARD_VALUES: Final = 1 + 2 * len(MAINS_HZ) * MULTIPLES
#: The median of noise power is ln 2 of its mean.
MEDIAN_PART: Final = float(np.log(2.0))


@dataclass(frozen=True)
class Heard:
    """What one recording tells.

    Attributes
    ----------
    peak
        Its greatest sample, re full scale.
    line, floor
        Shape (2, `MULTIPLES`): power at each multiple of 50 and of 60 Hz, and what the noise beside it alone
        would give there, re full scale squared; NaN where the recording holds no stretch without sweep.
    """

    peak: float
    line: Float64s
    floor: Float64s

    def to_array(self) -> Float32s:
        """All of it as numbers in a fixed order, shape (`HEARD_VALUES`,)."""
        return np.concatenate([[self.peak], self.line.ravel(), self.floor.ravel()]).astype(np.float32)

    @classmethod
    def from_array(cls, values: npt.ArrayLike) -> Heard:
        """What `to_array` wrote."""
        found = np.asarray(values, dtype=np.float64)
        lines = found[1:].reshape(2, len(MAINS_HZ), MULTIPLES)
        return cls(float(found[0]), lines[0], lines[1])


def heard_in(samples: Float32s, sample_rate_hz: float, passed_s: float | None) -> Heard:
    """What a recording (n,) tells; `passed_s` is when the sweep had passed `PASSED_HZ` in it, None: never."""
    peak = max(float(samples.max()), -float(samples.min()))
    count = int(2 ** round(np.log2(STRETCH_S * sample_rate_hz)))
    nothing = np.full((len(MAINS_HZ), MULTIPLES), np.nan)
    if passed_s is None or samples.size - count < passed_s * sample_rate_hz:
        return Heard(peak, nothing, nothing)
    window = _window(count)
    spectrum = scipy.fft.rfft(samples[-count:] * window, workers=1)
    # the power of a steady tone is Σ|X|² over its line, times this
    unit = 2.0 / (count * float(np.vdot(window, window)))
    line, beside = _places(count, sample_rate_hz)
    last = max(int(line.max()), int(beside.max())) + 1
    power = np.append(np.abs(spectrum[:last]).astype(np.float64) ** 2 * unit, np.inf)
    shape = (len(MAINS_HZ), MULTIPLES)
    floor = np.sort(power[beside], axis=-1)
    median = np.take_along_axis(floor, np.sum(np.isfinite(floor), axis=-1, keepdims=True) // 2, axis=-1)
    found = Heard(
        peak,
        power[line].sum(axis=-1).reshape(shape),
        (median[:, 0] * line.shape[-1] / MEDIAN_PART).reshape(shape),
    )
    # what was just heard and what was kept are the same to the last bit
    return Heard.from_array(found.to_array())


@cache
def _window(count: int) -> Float32s:
    return np.hanning(count + 2)[1:-1].astype(np.float32)


@cache
def _places(count: int, sample_rate_hz: float) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
    """Bins of each line and of the floor beside it, a row a multiple; −1 where a row has fewer."""
    bin_hz = sample_rate_hz / count
    multiples = np.concatenate([m * np.arange(1, MULTIPLES + 1) for m in MAINS_HZ])
    half = int(LINE_HZ / bin_hz)
    line = np.round(multiples / bin_hz).astype(int)[:, None] + np.arange(-half, half + 1)
    reach = int(FLOOR_HZ[1] / bin_hz)
    near = np.round(multiples / bin_hz).astype(int)[:, None] + np.arange(-reach, reach + 1)
    hertz = near * bin_hz
    apart = np.abs(hertz - multiples[:, None])
    others = np.min([np.abs((hertz + m / 2.0) % m - m / 2.0) for m in MAINS_HZ], axis=0)
    beside = (apart >= FLOOR_HZ[0]) & (apart <= FLOOR_HZ[1]) & (others > LINE_HZ) & (near > 0)
    return line, np.where(beside, near, -1)


@dataclass(frozen=True, slots=True)
class Hum:
    """The strongest family of mains lines over many recordings.

    `over_db` is the strongest line's mean power over that of the floor beside it, `at_hz` where it lies,
    `level` its root mean square re full scale, `mains_hz` the family; `recordings` how many could tell.
    `each_db` is how far each multiple of `mains_hz` stands over the floor beside it, shape (`MULTIPLES`,).
    """

    over_db: float
    at_hz: float
    mains_hz: float
    level: float
    recordings: int
    each_db: Float64s


def hum_in(heard: Sequence[Heard]) -> Hum | None:
    """The strongest mains line in the mean of recordings; None where none of them can tell."""
    told = [one for one in heard if np.isfinite(one.line).all()]
    if not told:
        return None
    line = np.mean([one.line for one in told], axis=0)
    floor = np.maximum(np.mean([one.floor for one in told], axis=0), np.finfo(float).tiny)
    family, multiple = np.unravel_index(int(np.argmax(line / floor)), line.shape)
    each = 10.0 * np.log10(np.maximum(line[family], 1e-300) / floor[family])
    mains = MAINS_HZ[int(family)]
    level = float(np.sqrt(max(line[family, multiple] - floor[family, multiple], 0.0)))
    return Hum(float(each[multiple]), mains * (int(multiple) + 1), mains, level, len(told), each)
