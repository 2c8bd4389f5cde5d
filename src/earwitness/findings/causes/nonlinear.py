"""A drive unit, or what drives it, at its limit: not heat, since the impedance has no say in where.

Two predictions. A driver whose force or spring changes over its excursion does so where it moves most: one
narrow band, less or more, with harmonics beside it. A limiter holds the level of a band alike, whatever the
impedance, from a knee up, where each further decibel of drive is lost, or most of it. What a memoryless bend
takes from the fundamental it gives to harmonics: x − ax³ that loses the part ε has a third of ε as its third
harmonic (trigonometry).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.stretch import Stretch
from earwitness.records.causes import Cause

Float64s = npt.NDArray[np.float64]

CAUSE: Final = Cause.NONLINEAR
#: Standard deviations of narrow bands that are tried, octaves, and how far apart their middles lie.
WIDTHS_OCTAVES: Final = (0.12, 0.2, 0.33, 0.5)
MIDDLES_OCTAVES: Final = 0.1
#: In the bass, where cones move far, they may be wider.
BASS_HZ, WIDE_OCTAVES = 200.0, 0.8
#: Middles lie up to so far beyond the stretch, octaves: a band may end outside of what was measured.
BEYOND_OCTAVES: Final = 0.5
#: Decibels that a limiter takes of each further one, its knees, and by what power of the drive a bend grows.
SLOPES: Final = (0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.0)
KNEES_DB: Final = (0.0, 4.0, 8.0)
POWERS: Final = (0.8, 1.0, 1.5, 2.0, 2.5, 3.0)


def bells(stretch: Stretch) -> tuple[Float64s, Float64s]:
    """Narrow bands of height 1, (N, K), and how many numbers of each were chosen (N,)."""
    octaves = stretch.octaves
    middles = np.arange(octaves[0] - BEYOND_OCTAVES, octaves[-1] + BEYOND_OCTAVES, MIDDLES_OCTAVES)
    low = stretch.change.frequency_hz < BASS_HZ
    widths = np.array([*WIDTHS_OCTAVES, *((WIDE_OCTAVES,) if low else ())])
    away = (octaves[None, None] - middles[None, :, None]) / widths[:, None, None]
    found = np.exp(-0.5 * away**2).reshape(-1, octaves.size)
    return found, np.full(found.shape[0], 3.0)


def held(stretch: Stretch) -> tuple[Float64s, Float64s]:
    """Bands in which a limiter takes 1 dB, (N, K) of −1 to 0, and how many numbers were chosen (N,)."""
    bands, ends = stretch.bands()
    return -bands, 1.0 + ends


def courses_of_bells(stretch: Stretch) -> Float64s:
    """How a driver's bend grows with the drive, re that at the highest, (P, D)."""
    below = (stretch.gain_db - stretch.gain_db[-1]) / 20.0
    return np.asarray(10.0 ** (np.array(POWERS)[:, None] * below[None]))


def courses_of_held(stretch: Stretch, top_db: float) -> Float64s:
    """What a limiter takes at each drive if it takes `top_db` of the highest, dB re that, (S, D).

    Its static curve with a knee W is s·(over + W/2)²/2W within the knee and s·over above it (Giannoulis,
    Massberg & Reiss, JAES 60 (6), 2012; recalled).
    """
    below = stretch.gain_db[-1] - stretch.gain_db
    found = []
    for knee in KNEES_DB:
        for slope in SLOPES:
            over = top_db / slope
            if over < 0.5 * knee:
                over = float(np.sqrt(2.0 * knee * top_db / slope)) - 0.5 * knee
            each = over - below
            inside = np.clip(each + 0.5 * knee, 0.0, knee)
            curve = inside**2 / (2.0 * max(knee, 1e-9)) + np.maximum(each - 0.5 * knee, 0.0)
            found.append(slope * curve / top_db)
    return np.stack(found)


def harmonics_of(change_db: float) -> float:
    """Third harmonic re the fundamental of a memoryless bend that changes it by so much."""
    return abs(1.0 - float(10.0 ** (change_db / 20.0))) / 3.0
