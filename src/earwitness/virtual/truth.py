"""What is true of a scenario: curves and figures from its physics, without room, microphone or noise.

Levels are dB re 20 µPa for 2.83 V, referred to 1 m by the distance from the reference point: the pressure at
R metres times R. At the rig's distance that is what a perfect measurement on that rig would show; at `FAR_M`
it is the far field. The figures follow the project's own definitions, written out again on purpose.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from earwitness.virtual.arrays import Floats
from earwitness.virtual.scenario import Scenario
from earwitness.virtual.turntable import Orbit

DRIVE_V: Final = 2.83
REFERENCE_PA: Final = 20e-6
FAR_M: Final = 1000.0
#: Sensitivity: power mean over the logarithm of frequency, on axis.
SENSITIVITY_BAND_HZ: Final = (300.0, 3000.0)
#: Coverage ends where the level has fallen by so much.
EDGE_DB: Final = 6.0
#: It is sought outward in such steps.
STEP_DEG: Final = 0.5
#: A trough that is narrower than a ninth of an octave is no corner.
TROUGH_OCTAVES: Final = 1.0 / 9.0
#: Points to the octave of the grid on which figures are read.
FINE: Final = 192


def directions(orbit: Orbit, angles_deg: Floats) -> Floats:
    """Unit vectors (A, 3) from the reference point for angles on an orbit."""
    angle = np.radians(angles_deg)
    nothing = np.zeros_like(angle)
    across, up = (np.sin(angle), nothing) if orbit == "horizontal" else (nothing, np.sin(angle))
    return np.stack([np.cos(angle), across, up], axis=-1)


def level_db(
    scenario: Scenario,
    frequencies: Floats,
    orbit: Orbit = "horizontal",
    angles_deg: Floats | None = None,
    distance_m: float | None = None,
) -> Floats:
    """Level at 1 m for 2.83 V in directions as seen from the reference point.

    Parameters
    ----------
    frequencies
        Shape (F,), hertz.
    orbit, angles_deg
        Directions; on axis alone where no angles are given.
    distance_m
        Distance at which the pressure is taken before it is referred to 1 m; the rig's where None.

    Returns
    -------
    Shape (A, F), dB re 20 µPa.
    """
    distance = scenario.turntable.distance_m if distance_m is None else distance_m
    angles = np.zeros(1) if angles_deg is None else np.asarray(angles_deg, dtype=np.float64)
    pressure = scenario.pressure(directions(orbit, angles), frequencies, DRIVE_V, distance)
    return np.asarray(20.0 * np.log10(np.abs(pressure) * distance / REFERENCE_PA))


def turned_level_db(scenario: Scenario, frequencies: Floats, orbit: Orbit, angles_deg: Floats) -> Floats:
    """Level at 1 m for 2.83 V where the turntable puts the microphone, shape (A, F).

    The angle is the turntable's; the pressure is referred to 1 m by the microphone's true distance from the
    reference point.
    """
    points = scenario.turntable.microphone(orbit, np.asarray(angles_deg, dtype=np.float64))
    distance = np.linalg.norm(points, axis=-1)
    pressure = scenario.pressure(points / distance[:, None], frequencies, DRIVE_V, distance)
    return np.asarray(20.0 * np.log10(np.abs(pressure) * distance[:, None] / REFERENCE_PA))


def grid(low_hz: float, high_hz: float) -> Floats:
    """Frequencies in equal steps of the logarithm, `FINE` to the octave, ends included."""
    return np.geomspace(low_hz, high_hz, round(FINE * np.log2(high_hz / low_hz)) + 1)


def sensitivity_db(scenario: Scenario) -> float:
    """Power mean over log frequency of the on-axis level, dB re 20 µPa at 1 m for 2.83 V."""
    level = level_db(scenario, grid(*SENSITIVITY_BAND_HZ))[0]
    power = 10.0 ** (level / 10.0)
    return float(10.0 * np.log10((power.sum() - (power[0] + power[-1]) / 2.0) / (len(power) - 1)))


def corner_hz(scenario: Scenario, fall_db: float) -> float:
    """The frequency below which the on-axis level stays `fall_db` under the sensitivity.

    Going down from 300 Hz; troughs narrower than a ninth of an octave are skipped.
    """
    frequencies = grid(10.0, SENSITIVITY_BAND_HZ[0])[::-1]
    level = level_db(scenario, frequencies)[0] - (sensitivity_db(scenario) - fall_db)
    return first_lasting_crossing(frequencies, level)


def first_lasting_crossing(frequencies: Floats, level: Floats) -> float:
    """The first frequency, in the order given, from which `level` stays below 0 for a ninth of an octave."""
    below = level < 0.0
    lasting = int(np.ceil(TROUGH_OCTAVES / abs(np.log2(frequencies[1] / frequencies[0]))))
    runs = np.convolve(below, np.ones(lasting), mode="valid") == lasting
    if not runs.any() or below[0]:
        raise ValueError("the level has no lasting crossing in this band")
    after = int(np.argmax(runs))
    share = level[after - 1] / (level[after - 1] - level[after])
    octaves = np.log2(frequencies[after - 1 : after + 1])
    return float(2.0 ** (octaves[0] + share * (octaves[1] - octaves[0])))


def third_octave(level: Callable[[Floats], Floats], frequencies: Floats) -> Floats:
    """Power mean over a third of an octave about each frequency; `level` maps (N,) to dB (..., N)."""
    steps = np.linspace(-1.0 / 6.0, 1.0 / 6.0, 33)
    spread = (frequencies[:, None] * 2.0**steps).ravel()
    power = 10.0 ** (level(spread) / 10.0)
    power = power.reshape(*power.shape[:-1], len(frequencies), len(steps))
    weights = np.ones(len(steps))
    weights[[0, -1]] = 0.5
    return np.asarray(10.0 * np.log10(power @ weights / weights.sum()))


def coverage_deg(scenario: Scenario, orbit: Orbit, frequencies: Floats) -> tuple[Floats, Floats]:
    """Half-angles at which the level has fallen by 6 dB re the on-axis level in its third of an octave.

    Going outward from the axis, which lies in the main lobe; angles as seen from the reference point at the
    rig's distance, the level there at each single frequency.

    Returns
    -------
    tuple
        Positive side and negative side, each (F,), both as positive angles; NaN where the level never falls
        so far.
    """
    reference = third_octave(lambda f: level_db(scenario, f)[0], frequencies)
    outward = np.arange(0.0, 180.0 + STEP_DEG / 2.0, STEP_DEG)
    sides = []
    for sign in (1.0, -1.0):
        relative = level_db(scenario, frequencies, orbit, sign * outward) - reference + EDGE_DB
        below = relative < 0.0
        after = np.maximum(np.argmax(below, axis=0), 1)
        column = np.arange(len(frequencies))
        high, low = relative[after - 1, column], relative[after, column]
        edge = outward[after - 1] + STEP_DEG * high / (high - low)
        sides.append(np.where(below.any(axis=0), edge, np.nan))
    return sides[0], sides[1]
