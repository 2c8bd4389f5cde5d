"""How a voice coil warms and cools, fitted to the change of level that it makes.

The coil's rise is the sum of two, each as the voltage of a resistor and a capacitor in parallel under a
current (Button, JAES 40 (1/2), 1992; recalled). The level falls by 20·lg(1 + x), x being the part by which
what limits the current has grown, so that x goes as the temperature does.

At a voltage that doesn't change, the power in the coil goes as (1 + x)^−n. With c the part that the coil's
resistance has in what limits the current, R/|Z|, power goes as RV²/|Z|² and so changes by 1 − 2c of the
resistance's change, x by c of it: n = (2c − 1)/c, which is 1 for a resistor alone, 0 where half of what
limits the current is something else, and negative behind coils and capacitors (worked out here). A run tells
n only roughly, which widens the intervals of both time constants; n is fitted about what is usual (`FALL`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Steps in a second in which the model goes.
STEPS: Final = 4
#: Time constants that are looked for, s.
SHORT_S: Final = (1.5, 60.0)
LONG_S: Final = (30.0, 7200.0)
#: Starts of the search: the short and the long one, s.
STARTS: Final = ((2.0, 300.0), (5.0, 900.0), (15.0, 900.0))
#: The exponent n that is expected, by how much it differs from loudspeaker to loudspeaker, and its ends.
FALL: Final = 0.25
FALL_SPREAD: Final = 0.5
FALL_ENDS: Final = (-1.5, 1.5)
#: Of the model itself, part of a time constant, one standard uncertainty: coils are more than two of these,
#: and the level isn't quite 20·lg(1 + x).
MODEL_PART: Final = 0.02
#: A fall of the level by less, where it was looked at, isn't put down to heat.
LEAST_DB: Final = 0.1
#: 95 % of a normal distribution lie within so many standard deviations.
WITHIN: Final = 1.96


@dataclass(frozen=True)
class TimeConstant:
    """A time constant in s, its interval of 95 %, and its part of the change at the load's end."""

    value_s: float
    low_s: float
    high_s: float
    part: float


@dataclass(frozen=True)
class Warming:
    """Two time constants, and the change of level that they make.

    Attributes
    ----------
    short, long
        Of the coil, and of what it sits in.
    loss_db
        By how much the level has fallen at the load's end.
    growth
        Shape (J,): x at each time that was fitted or asked for.
    residual_db
        RMS of what the fit leaves.
    """

    short: TimeConstant
    long: TimeConstant
    loss_db: float
    growth: Floats
    residual_db: float


def growth_over_time(
    gain: Floats, short_s: float, long_s: float, short_rise: float, long_rise: float, *, fall: float = 1.0
) -> Floats:
    """The growth x at the end of each step of each second, shape (K·STEPS,), under gains (K,) re the load's.

    `short_rise` and `long_rise` are what either part of x would come to under the load if the power in the
    coil didn't fall; `fall` is the exponent n with which it does.
    """
    falls = [math.exp(-1.0 / (STEPS * each)) for each in (short_s, long_s)]
    rises = (1.0 - falls[0]) * short_rise, (1.0 - falls[1]) * long_rise
    found, short, long = [], 0.0, 0.0
    for power in np.repeat(np.asarray(gain) ** 2, STEPS).tolist():
        heat = power * (1.0 + short + long) ** -fall
        short = falls[0] * short + rises[0] * heat
        long = falls[1] * long + rises[1] * heat
        found.append(short + long)
    return np.array(found)


def fit_warming(
    gain: Floats,
    first_s: float,
    time_s: Floats,
    change_db: Floats,
    uncertainty_db: Floats,
    *,
    fitted: Bools,
    tail: Floats | None = None,
) -> Warming | None:
    """Fit both time constants to changes of level.

    Parameters
    ----------
    gain, first_s
        Shape (K,): each second's level re the load's, and when the first of them begins.
    time_s, change_db, uncertainty_db
        Shape (J,).
    fitted
        Shape (J,): which of them count.
    tail
        Shape (J,): the course of a limiter's release, which lowers the level besides; None for none.

    Returns
    -------
    None where there are too few, or no change that is surely there.
    """
    if np.count_nonzero(fitted) < 8:
        return None
    times = first_s + (np.arange(gain.size * STEPS) + 1.0) / STEPS
    weight = 1.0 / uncertainty_db[fitted]

    def modelled(parameters: Floats) -> Floats:
        short, long = np.exp(parameters[:2])
        rises = np.exp(parameters[2:4])
        x = growth_over_time(gain, short, long, rises[0], rises[1], fall=float(parameters[5]))
        return np.asarray(np.interp(time_s, times, x, left=0.0))

    def residuals(parameters: Floats) -> Floats:
        told = parameters[4] - 20.0 * np.log10(1.0 + modelled(parameters)[fitted])
        if tail is not None:
            told = told - parameters[6] * tail[fitted]
        # what is known of the exponent is one more observation
        return np.append((change_db[fitted] - told) * weight, (parameters[5] - FALL) / FALL_SPREAD)

    largest = float(np.max(-change_db[fitted]))
    if largest < 3.0 * float(np.median(uncertainty_db[fitted])):
        return None
    rise = math.log(max(10.0 ** (largest / 20.0) - 1.0, 1e-4))
    found, spread = _nearest(residuals, rise, 6 if tail is None else 7)
    x = modelled(found)
    if 20.0 * math.log10(1.0 + float(x[fitted].max())) < max(LEAST_DB, 3.0 / float(weight.max())):
        return None
    short, long = np.exp(found[:2])
    fall = float(found[5])
    only_short = growth_over_time(gain, short, long, math.exp(found[2]), 0.0, fall=fall)
    whole = growth_over_time(gain, short, long, math.exp(found[2]), math.exp(found[3]), fall=fall)
    loaded = int(np.flatnonzero(gain > 0.5)[-1] + 1) * STEPS - 1
    part = float(np.clip(only_short[loaded] / whole[loaded], 0.0, 1.0))
    left = residuals(found)[:-1] / weight
    return Warming(
        short=_constant(float(short), float(spread[0]), part),
        long=_constant(float(long), float(spread[1]), 1.0 - part),
        loss_db=20.0 * math.log10(1.0 + float(whole[loaded])),
        growth=x,
        residual_db=float(np.sqrt(np.mean(left**2))),
    )


def _nearest(residuals: Callable[[Floats], Floats], rise: float, free: int) -> tuple[Floats, Floats]:
    """The parameters (P,) that fit best from several starts, and their standard uncertainties.

    In their order: the logarithms of both time constants in s and of both rises, of which the first is near
    `rise`; the level at rest in dB; the exponent of the power; of a limiter's release as many dB. The first
    `free` of them are fitted.
    """
    low = np.array(
        [math.log(SHORT_S[0]), math.log(LONG_S[0]), rise - 6.0, rise - 8.0, -1.0, FALL_ENDS[0], -1e-6]
    )
    high = np.array(
        [math.log(SHORT_S[1]), math.log(LONG_S[1]), rise + 2.0, rise + 2.0, 1.0, FALL_ENDS[1], 60.0]
    )
    scale = np.array([0.3, 0.5, 0.3, 0.5, 0.05, 0.5, 0.1])
    best = None
    for short, long in STARTS:
        start = np.array([math.log(short), math.log(long), rise - 0.3, rise - 1.0, 0.0, FALL, 0.0])
        found = least_squares(residuals, start[:free], bounds=(low[:free], high[:free]), x_scale=scale[:free])
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None
    freedom = max(best.fun.size - free, 1)
    excess = max(2.0 * float(best.cost) / freedom, 1.0)
    jacobian = np.asarray(best.jac)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * excess
    return np.asarray(best.x), np.sqrt(np.maximum(np.diag(covariance), 0.0))


def _constant(value_s: float, spread: float, share: float) -> TimeConstant:
    """A time constant with its interval; `spread` is the standard uncertainty of its logarithm by the fit."""
    factor = math.exp(min(WITHIN * math.hypot(spread, MODEL_PART), 50.0))
    return TimeConstant(value_s, value_s / factor, value_s * factor, share)
