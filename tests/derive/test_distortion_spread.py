"""What acts on distortion and on a change of level, against errors whose effect is a closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_series import GRID, PA_PER_VOLT, series

from earwitness.derive.distortion_figures import distortion_figures
from earwitness.derive.distortion_spread import distortion_errors_db, mean_noise_db, shared
from earwitness.records.figures import FigureName, Quantity
from earwitness.records.uncertainty import ComponentName

DRAWS = 128
OCTAVES = np.log2(GRID / 1000.0)


def tilts(slope_db: float, seed: int = 5) -> tuple[np.ndarray, np.ndarray]:
    """Errors that are straight over log f, dB per octave, and their slopes."""
    slope = slope_db * np.random.default_rng(seed).standard_normal(DRAWS)
    return slope[:, None] * OCTAVES, slope


def test_a_tilt_of_the_response_is_one_of_the_harmonics_by_their_order() -> None:
    """H2 alone: what a tilt of s dB an octave does to it is s. H3 alone: s·log2 3. A level error: nothing."""
    error, slope = tilts(0.2)
    some = (GRID > 100.0) & (GRID < 3_000.0)
    for order, octaves in ((2, 1.0), (3, np.log2(3.0))):
        one = series({1: 1.0, order: 1e-3})
        found = distortion_errors_db(one, 2, {ComponentName.MICROPHONE: error})[ComponentName.MICROPHONE]
        assert found is not None
        assert found[:, some] == pytest.approx(np.tile(octaves * slope[:, None], some.sum()), abs=2e-3)
    level = np.broadcast_to(slope[:, None], error.shape)
    same = distortion_errors_db(series({1: 1.0, 2: 1e-3}), 2, {ComponentName.LEVEL: level})
    found = same[ComponentName.LEVEL]
    assert found is not None
    assert found[:, some] == pytest.approx(0.0, abs=1e-12)


def test_the_gate_acts_where_the_field_is_free() -> None:
    error, slope = tilts(0.2)
    one = series({1: 1.0, 2: 1e-3})
    in_room = replace(one, free_field=np.zeros_like(one.free_field))
    for name, acts in ((ComponentName.GATE, False), (ComponentName.MICROPHONE, True)):
        found = distortion_errors_db(in_room, 2, {name: error})[name]
        assert found is not None
        assert np.std(found[:, 500]) == pytest.approx(np.std(slope) if acts else 0.0, abs=1e-3)


def test_what_a_figure_is_unsure_by() -> None:
    """H2 falls by 6.02 dB an octave: a tilt of s dB an octave moves the place by s/6.02 octaves."""
    error, slope = tilts(0.05)
    draws = {ComponentName.MICROPHONE: error, ComponentName.NOISE: error, ComponentName.AIR: None}
    assert ComponentName.NOISE not in shared(draws)
    one = series({1: 1.0, 2: 0.01}, corner_hz=200.0)
    found = {figure.name: figure for figure in distortion_figures((one,), draws)}
    below = found[FigureName.DISTORTION_1]
    assert isinstance(below.value, Quantity)
    expected = below.value.value * np.log(2.0) * np.std(slope, ddof=1) / 6.0206
    assert below.components[ComponentName.MICROPHONE] == pytest.approx(expected, rel=0.02)
    assert below.components[ComponentName.AIR] is None
    assert below.uncertainty == pytest.approx(expected, rel=0.02)


def test_an_error_of_the_level_is_one_of_the_output_and_of_nothing_else() -> None:
    level = 0.3 * np.random.default_rng(3).standard_normal(DRAWS)[:, None] * np.ones(GRID.size)
    one = series({1: 1.0, 2: 0.005, 3: -5e-4}, corner_hz=0.0)
    found = {f.name: f for f in distortion_figures((one,), {ComponentName.LEVEL: level})}
    for name in (FigureName.COMPRESSION, FigureName.CLEAN_OUTPUT):
        assert isinstance(found[name].value, Quantity)
        assert found[name].components[ComponentName.LEVEL] == pytest.approx(np.std(level[:, 0], ddof=1))


def test_noise_of_a_mean_by_counting() -> None:
    """Noise in 0.4 s after the arrival: the spread of a band's mean level over 400 drawings."""
    noise_power = (0.02 * PA_PER_VOLT) ** 2
    one = series({1: 1.0}, noise_power)
    inside = (GRID > 56.0) & (GRID < 71.0)
    told = mean_noise_db(one, 0, inside)
    assert told is not None
    rng = np.random.default_rng(8)
    time = np.arange(round(0.4 * 2_000.0)) / 2_000.0
    turn = np.exp(-2j * np.pi * np.outer(time, GRID[inside]))
    drawn = rng.standard_normal((400, time.size)) @ turn * np.sqrt(noise_power / time.size)
    level = 10.0 * np.log10(np.mean(np.abs(PA_PER_VOLT + drawn) ** 2, axis=1))
    assert told == pytest.approx(np.std(level, ddof=1), rel=0.25)


def test_clean_output_by_distortion_under_a_tilt() -> None:
    """H2 is 3 % first in the lowest band: level off by s·log2(f/1 kHz), distortion by s, dB for dB."""
    error, slope = tilts(0.05)
    one = series({1: 1.0, 2: 0.004}, corner_hz=200.0)
    found = {f.name: f for f in distortion_figures((one,), {ComponentName.MICROPHONE: error})}
    clean = found[FigureName.CLEAN_OUTPUT]
    assert isinstance(clean.value, Quantity)
    octaves = np.log2(clean.also["frequency"] / 1000.0) - 1.0
    expected = abs(octaves) * np.std(slope, ddof=1)
    assert clean.components[ComponentName.MICROPHONE] == pytest.approx(expected, rel=0.02)
