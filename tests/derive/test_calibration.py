"""What is printed as ± against the scatter of many worlds whose errors are drawn apart from the program.

A sealed box in closed form, two takes on axis. Each world is off by draws of the stated components, made here
from their covariance (Cholesky), and the same figures are read off it. Their scatter must be what the program
says of the one world that it is given.
"""

from __future__ import annotations

from collections.abc import Callable

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import Derivation, derive
from earwitness.derive.level_figures import extremes_db
from earwitness.derive.low_frequency import crossing_hz
from earwitness.methods.iec_60268_5 import mean_level_db
from earwitness.records.curves import CurveName as C
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Figure, FigureName
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Orbit
from earwitness.records.uncertainty import ComponentName as N

GRID = closed_forms.GRID
WORLDS = 4000
MICROPHONE, LEVEL, REPEAT, NOISE, SPLICE = 0.3, 0.2, 0.25, 0.1, 0.15
#: 128 draws know the spread of what is broad over frequency to 6 %: three of that. A spread over `WORLDS` is
#: known to 1 %.
SPREAD = 0.18
#: Points that aren't figures need no draws: linear propagation, and the worlds' own 1 %, three times.
POINTWISE = 0.035

ON_AXIS = (Direction(Orbit.HORIZONTAL, 0.0), Direction(Orbit.VERTICAL, 0.0))


def sealed_box_db() -> np.ndarray:
    """86 dB above a sealed box at 55 Hz with Q = 0.7 (Small 1972), and a ripple of 1 dB."""
    w2 = (GRID / 55.0) ** 2
    box = 10.0 * np.log10(w2**2 / ((1.0 - w2) ** 2 + w2 / 0.7**2))
    return np.asarray(86.0 + box + np.sin(2.0 * np.pi * np.log2(GRID / 1000.0)))


def broad(random: np.random.Generator, count: int) -> np.ndarray:
    """Unit errors with the correlation exp(−d²) over d octaves, shape (count, F)."""
    octave = np.log2(GRID)
    coarse = np.linspace(octave[0], octave[-1], 80)
    covariance = np.exp(-np.square(coarse[:, None] - coarse)) + 1e-7 * np.eye(len(coarse))
    drawn = random.standard_normal((count, len(coarse))) @ np.linalg.cholesky(covariance).T
    place = (octave - coarse[0]) / (coarse[1] - coarse[0])
    left = np.minimum(place.astype(int), len(coarse) - 2)
    part = place - left
    return np.asarray(drawn[:, left] * (1.0 - part) + drawn[:, left + 1] * part)


@pytest.fixture(scope="module")
def worlds() -> np.ndarray:
    """On-axis levels of `WORLDS` worlds, shape (WORLDS, F)."""
    random = np.random.default_rng(77)
    shared = MICROPHONE * broad(random, WORLDS)
    shared += LEVEL * random.standard_normal((WORLDS, 1)) + SPLICE * random.standard_normal((WORLDS, 1))
    takes = [
        REPEAT * broad(random, WORLDS) + NOISE * random.standard_normal((WORLDS, len(GRID))) for _ in ON_AXIS
    ]
    mean = 10.0 * np.log10(np.mean([10.0 ** (0.1 * take) for take in takes], axis=0))
    return np.asarray(sealed_box_db() + shared + mean)


@pytest.fixture(scope="module")
def told() -> Derivation:
    """What the program says of a world that is as it should be."""
    responses: Responses = closed_forms.responses(
        closed_forms.omni,
        ON_AXIS,
        on_axis_db=sealed_box_db(),
        components={N.NOISE: NOISE, N.SPLICE: SPLICE},
        gate_s=0.0,
    )
    stated = StatedUncertainty(microphone_db=MICROPHONE, level_db=LEVEL, repeat_db=REPEAT)
    return derive(responses, CaseFacts(Unit("Cobble"), uncertainty=stated))


def f_at(fall_db: float) -> Callable[[np.ndarray], np.ndarray]:
    downward = np.flatnonzero(GRID <= 300.0)[::-1]

    def crossing(levels: np.ndarray) -> np.ndarray:
        reference = np.expand_dims(mean_level_db(GRID, levels), -1)
        return crossing_hz(GRID[downward], reference - levels[..., downward], fall_db)

    return crossing


FIGURES: dict[FigureName, Callable[[np.ndarray], np.ndarray]] = {
    FigureName.SENSITIVITY: lambda levels: mean_level_db(GRID, levels),
    FigureName.F3: f_at(3.0),
    FigureName.F6: f_at(6.0),
    FigureName.F10: f_at(10.0),
    FigureName.TOLERANCE_ON_AXIS: lambda levels: extremes_db(GRID, levels, 24, (100.0, 10_000.0)),
}


def figure(derivation: Derivation, name: FigureName) -> Figure:
    return next(f for f in derivation.figures if f.name is name)


@pytest.mark.parametrize("name", list(FIGURES))
def test_a_figure_scatters_as_it_says(name: FigureName, told: Derivation, worlds: np.ndarray) -> None:
    uncertainty = figure(told, name).uncertainty
    assert uncertainty is not None
    values = FIGURES[name](worlds).reshape(WORLDS, -1)
    assert uncertainty == pytest.approx(values.std(axis=0, ddof=1).max(), rel=SPREAD)


@pytest.mark.parametrize("name", [FigureName.SENSITIVITY, FigureName.F6])
def test_a_figure_holds_the_truth_in_95_of_100_worlds(
    name: FigureName, told: Derivation, worlds: np.ndarray
) -> None:
    uncertainty = figure(told, name).uncertainty
    assert uncertainty is not None
    away = FIGURES[name](worlds) - FIGURES[name](sealed_box_db())
    assert 0.93 <= np.mean(np.abs(away) <= 1.96 * uncertainty) <= 0.97


def test_a_curve_scatters_as_its_band_says_at_every_point(told: Derivation, worlds: np.ndarray) -> None:
    band = told.curves.curves[C.ON_AXIS].uncertainty_db
    ratio = worlds.std(axis=0, ddof=1) / band
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, abs=0.015)
    np.testing.assert_allclose(ratio, 1.0, atol=POINTWISE)
    inside = np.abs(worlds - sealed_box_db()) <= 1.96 * band
    assert 0.94 <= inside.mean() <= 0.96
