"""Scenes from what a case states: more radiators than two, and levels alone, on sums by closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from evaluation.physics import make
from evaluation.population import draw
from evaluation.ruler import unit

from earwitness.findings.cause_words import parameters
from earwitness.findings.causes import crossover_misalignment, spaced_sources
from earwitness.findings.causes.form import Judged, parameter
from earwitness.findings.causes.judge import NEEDS_PHASE, judged, scene_of
from earwitness.findings.causes.levels import of_levels
from earwitness.findings.causes.scene import Geometry, Heard, Scene, fit_scene
from earwitness.findings.causes.stated import Stated
from earwitness.findings.causes.tracks import tracks, witnessed
from earwitness.records.causes import Cause, CauseSaid
from earwitness.records.facts import Box, Radiator, Sphere, Unit
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import Direction, Orbit

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

SPEED, FAR_M = 343.0, 2.0
FREQUENCY = 500.0 * 2.0 ** (np.arange(24 * 4 + 13) / 24.0)
ANGLES = np.arange(-60.0, 61.0, 10.0)
DIRECTIONS = tuple(
    Direction(orbit, float(angle)).shared
    for orbit in Orbit
    for angle in ANGLES
    if orbit is Orbit.HORIZONTAL or angle != 0.0
)
TOWER = Unit(
    "a tower",
    cabinet=Sphere(0.3),
    radiators=(
        Radiator("tweeter", 0.025, up_m=0.1),
        Radiator("lower_woofer", 0.1, up_m=-0.1),
        Radiator("woofer", 0.1, up_m=0.0),
        Radiator("port", 0.05, up_m=-0.1, face="back"),
    ),
)


def microphones() -> Floats:
    angle = np.radians([d.angle_deg for d in DIRECTIONS])
    upright = np.array([d.orbit is Orbit.VERTICAL for d in DIRECTIONS])
    ahead, aside = FAR_M * np.cos(angle), FAR_M * np.sin(angle)
    return np.column_stack([ahead, np.where(upright, 0.0, aside), np.where(upright, aside, 0.0)])


def points_sum(heights: Floats, sent: Complexes) -> Heard:
    """Small sources in free space at heights, e^(−jkr)/r (closed form), re the reference point's flight."""
    far = microphones()
    ways = np.linalg.norm(far - np.array([[0.0, 0.0, z] for z in heights])[:, None, :], axis=-1)
    turn = 2j * np.pi * FREQUENCY / SPEED
    kernel = np.exp(-turn * (ways - FAR_M)[..., None]) * (FAR_M / ways)[..., None]
    pressure = np.einsum("sdf,sf->df", kernel, sent)
    return Heard(DIRECTIONS, far, FREQUENCY, np.asarray(pressure), SPEED)


def test_what_is_stated_of_the_front() -> None:
    stated = Stated.of(TOWER)
    assert stated is not None
    assert stated.height_m == (-0.1, 0.0, 0.1)
    assert stated.disc_m == (0.05, 0.05, 0.0125)
    assert (stated.body, stated.size_m, stated.besides) == ("ball", (0.15,), False)


def test_a_box_is_stated_from_the_reference_point() -> None:
    """0.4 m high, the reference point 0.1 m above the middle: 0.1 m to the top, 0.3 m to the bottom."""
    box = Box(0.2, 0.4, 0.3, reference_up_m=0.1)
    stated = Stated.of(Unit("a box", cabinet=box, radiators=(Radiator("woofer", 0.12, up_m=-0.1),)))
    assert stated is not None
    assert stated.size_m == pytest.approx((0.1, 0.1, 0.3))
    assert stated.besides
    assert Stated.of(Unit("nothing")) is None


@pytest.mark.parametrize("count", [2, 3])
def test_levels_tell_what_each_sends(count: int) -> None:
    """Far apart against the wave: amplitudes up to one common turn, from 25 levels a frequency.

    The first sends by the cosine of the angle: two alike can't be told from two exchanged, by levels.
    A few frequencies end in another minimum: starts are few.
    """
    lots = np.random.default_rng(5)
    some = FREQUENCY[FREQUENCY > 2500.0]
    sent = lots.normal(size=(count, some.size)) + 1j * lots.normal(size=(count, some.size))
    far = microphones()
    ways = np.linalg.norm(
        far - np.array([[0.0, 0.0, z] for z in (-0.2, 0.0, 0.13)[:count]])[:, None, :], axis=-1
    )
    kernel = np.exp(-2j * np.pi * some / SPEED * (ways - FAR_M)[..., None])
    kernel[0] *= (far[:, 0] / FAR_M)[:, None]
    found = of_levels(kernel, np.abs(np.einsum("sdf,sf->df", kernel, sent)), 1e-6)
    strongest = np.take_along_axis(sent, np.argmax(np.abs(sent), axis=0)[None], axis=0)
    true = sent * np.exp(-1j * np.angle(strongest))
    missed = np.max(np.abs(found - true), axis=0) / np.max(np.abs(true), axis=0)
    assert np.mean(missed < 0.01) > 0.9


def three_on_a_ball() -> Heard:
    """Two alike low and one high, crossing at 2 kHz by fourth order in phase, on a small ball as stated."""
    low = 1.0 / (1.0 + (FREQUENCY / 2000.0) ** 4) + 0j
    return points_sum(np.array([-0.1, 0.0, 0.1]), np.stack([low, low, 1.0 - low]))


def test_three_are_found_in_their_order() -> None:
    """The highest in pitch comes last wherever it sits; heights are the stated ones within a centimetre."""
    found = fit_scene(three_on_a_ball(), Stated.of(TOWER))
    heights = found.geometry.points_m()[:, 2]
    assert len(heights) == 3
    assert heights[2] == pytest.approx(0.1, abs=0.01)
    assert sorted(heights[:2]) == pytest.approx([-0.1, 0.0], abs=0.015)
    assert np.argmax(found.shares[:, -1]) == 2
    assert found.shares[:2, 0].sum() > 0.9


def test_the_spacing_told_is_of_the_two_that_are_heard() -> None:
    geometry = Geometry(
        "ball", tuple(np.arcsin([-0.05 / 0.15, 0.0, 0.1 / 0.15])), (0.05, 0.05, 0.012), (0.15,)
    )
    heard = three_on_a_ball()
    quiet = np.full(FREQUENCY.size, 1e-3 + 0j)
    loud = np.ones(FREQUENCY.size, dtype=np.complex128)
    scene = Scene(heard, geometry, np.full(7, 1e-3), np.stack([quiet, loud, loud]), np.zeros(1), None)
    told = spaced_sources.judge(scene, dip({0.0: 1000.0}))
    points = geometry.points_m()
    assert told.parameters[0].value == pytest.approx(float(np.linalg.norm(points[2] - points[1])))


def dip(at: dict[float, float], orbit: Orbit = Orbit.VERTICAL) -> Feature:
    places = tuple(
        FeaturePlace(Direction(orbit, angle).shared, hz, -3.0, 0.3, 1.0, 0.1, -3.0)
        for angle, hz in at.items()
    )
    first = places[0].frequency_hz
    return Feature("dip", first, 1.0, -3.0, 0.1, 3.0, None, places)


def test_levels_say_nothing_of_delays() -> None:
    heard = three_on_a_ball()
    levels = Heard(DIRECTIONS, heard.microphone_m, FREQUENCY, np.abs(heard.pressure) + 0j, SPEED, False)
    scene = fit_scene(levels, Stated.of(TOWER))
    (told,) = judged(scene, 5e-3, [dip({20.0: 1900.0, 30.0: 1700.0})])
    late = told.of(Cause.CROSSOVER_MISALIGNMENT)
    assert late is not None
    assert late.effect_db is None
    assert late.against
    fitted = {each.cause for each in told.said if each.effect_db is not None}
    assert not fitted & NEEDS_PHASE
    assert Cause.SPACED_SOURCES in fitted


def way(angle: float) -> float:
    """Of one 0.16 m above and 0.06 m late: half a wave."""
    return SPEED / (2.0 * (0.06 + 0.16 * math.sin(math.radians(angle))))


def test_a_dip_that_moves_speaks_for_two_apart() -> None:
    moving = dip({angle: way(angle) for angle in (0.0, 10.0, 20.0, 30.0)})
    found = tracks(moving, SPEED)
    assert found[0].spacing_m == pytest.approx(0.16, rel=2e-3)
    (spaced,) = witnessed([Judged(Cause.SPACED_SOURCES, 3.0)], found)
    assert spaced.evidence
    still = dip(dict.fromkeys((0.0, 10.0, 20.0, 30.0), 1000.0), Orbit.HORIZONTAL)
    (edge,) = witnessed([Judged(Cause.EDGE_DIFFRACTION, 3.0)], tracks(still, SPEED))
    assert edge.against
    assert not tracks(dip({0.0: 1000.0, 10.0: 900.0}), SPEED)


@pytest.mark.parametrize("late_s", [0.0, 10e-6])
def test_ways_opposed_throughout_are_turned_over(late_s: float) -> None:
    """By levels that slopes past the band would explain otherwise: π at all frequencies, and the other way to
    add, half a period of 2 kHz (0.25 ms), told beside."""
    geometry = Geometry("ball", (-0.5, 0.5), (0.05, 0.012), (0.15,))
    ratio = (FREQUENCY / 2000.0) ** 5
    lower = 1.0 / (1.0 + ratio) + 0j
    upper = -ratio / (1.0 + ratio) * np.exp(-2j * np.pi * FREQUENCY * late_s)
    heard = three_on_a_ball()
    scene = Scene(heard, geometry, np.full(5, 1e-3), np.stack([lower, upper]), np.zeros(1), None)
    found = crossover_misalignment.step(scene)
    assert found is not None
    assert found.turned
    assert abs(found.late_s) < 30e-6
    assert abs(found.else_late_s) == pytest.approx(250e-6, abs=40e-6)
    back = crossover_misalignment.in_step(scene, found)
    at = int(np.argmin(np.abs(FREQUENCY - 2000.0)))
    assert abs(back.sum(axis=0)[at]) > 0.9


def test_polarity_in_words() -> None:
    other = parameter("else_late_s", 2.5e-4, 1e-5)
    words = (
        "one connected the other way round, and {}, or, less likely, none so but the one that sounds higher"
    )
    for late_s, spread_s, how in ((6e-5, 1e-5, "0.06 ms late"), (1e-5, 1e-5, "otherwise in step to 0.03 ms")):
        parts = (parameter("turned_late_s", late_s, spread_s), other)
        said = CauseSaid(Cause.CROSSOVER_MISALIGNMENT, 0.9, 10.0, parts)
        assert str(parameters(said, "causes/0")) == f"{words.format(how)} 0.25 ms late"


@pytest.mark.slow
def test_levels_bear_a_scene_where_radiators_are_stated() -> None:
    """Seed 20 402 without its phase: three at −0.228, −0.086 and 0 m (the workshop's)."""
    made = make(draw(20_402))
    whole = made.responses
    levels = replace(
        whole,
        pressure=np.abs(whole.pressure).astype(np.complex64),
        has_phase=np.zeros_like(whole.has_phase),
        gate_s=np.zeros_like(whole.gate_s),
    )
    assert scene_of(levels, SPEED) is None
    scene = scene_of(levels, SPEED, unit(made.drawn.scenario))
    assert scene is not None
    assert not scene.heard.has_phase
    assert sorted(scene.geometry.points_m()[:, 2]) == pytest.approx([-0.228, -0.086, 0.0], abs=0.006)
