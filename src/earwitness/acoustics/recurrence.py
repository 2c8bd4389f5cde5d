"""Whether what a residual holds comes again each period of the sweep, as rubbing and hard knocks do.

Noise of streaming air is loud twice a period and yet never the same; what a contact adds is nearly the same
in the next period, a little sooner or later, since the loudspeaker's phase turns.

Source: defined here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics.sweep_law import SweepLaw

Float64s = npt.NDArray[np.float64]

#: Points to a period, and how far a period may be shifted against the one before, as parts of it.
POINTS: Final = 2048
SHIFT_PART: Final = 0.06
FEWEST_PERIODS: Final = 3


@dataclass(frozen=True)
class Recurrence:
    """What comes again, while the sweep passes each of some bands.

    Attributes
    ----------
    frequency_hz
        Shape (B,): middles of the bands of excitation.
    alike
        Shape (B,): the mean correlation of each period with the next, at the shift where it is greatest; NaN
        where fewer than three periods fall into the band. Of noise in n independent points it is about
        √(2·ln(shifts)/n), some hundredths.
    rest
        Shape (B,): RMS of the residual, in the unit of the recording.
    whole
        Shape (B,): RMS of the whole recording there.
    """

    frequency_hz: Float64s
    alike: Float64s
    rest: Float64s
    whole: Float64s

    @property
    def rms(self) -> Float64s:
        """Shape (B,): of what comes again, √alike times that of the residual."""
        return np.asarray(np.sqrt(np.maximum(self.alike, 0.0)) * self.rest)


def recurrence(
    rest: npt.ArrayLike,
    recording: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    law: SweepLaw,
    at: int,
    edges_hz: npt.ArrayLike,
) -> Recurrence:
    """Of a residual (n,) in the recording's own time (`impulsive.residual`), between `edges_hz` (B + 1,)."""
    edges = np.asarray(edges_hz, dtype=np.float64)
    x, y = np.asarray(rest), np.asarray(recording)
    told = np.full((3, edges.size - 1), np.nan)
    for band, (low, high) in enumerate(pairwise(edges.tolist())):
        first, stop = np.ceil(law.rate_s * low), np.floor(law.rate_s * high)
        if stop - first < FEWEST_PERIODS:
            continue
        cycles = first + np.arange(int(stop - first) * POINTS) / POINTS
        place = law.time_s(cycles / law.rate_s) * sample_rate_hz + at
        if place[0] < 0.0 or place[-1] > min(x.size, y.size) - 1:
            continue
        begins, ends = int(place[0]), int(place[-1]) + 2
        periods = np.interp(place, np.arange(begins, min(ends, x.size)), x[begins:ends]).reshape(-1, POINTS)
        alike = _alike(periods)
        power = float(np.mean(periods**2))
        part = y[int(place[0]) : int(place[-1])].astype(np.float64)
        told[:, band] = alike, np.sqrt(power), np.sqrt(np.mean(part**2))
    return Recurrence(np.sqrt(edges[:-1] * edges[1:]), *told)


def _alike(periods: Float64s) -> float:
    """The mean greatest correlation of neighbours among periods (P, N)."""
    spectra = scipy.fft.rfft(periods, axis=1, workers=1)
    lags = scipy.fft.irfft(spectra[1:] * np.conj(spectra[:-1]), POINTS, axis=1, workers=1)
    near = round(SHIFT_PART * POINTS)
    greatest = np.maximum(lags[:, : near + 1].max(axis=1), lags[:, -near:].max(axis=1))
    energy = np.sum(periods**2, axis=1)
    scale = np.sqrt(energy[1:] * energy[:-1])
    return float(np.mean(np.divide(greatest, scale, out=np.zeros_like(scale), where=scale > 0.0)))
