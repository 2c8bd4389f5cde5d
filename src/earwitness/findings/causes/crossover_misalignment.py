"""Drivers out of step: what is late or turned over between them, beyond what their levels demand.

Ways of minimum phase have, between them, the phase that the ratio of their levels demands
(`acoustics.phase`); what is left over is a delay (a slope over frequency) and a polarity (a turn by π at all
frequencies). Prediction: with that left turned back the sum changes where both are heard. Ways that are
opposed in all of the crossover are taken for turned over; a delay that explains it too is told beside. Taken
for granted is that each way is of minimum phase, so that a driver set back by design counts as late; and,
since it is seen in no sum, that the upper driver falls by a second order more below its own resonance, about
2.2 times below the crossover, which turns it ahead by 2·T(ln 2.2)/π = 0.59 rad there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.phase import minimum_phase, tail
from earwitness.findings.causes.form import Judged, effect_db, parameter
from earwitness.findings.causes.scene import Scene
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

CAUSE: Final = Cause.CROSSOVER_MISALIGNMENT
#: Levels and phases are compared where the weaker has this share of the power, at so many points at least.
HEARD, LEAST_POINTS = 0.03, 24
LEAST: Final = 1e-30
#: Ways whose phases differ by half a turn throughout: the mean cosine, turned over.
OPPOSED: Final = 0.85
#: The ratio's slope, orders of filters and drivers.
SLOPES: Final = (0.0, 8.0)
#: Of more than two, a pair whose ratio rises less than this is none that a crossover divides.
LEAST_SLOPE: Final = 1.0
#: The upper driver's own resonance lies so far below the crossover, and makes it fall by this order more.
RESONANCE_BELOW, RESONANCE_ORDER = 2.2, 2.0
#: What these assumptions leave open, radians (computed for resonances 1.5 to 4 times below).
OPEN_RAD: Final = 0.3
#: Delays that are tried, s; a turn over is preferred to a delay so long by this part of the sum.
TRIED_S: Final = np.linspace(-0.35e-3, 0.35e-3, 281)
LONG_S, PREFERRED = 2e-4, 0.05


@dataclass(frozen=True, slots=True)
class Step:
    """A driver, and those that sound higher, re what sounds lower: turned over or not, and how late.

    `coherence` says how well that holds (0 … 1). `else_late_s` is the delay that explains it best with no
    turn over, `else_coherence` how well; where ways are opposed throughout, the one by which they would add.
    """

    turned: bool
    late_s: float
    late_u_s: float
    coherence: float
    else_late_s: float = 0.0
    else_coherence: float = 0.0
    driver: int = 1


def step(scene: Scene) -> Step | None:
    """Of all crossovers the one that is most out of step; None where no two are heard together."""
    found = [one for one in (_step(scene, driver) for driver in range(1, len(scene.amplitude))) if one]
    return max(found, key=lambda one: (one.turned, abs(one.late_s)), default=None)


def _step(scene: Scene, driver: int) -> Step | None:
    """Between a driver and the sum of those that sound lower."""
    frequency = scene.heard.frequency_hz
    lower, upper = scene.amplitude[:driver].sum(axis=0), scene.amplitude[driver]
    power = np.stack([np.abs(lower) ** 2, np.abs(upper) ** 2])
    weight = power.min(axis=0) / np.maximum(power.sum(axis=0), LEAST)
    middle = int(np.argmax(weight))
    quiet = np.flatnonzero(weight < HEARD)
    first = int(max(quiet[quiet < middle], default=-1)) + 1
    last = int(min(quiet[quiet > middle], default=frequency.size))
    if last - first < LEAST_POINTS:
        return None
    band = slice(first, last)
    ratio = upper[band] / lower[band]
    logs, level = np.log(frequency[band]), np.log(np.abs(ratio))
    slope = float(np.clip(np.polyfit(logs, level, 1)[0], *SLOPES))
    if len(scene.amplitude) > 2 and slope < LEAST_SLOPE:
        return None
    demanded = minimum_phase(level, float(logs[1] - logs[0]), slope, slope)
    above = np.log(frequency[band] / (frequency[middle] / RESONANCE_BELOW))
    demanded = demanded + RESONANCE_ORDER * tail(np.maximum(above, 0.0)) / np.pi
    return _told(frequency[band], np.angle(ratio), demanded, weight[band], driver)


def _told(frequency_hz: Float64s, angle: Float64s, demanded: Float64s, weight: Float64s, driver: int) -> Step:
    """Polarity and delay from the phase between two ways, the phase demanded, and weights, (F,)."""
    omega = 2.0 * np.pi * frequency_hz
    turns = np.exp(1j * np.multiply.outer(TRIED_S, omega))
    sums = (turns @ (np.exp(1j * (angle - demanded)) * weight)).real / weight.sum()
    cost = PREFERRED * (TRIED_S / LONG_S) ** 2
    best = int(np.argmax(np.abs(sums) - cost))
    alone = int(np.argmax(sums - cost))
    late, open_s = float(TRIED_S[best]), OPEN_RAD / float(np.average(omega, weights=weight))
    turned = bool(sums[best] < 0.0)
    # ways that are opposed throughout are taken for turned over, whatever slopes past the band demand
    opposed = -float(np.average(np.cos(angle), weights=weight))
    if opposed >= OPPOSED and not turned:
        turned, late = True, 0.0
        adds = (turns @ (np.exp(1j * angle) * weight)).real / weight.sum()
        alone = int(np.argmax(adds - cost))
    # what the assumptions may explain is taken for explained
    return Step(
        turned,
        late**3 / (late**2 + open_s**2),
        open_s,
        float(abs(sums[best])),
        float(TRIED_S[alone]),
        float(max(sums[alone], 0.0)),
        driver,
    )


def in_step(scene: Scene, found: Step) -> Complex128s:
    """Amplitudes with the driver, and those that sound higher, turned back, (S, F)."""
    sent = scene.amplitude.copy()
    turn = np.exp(2j * np.pi * scene.heard.frequency_hz * found.late_s) * (-1.0 if found.turned else 1.0)
    sent[found.driver :] = sent[found.driver :] * turn
    return np.asarray(sent)


def judge(scene: Scene, feature: Feature, found: Step | None) -> Judged:
    """By what is left between the fitted amplitudes."""
    if found is None:
        return Judged(CAUSE, 0.0, against=("the drivers are nowhere heard together",))
    effect = effect_db(scene, feature, scene.pressure(amplitude=in_step(scene, found)))
    if not found.turned:
        return Judged(CAUSE, effect, (parameter("late_s", found.late_s, found.late_u_s),))
    return Judged(
        CAUSE,
        effect,
        (
            parameter("turned_late_s", found.late_s, found.late_u_s),
            parameter("else_late_s", found.else_late_s, found.late_u_s),
        ),
        ("half a turn is left over at all frequencies of the crossover alike, no slope",),
    )
