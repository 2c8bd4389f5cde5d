"""The fourteen curves of a two-orbit set, from pressure in 72 directions, on the project's definitions.

Written a second time on purpose: the package has its own (ANSI/CTA-2034-A; directions, groups and weights
recalled). Here the groups are lists of angles, and the areas of the sound power come from geometry: each
direction owns what lies between meridians 5 degrees to either side, in its orbit's half of the sphere, |y| >
|z| or the reverse. Readings: rear as 180 and ±90 degrees; groups with equal weight; areas divided by their
sum, a pole with one of its four tips, as the table has it; in-room weights on power.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.files import ANGLES_DEG, ORBITS

#: Every direction of both orbits: (orbit, angle), the shared 0 and 180 degrees on each.
DIRECTIONS: Final = tuple((orbit, angle) for orbit in ORBITS for angle in ANGLES_DEG)
POLES: Final = (0, 180)

_ACROSS: Final[dict[str, tuple[int, ...]]] = {
    "front_reflection": (0, 10, -10, 20, -20, 30, -30),
    "side_reflection": (40, -40, 50, -50, 60, -60, 70, -70, 80, -80),
    "rear_reflection": (180, 90, -90),
}
_UPRIGHT: Final[dict[str, tuple[int, ...]]] = {
    "floor_reflection": (-20, -30, -40),
    "ceiling_reflection": (40, 50, 60),
}
#: Names, in the order of the project's files.
CURVES: Final = (
    "on_axis",
    "listening_window",
    "floor_reflection",
    "ceiling_reflection",
    "front_reflection",
    "side_reflection",
    "rear_reflection",
    "early_reflections",
    "total_horizontal_reflections",
    "total_vertical_reflections",
    "sound_power",
    "early_reflections_di",
    "sound_power_di",
    "estimated_in_room",
)


def _share(orbit: str, angles: Sequence[int]) -> Floats:
    weights = np.zeros(len(DIRECTIONS))
    for angle in angles:
        weights[DIRECTIONS.index((orbit, angle))] = 1.0 / len(angles)
    return weights


def areas() -> Floats:
    """Weights of the 72 directions for sound power, sum 1; the poles count on the horizontal orbit alone.

    Between the meridians t ± 5 degrees and the planes |y| = |z| a half-orbit owns [asin(cos(t−5°)/√2) −
    asin(cos(t+5°)/√2)]/2π of the sphere (derived); a pole is given the tip of one.
    """
    weights = np.zeros(len(DIRECTIONS))
    for number, (orbit, angle) in enumerate(DIRECTIONS):
        low, high = (np.cos(np.radians(abs(angle) + side)) / np.sqrt(2.0) for side in (-5.0, 5.0))
        if angle not in POLES:
            weights[number] = np.arcsin(low) - np.arcsin(high)
        elif orbit == "horizontal":
            weights[number] = np.pi / 4.0 - np.arcsin(np.cos(np.radians(5.0)) / np.sqrt(2.0))
    return np.asarray(weights / weights.sum())


def power_curves(pressure: Complexes | Floats) -> dict[str, Floats]:
    """Mean square pressure of each curve, ratios for the directivity indices.

    Parameters
    ----------
    pressure
        Magnitudes or complex values, shape (72, F), in the order of `DIRECTIONS`.

    Returns
    -------
    By name, each (F,).
    """
    power = np.abs(pressure) ** 2
    groups = {name: _share("horizontal", angles) @ power for name, angles in _ACROSS.items()}
    groups |= {name: _share("vertical", angles) @ power for name, angles in _UPRIGHT.items()}
    window = 7.0 * _share("horizontal", (0, 10, -10, 20, -20, 30, -30)) + 2.0 * _share("vertical", (10, -10))
    found = dict(groups)
    found["on_axis"] = _share("horizontal", (0,)) @ power
    found["listening_window"] = window @ power / 9.0
    found["total_horizontal_reflections"] = np.mean([groups[name] for name in _ACROSS], axis=0)
    found["total_vertical_reflections"] = np.mean([groups[name] for name in _UPRIGHT], axis=0)
    found["early_reflections"] = np.mean(list(groups.values()), axis=0)
    found["sound_power"] = areas() @ power
    found["early_reflections_di"] = found["listening_window"] / found["early_reflections"]
    found["sound_power_di"] = found["listening_window"] / found["sound_power"]
    found["estimated_in_room"] = (
        0.12 * found["listening_window"] + 0.44 * found["early_reflections"] + 0.44 * found["sound_power"]
    )
    return {name: found[name] for name in CURVES}
