"""Fitted scenes made by hand: two drivers on a ball or a box, heard from afar; nothing was fitted."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, freqs

from earwitness.findings.causes.scene import Geometry, Heard, Scene, patterns
from earwitness.records.grid import derived_grid
from earwitness.records.takes import Direction, Orbit

Complexes = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

SPEED = 343.0
GRID = derived_grid()
FREQUENCY = GRID[(GRID >= 500.0) & (GRID <= 18_000.0)]
OMEGA = 2.0 * np.pi * FREQUENCY
#: So far away that ways are parallel.
FAR_M, GATE_S = 1000.0, 5e-3
ANGLES = np.arange(-60.0, 61.0, 10.0)
BALL = Geometry("ball", (0.0, 0.0), (0.05, 0.011), (0.15,))


def scene(lower: Complexes, upper: Complexes, geometry: Geometry = BALL) -> Scene:
    directions, places = [], []
    for orbit in Orbit:
        for angle in ANGLES:
            if orbit is Orbit.VERTICAL and angle == 0.0:
                continue
            ahead, aside = FAR_M * np.cos(np.radians(angle)), FAR_M * np.sin(np.radians(angle))
            directions.append(Direction(orbit, float(angle)).shared)
            places.append([ahead, aside, 0.0] if orbit is Orbit.HORIZONTAL else [ahead, 0.0, aside])
    silence = np.zeros((len(directions), FREQUENCY.size), dtype=np.complex128)
    heard = Heard(tuple(directions), np.array(places), FREQUENCY, silence, SPEED)
    sent = np.stack([lower, upper])
    heard = Heard(
        heard.directions,
        heard.microphone_m,
        FREQUENCY,
        np.einsum("sdf,sf->df", patterns(heard, geometry), sent),
        SPEED,
    )
    nothing = np.zeros(FREQUENCY.size)
    return Scene(heard, geometry, np.full(7, 0.001), sent, nothing, 2.0)


def ways(corner_hz: float = 2000.0) -> tuple[Complexes, Complexes]:
    """Fourth order by two Butterworth filters of second order each, the tweeter's own second order beside."""
    low, high = (
        freqs(*butter(2, 2.0 * np.pi * corner_hz, kind, analog=True), OMEGA)[1] ** 2
        for kind in ("low", "high")
    )
    own = 2.0 * np.pi * 900.0
    tweeter = freqs([1.0, 0.0, 0.0], [1.0, own / 0.9, own**2], OMEGA)[1]
    return np.asarray(low), np.asarray(high * tweeter)


def biquad(centre_hz: float, gain_db: float, q: float) -> Complexes:
    omega, gain = 2.0 * np.pi * centre_hz, 10.0 ** (gain_db / 20.0)
    return np.asarray(freqs([1.0, gain * omega / q, omega**2], [1.0, omega / q, omega**2], OMEGA)[1])


FLAT = np.ones(FREQUENCY.size, dtype=np.complex128)
SILENT = 1e-6 * FLAT


def straight(lower: Complexes, upper: Complexes) -> Scene:
    """As both are sent, on axis: with the ball's step from full to half space made up for."""
    ball = scene(FLAT, FLAT)
    axis = next(row for row, d in enumerate(ball.heard.directions) if d.angle_deg == 0.0)
    step = np.abs(patterns(ball.heard, BALL)[0, axis])
    return scene(lower / step, upper / step)
