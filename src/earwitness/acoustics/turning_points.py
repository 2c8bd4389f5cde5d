"""Where a smooth curve over log frequency turns: its local minima and maxima, between the points too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]

#: So many points to either side carry the parabola that a turning point is read off.
REACH: Final = 2


@dataclass(frozen=True, slots=True)
class TurningPoint:
    """A local maximum: where (index and parts of one), its value there, and how far it stands out.

    `slack` is one standard uncertainty of `place` for each unit of that of the values, where these are
    independent. The prominence is what the curve falls on both sides before it rises higher, or ends.
    """

    place: float
    value: float
    prominence: float
    slack: float


def maxima(values: npt.ArrayLike, least_prominence: float) -> list[TurningPoint]:
    """Local maxima of values (n,) without a gap, in order; those at the ends are none.

    Worked: of cos x sampled at x = −1, −0.9 … 1 the one maximum lies at index 10 and is 1.
    """
    curve = np.asarray(values, dtype=np.float64)
    inner = np.flatnonzero((curve[1:-1] > curve[:-2]) & (curve[1:-1] >= curve[2:])) + 1
    found = []
    for index in inner.tolist():
        prominence = min(_fall(curve[index::-1]), _fall(curve[index:]))
        if prominence >= least_prominence and REACH <= index < curve.size - REACH:
            place, value, slack = _vertex(curve[index - REACH : index + REACH + 1])
            found.append(TurningPoint(index + place, value, prominence, slack))
    return found


def minima(values: npt.ArrayLike, least_prominence: float) -> list[TurningPoint]:
    """Local minima of values (n,), as `maxima` of the curve turned over."""
    turned = maxima(-np.asarray(values, dtype=np.float64), least_prominence)
    return [TurningPoint(one.place, -one.value, one.prominence, one.slack) for one in turned]


def _fall(away: Float64s) -> float:
    """How far a curve falls from its first value before it rises above that."""
    higher = np.flatnonzero(away > away[0])
    return float(away[0] - away[: higher[0] if higher.size else None].min())


def _vertex(values: Float64s) -> tuple[float, float, float]:
    """Place re the middle, value, and slack of the parabola through an odd number of values."""
    steps = np.arange(values.size) - values.size // 2
    bend, slope, level = np.polyfit(steps, values, 2)
    if bend >= 0.0:
        return 0.0, float(values[values.size // 2]), 0.0
    place = float(np.clip(-0.5 * slope / bend, -1.0, 1.0))
    slack = 1.0 / (2.0 * abs(bend) * np.sqrt(float(np.sum(steps**2))))
    return place, float(level + slope * place + bend * place**2), float(slack)
