"""A reflection left in the gate: a copy that is equally late in all directions, since it doesn't turn along.

What both drivers send at one place is the same in all directions once body and ways are taken out; a
copy of it after τ ripples it evenly over frequency. Prediction: ln|1 + a·e^(−jωτ)|, equal steps of 1/τ.
Delays shorter than `LEAST_S` are the loudspeaker's own size, longer ones than the gate can't be in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.form import Judged, effect_db, parameter
from earwitness.findings.causes.scene import Scene
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]

CAUSE: Final = Cause.ARTEFACT
LEAST_S: Final = 0.8e-3
#: Ripple is sought in this band, on an even grid.
BAND_HZ, POINTS = (900.0, 14_000.0), 2048
#: Ground that is no ripple: a polynomial of this degree over log frequency.
DEGREE: Final = 9
#: A ripple counts from this height re the median of all delays, and from this part of the direct sound.
OVER_MEDIAN, LEAST_PART = 6.0, 0.05


@dataclass(frozen=True, slots=True)
class Reflection:
    """Its delay, its part of the direct sound (negative: turned over), and how wide its delay is known."""

    delay_s: float
    delay_u_s: float
    part: float


def reflection(scene: Scene, gate_s: float) -> Reflection | None:
    """The strongest; None where no delay stands out."""
    frequency = scene.heard.frequency_hz
    low, high = max(BAND_HZ[0], frequency[0]), min(BAND_HZ[1], frequency[-1])
    even = np.linspace(low, high, POINTS)
    level = np.log(np.maximum(np.abs(scene.amplitude.sum(axis=0)), 1e-15))
    shape = np.interp(np.log(even), np.log(frequency), level)
    scaled = 2.0 * (np.log(even) - np.log(low)) / np.log(high / low) - 1.0
    shape = shape - np.polynomial.chebyshev.chebval(
        scaled, np.polynomial.chebyshev.chebfit(scaled, shape, DEGREE)
    )
    window = np.hanning(POINTS)
    delays = np.arange(LEAST_S, gate_s, 0.1 / (high - low))
    if delays.size < 8:
        return None
    ripple = (np.exp(2j * np.pi * np.multiply.outer(delays, even)) @ (shape * window)) * 2.0 / window.sum()
    size = np.abs(ripple)
    best = int(np.argmax(size))
    if size[best] < max(OVER_MEDIAN * float(np.median(size)), LEAST_PART) or best in (0, delays.size - 1):
        return None
    part = float(size[best] * (1.0 if ripple[best].real >= 0.0 else -1.0))
    return Reflection(float(delays[best]), 0.1 / (high - low), part)


def judge(scene: Scene, feature: Feature, found: Reflection | None) -> Judged:
    """By the reflection that is found."""
    if found is None:
        return Judged(CAUSE, 0.0, against=("no delay stands out that all directions share",))
    ripple = 1.0 + found.part * np.exp(-2j * np.pi * scene.heard.frequency_hz * found.delay_s)
    effect = effect_db(scene, feature, scene.pressure(amplitude=scene.amplitude / ripple))
    return Judged(
        CAUSE,
        effect,
        (parameter("delay_s", found.delay_s, found.delay_u_s),),
        ("a copy comes equally late in all directions",),
    )
