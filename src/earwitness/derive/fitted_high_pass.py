"""F3, F6 and F10 by a fitted second-order high-pass: what a sealed box would have.

|G|² = W⁴/((1 − W²)² + W²/Q²), W = f/fc (Small 1972; recalled). Corner, Q and level are those of the least
squares of the decibels over log frequency. The fall is counted from the fitted passband, not from a mean over
a band.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.records.grid import Bools, Floats

#: The fit reaches from the lowest valid frequency to here.
FIT_TO_HZ: Final = 300.0
#: A fit that leaves more than this, root mean square, describes another kind of loudspeaker.
FIT_LIMIT_DB: Final = 0.5
#: A fit over less than this tells nothing of a corner.
FIT_LEAST_OCTAVES: Final = 1.0

#: Every n-th point is fitted: a corner is no narrower than 1/24 octave.
_EVERY: Final = 4
_Q_RANGE: Final = (0.3, 3.0)
#: Steps of each axis of the search, and how often it is repeated about the best, five times as fine.
_STEPS: Final = 25
_ROUNDS: Final = 7


@dataclass(frozen=True, slots=True)
class HighPass:
    """A fitted high-pass: corner, Q, passband level, and what is left, root mean square."""

    corner_hz: float
    q: float
    level_db: float
    residual_db: float

    def fall_hz(self, fall_db: float) -> float:
        """Where the level is `fall_db` below the passband.

        W² = (b + √(b² + 4a))/(2a), a = 10^(A/10) − 1, b = 1/Q² − 2. Worked number: Q = 0.5 is 3 dB down at
        1.55693 fc.
        """
        a = 10.0 ** (fall_db / 10.0) - 1.0
        b = self.q**-2 - 2.0
        return float(self.corner_hz * np.sqrt((b + np.sqrt(b * b + 4.0 * a)) / (2.0 * a)))


def fit_high_pass(frequency_hz: Floats, level_db: Floats) -> HighPass | None:
    """The high-pass that lies nearest to `level_db` (F,), up to `FIT_TO_HZ`.

    None where it isn't near (`FIT_LIMIT_DB`), where the points reach over too little, or where the corner
    lies at the end of what was searched: then the data show no corner.
    """
    low = frequency_hz <= FIT_TO_HZ * (1 + 1e-9)
    hz, level = frequency_hz[low][::_EVERY], level_db[low][::_EVERY]
    if len(hz) < 2 or np.log2(hz[-1] / hz[0]) < FIT_LEAST_OCTAVES:
        return None
    corner, q = np.log((hz[0], hz[-1])), np.log(_Q_RANGE)
    ends = corner.copy()
    for _ in range(_ROUNDS):
        corners, qs = (np.linspace(span[0], span[1], _STEPS) for span in (corner, q))
        mean, spread = _residual(hz, level, np.exp(corners)[:, None], np.exp(qs))
        best = np.unravel_index(int(np.argmin(spread)), spread.shape)
        corner, q = _about(corners[best[0]], corner), _about(qs[best[1]], q)
    found = HighPass(
        float(np.exp(corners[best[0]])), float(np.exp(qs[best[1]])), float(mean[best]), float(spread[best])
    )
    inside: Bools = (corners[best[0]] > ends[0]) & (corners[best[0]] < ends[1])
    return found if inside and found.residual_db <= FIT_LIMIT_DB else None


def _residual(hz: Floats, level_db: Floats, corner_hz: Floats, q: Floats) -> tuple[Floats, Floats]:
    """Passband level and root mean square residual for corners (C, 1) and Qs (D,), shape (C, D) each."""
    w2 = np.square(hz / corner_hz[..., None])
    shape_db = 10.0 * np.log10(w2**2 / ((1.0 - w2) ** 2 + w2 / np.square(q)[:, None]))
    away = level_db - shape_db
    mean = away.mean(axis=-1)
    return mean, away.std(axis=-1)


def _about(centre: float, span: Floats) -> Floats:
    half = 0.1 * (span[1] - span[0])
    return np.array((centre - half, centre + half))
