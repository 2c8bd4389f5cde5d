"""What a recording of a sweep holds above its low orders: the sharp, sparse sounds of rattles and rubbing.

Harmonics of low order are smooth over a period. What clicks, knocks or grates once or more a period adds
orders without end, that stand in phase at one moment: a residual whose peak is far above its mean. Noise has
no such peak: of Gaussian noise a stretch of n samples peaks at √(2·ln n) or so of its RMS value (computed).

Source: impulsive distortion is named by IEC 60268-21 (2018, recalled; its own filters aren't known to us);
the removal of all low orders, and the ratio of peak to RMS, are defined here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics.sweep_law import SweepLaw
from earwitness.acoustics.sweeps import harmonic_lead_s

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]

#: Orders up to this one are taken off.
SMOOTH_ORDERS: Final = 10
#: What is kept ends so much of the distance of the next order before the last of them, and fades out over as
#: much; the room's sound has died away so long after the linear response.
FADE_PART: Final = 0.4
SETTLED_S: Final = 0.4


@dataclass(frozen=True)
class Impulsive:
    """The residual while the sweep passes each of some bands.

    Attributes
    ----------
    frequency_hz
        Shape (B,): middles of the bands of excitation.
    peak, rms
        Shape (B,): of the residual, in the unit of the recording; NaN where the recording ends before.
    expected_peak
        Shape (B,): what a Gaussian residual of that RMS value would peak at, √(2·ln n)·RMS.
    """

    frequency_hz: Float64s
    peak: Float64s
    rms: Float64s
    expected_peak: Float64s

    @property
    def crest(self) -> Float64s:
        """Peak over RMS."""
        return np.asarray(self.peak / self.rms)


def spectrum_of(stimulus: npt.ArrayLike, length: int) -> npt.NDArray[np.complex64]:
    """Spectrum of a stimulus (n,) for `residual`, by a transform of `length` samples: (length//2 + 1,)."""
    return np.asarray(scipy.fft.rfft(np.asarray(stimulus, dtype=np.float32), length, workers=1))


def residual(
    response: Float32s,
    played: npt.NDArray[np.complex64],
    sample_rate_hz: float,
    *,
    law: SweepLaw,
    at: int,
) -> Float32s:
    """A recording without its orders up to ten, in the recording's own time, shape (n,).

    `response` is the whole circular one (`sweeps.deconvolve`), in which high orders lie from L·ln 10.5 before
    the linear response (sample `at`) backward; what is left of them is played through the stimulus again,
    whose spectrum is `played` (`spectrum_of`). Two transforms.
    """
    n = response.size
    apart = law.rate_s * np.log(1.0 + 1.0 / SMOOTH_ORDERS) * sample_rate_hz
    stop = at - harmonic_lead_s(law.rate_s, SMOOTH_ORDERS) * sample_rate_hz - FADE_PART * apart
    # samples by their time before the linear response, which lies behind them all
    opens = at - n + SETTLED_S * sample_rate_hz
    early = np.arange(int(np.ceil(opens)), int(np.floor(stop)) + 1)
    kept = np.zeros(n, dtype=np.float32)
    kept[: early.size] = np.take(response, early, mode="wrap")
    for away in ((early - opens) / apart, (stop - early) / (FADE_PART * apart)):
        fading = np.flatnonzero(away < 1.0)
        kept[fading] *= np.sin(0.5 * np.pi * away[fading]) ** 2
    kept = np.roll(kept, early[0]) if early.size else kept
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(kept, workers=1) * played, n, workers=1))


def impulsive(
    rest: Float32s, sample_rate_hz: float, *, law: SweepLaw, at: int, edges_hz: npt.ArrayLike
) -> Impulsive:
    """Peak and RMS of a residual (n,) while the sweep passes from each of `edges_hz` (B + 1,) to the next.

    What is heard `at` samples after it was played belongs to the frequency that was played.
    """
    edges = np.asarray(edges_hz, dtype=np.float64)
    moments = np.round(law.time_s(edges) * sample_rate_hz).astype(int) + at
    shape = (edges.size - 1,)
    peak, rms, expected = (np.full(shape, np.nan) for _ in range(3))
    for band, (first, last) in enumerate(pairwise(moments.tolist())):
        if first >= 0 and first + 1 < last <= rest.size:
            part = rest[first:last].astype(np.float64)
            peak[band], rms[band] = np.abs(part).max(), np.sqrt(np.mean(part**2))
            expected[band] = np.sqrt(2.0 * np.log(part.size)) * rms[band]
    return Impulsive(np.sqrt(edges[:-1] * edges[1:]), peak, rms, expected)
