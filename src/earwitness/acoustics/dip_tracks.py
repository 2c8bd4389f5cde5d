"""Where dips move to over an orbit, by levels alone: n·c/f = A + B sin θ.

A copy that is late by (A + B sin θ)/c takes most where that is n waves, n = 1 for a copy turned over and ½
for one in phase; dips of higher order lie at n + 1, n + 2 … B = 0 is a pole or a fixed delay; |B| = A an edge
at the distance A; A near 0 a pair in phase, |B| apart; else a pair whose ways differ by A straight ahead.
Least squares with standard uncertainties from what the line leaves (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Kind = Literal["fixed", "edge", "pair", "offset pair"]

#: Points of a line, at least, and what they span of sin θ.
LEAST_POINTS, LEAST_SPAN = 4, 0.3
#: Half the width of a 95 % interval, in standard uncertainties.
WIDE: Final = 1.96
#: No dip's place is told closer than this part of it: what a parabola errs by (computed).
TOLD: Final = 1e-3
#: Parts of the larger of A and |B| below which one of them is none, and within which both are alike.
NONE, ALIKE = 0.1, 0.1


@dataclass(frozen=True, slots=True)
class DipTrack:
    """The line of one orbit: A and B in metres of way, their standard uncertainties, and what is left over.

    `left_m` is the root mean square of what the line leaves, of (A + B sin θ).
    """

    ahead_m: float
    ahead_u_m: float
    across_m: float
    across_u_m: float
    left_m: float

    @property
    def kind(self) -> Kind:
        """What such a line is, within its intervals or a tenth of the larger part."""
        size = max(abs(self.ahead_m), abs(self.across_m))
        across = abs(self.across_m)
        if across <= max(WIDE * self.across_u_m, NONE * size):
            return "fixed"
        if abs(self.ahead_m) <= max(WIDE * self.ahead_u_m, NONE * size):
            return "pair"
        u_m = float(np.hypot(self.ahead_u_m, self.across_u_m))
        return "edge" if abs(across - self.ahead_m) <= max(WIDE * u_m, ALIKE * size) else "offset pair"


def dip_track(angle_deg: Float64s, frequency_hz: Float64s, waves: float, speed_m_s: float) -> DipTrack | None:
    """The line through the dips of one order along one orbit, (N,); None where too few or too near.

    Worked number: an edge 0.1 m aside of a source, its copy turned over, dips at c/(0.1·(1 − sin θ)):
    A = 0.1, B = −0.1.
    """
    sine = np.sin(np.radians(angle_deg))
    if sine.size < LEAST_POINTS or np.ptp(sine) < LEAST_SPAN:
        return None
    way = waves * speed_m_s / frequency_hz
    # a dip's place errs by a part of its frequency, so that long ways err by more
    weight = 1.0 / way
    rows = np.column_stack([np.ones_like(sine), sine]) * weight[:, None]
    found, *_ = np.linalg.lstsq(rows, way * weight, rcond=None)
    left = way * weight - rows @ found
    freedom = max(sine.size - 2, 1)
    covariance = np.linalg.inv(rows.T @ rows) * float(left @ left) / freedom
    spread = np.hypot(np.sqrt(np.diag(covariance)), TOLD * np.abs(found))
    return DipTrack(
        float(found[0]),
        float(spread[0]),
        float(found[1]),
        float(spread[1]),
        float(np.sqrt(np.mean((left / weight) ** 2))),
    )
