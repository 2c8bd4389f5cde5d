"""The truth: its definitions on closed forms, and the demo loudspeaker held to what is said about it."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import TypeAdapter

from earwitness.records.facts import CaseFacts, Sphere
from earwitness.virtual import truth
from earwitness.virtual.arrays import Floats
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.network import Branch
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.scenario import Scenario, load
from earwitness.virtual.source import Source
from earwitness.virtual.turntable import Turntable
from earwitness.virtual.voice_coil import VoiceCoil

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)


@pytest.fixture(scope="module")
def cobble() -> Scenario:
    return load("cobble_two")


@pytest.fixture(scope="module")
def facts(cobble: Scenario) -> CaseFacts:
    return TypeAdapter(CaseFacts).validate_python(tomllib.loads(cobble.facts.read_text(encoding="utf-8")))


def high_pass(frequencies: Floats, q: float) -> Floats:
    ratio = frequencies / 60.0
    return np.asarray(10.0 * np.log10(ratio**4 / ((1.0 - ratio**2) ** 2 + (ratio / q) ** 2)))


@pytest.mark.parametrize("row", REFERENCE["sealed_box"]["rows"][2:], ids=lambda row: f"Q{row['q']}")
def test_corners_of_a_sealed_box(row: dict[str, Any]) -> None:
    frequencies = truth.grid(10.0, 300.0)[::-1]
    for name, fall in (("f3", 3.0), ("f6", 6.0), ("f10", 10.0)):
        corner = truth.first_lasting_crossing(frequencies, high_pass(frequencies, row["q"]) + fall)
        assert corner / 60.0 == pytest.approx(row[name], rel=1e-4)


def test_a_narrow_trough_is_no_corner_and_a_wide_one_is() -> None:
    frequencies = truth.grid(10.0, 300.0)[::-1]
    octaves = np.log2(frequencies / 150.0)
    level = high_pass(frequencies, 0.70711) + 6.0
    narrow, wide = (level - 20.0 * (np.abs(octaves) < width / 2) for width in (0.08, 0.14))
    assert truth.first_lasting_crossing(frequencies, narrow) / 60.0 == pytest.approx(0.76104, rel=1e-4)
    assert truth.first_lasting_crossing(frequencies, wide) == pytest.approx(150.0 * 2**0.07, rel=5e-3)
    with pytest.raises(ValueError, match="no lasting crossing"):
        truth.first_lasting_crossing(frequencies, np.ones_like(frequencies))


def test_third_octaves_average_power() -> None:
    """A line of 6.0206 dB an octave is a power of f²: its mean is f²·sinh(x)/x with x = ln 4/6."""
    frequencies = np.array([100.0, 1000.0])
    smoothed = truth.third_octave(lambda f: 20.0 * np.log10(f), frequencies)
    x = np.log(4.0) / 6.0
    expected = 20.0 * np.log10(frequencies) + 10.0 * np.log10(np.sinh(x) / x)
    np.testing.assert_allclose(smoothed, expected, atol=1e-4)


@pytest.mark.parametrize("row", REFERENCE["piston"]["rows"][1:], ids=lambda row: f"ka{row['ka']}")
def test_coverage_of_a_piston_in_a_wall(cobble: Scenario, row: dict[str, Any]) -> None:
    """A cap of 0.1 m in a ball of 20 m, far away: a piston in a baffle, whose −6.02 dB angle is published.

    The edge here is 6 dB below the level of the whole third of an octave, which for a heavy cone is flat.
    """
    heavy = DriveUnit(Opening("all"), VoiceCoil(5.0), 4.0, 10.0, 2000.0, 1.0, 0.1)
    source = Source((Enclosure(Interior(0.01), (heavy,)),), (Branch(("all",)),))
    ball = Loudspeaker(source, SphericalCabinet(20.0, (Cap(0.1, 0.0),)))
    scenario = replace(cobble, loudspeaker=ball, turntable=Turntable(1e5, 0.0))
    frequency = row["ka"] * scenario.air.speed / (2.0 * np.pi * 0.05)
    for side in truth.coverage_deg(scenario, "horizontal", np.array([frequency])):
        assert side[0] == pytest.approx(row["minus_6_db_deg"], rel=5e-3)


def test_coverage_of_a_ball_of_sound_has_no_edge(cobble: Scenario) -> None:
    sides = truth.coverage_deg(cobble, "horizontal", np.array([60.0]))
    assert np.isnan(sides).all()


def test_the_tweeter_is_above_and_the_unit_is_alike_left_and_right(cobble: Scenario) -> None:
    frequency = np.array([9000.0])
    up = truth.level_db(cobble, frequency, "vertical", np.array([50.0, -50.0]))[:, 0]
    aside = truth.level_db(cobble, frequency, "horizontal", np.array([50.0, -50.0]))[:, 0]
    assert up[0] > up[1] + 3.0
    assert aside[0] == pytest.approx(aside[1], abs=1e-9)
    above, below = truth.coverage_deg(cobble, "vertical", frequency)
    assert above[0] > below[0] + 20.0


def test_turned_and_free_levels_agree_on_the_axis_and_differ_beside_it(cobble: Scenario) -> None:
    frequency = np.array([500.0, 8000.0])
    turned = truth.turned_level_db(cobble, frequency, "horizontal", np.array([0.0, 60.0]))
    free = truth.level_db(cobble, frequency, "horizontal", np.array([0.0, 60.0]))
    np.testing.assert_allclose(turned[0], free[0], atol=1e-9)
    assert np.abs(turned[1] - free[1]).max() > 0.05


def test_the_demo_is_the_loudspeaker_that_was_asked_for(cobble: Scenario) -> None:
    """A decent small two-way: what the design says, not what came out."""
    frequencies = truth.grid(100.0, 10_000.0)
    level = truth.level_db(cobble, frequencies)[0]
    assert np.ptp(level) < 4.0
    assert 82.0 < truth.sensitivity_db(cobble) < 88.0
    assert 60.0 < truth.corner_hz(cobble, 3.0) < 75.0


def test_the_facts_describe_the_scenario(cobble: Scenario, facts: CaseFacts) -> None:
    unit, rig = facts.unit, facts.rig
    assert isinstance(unit.cabinet, Sphere)
    loudspeaker = cobble.loudspeaker
    assert isinstance(loudspeaker.cabinet, SphericalCabinet)
    assert unit.cabinet.diameter_m == loudspeaker.cabinet.diameter_m
    assert tuple(stated.name for stated in unit.radiators) == loudspeaker.source.radiators
    for stated, cap in zip(unit.radiators, loudspeaker.cabinet.caps, strict=True):
        place = loudspeaker.in_front_of(stated.name, 0.0)
        assert stated.diameter_m == cap.diameter_m
        assert [stated.left_m, stated.up_m] == pytest.approx(place[1:], abs=1e-3)
    assert rig.distance_m == cobble.turntable.distance_m
    assert rig.rotation_behind_m == cobble.turntable.rotation_behind_m
    assert rig.temperature_c == cobble.air.temperature_c
    floor = cobble.session.workshop.room.surface("floor")
    assert floor is not None
    assert rig.height_m == rig.microphone_height_m == floor.distance_m
    assert facts.uncertainty.repeat_db == pytest.approx(0.1)


def test_the_claims_are_one_of_each_kind(cobble: Scenario, facts: CaseFacts) -> None:
    """True, depending on the definition, not confirmed, beyond what is measured; each by a margin."""
    true, depends, wrong, beyond = facts.claims
    assert truth.corner_hz(cobble, 10.0) < true.value / 1.05
    per_watt_db = 10.0 * np.log10(truth.DRIVE_V**2 / (facts.unit.rated_impedance_ohm or np.nan))
    assert truth.sensitivity_db(cobble) > depends.value - 0.2
    assert truth.sensitivity_db(cobble) - per_watt_db < depends.value - 2.0
    assert truth.corner_hz(cobble, 3.0) > wrong.value * 1.2
    assert beyond.band_hz is not None
    assert beyond.band_hz[1] > cobble.session.sweep.last_hz
    assert wrong.value > true.value


def test_the_verdict_is_prose_and_true(cobble: Scenario) -> None:
    text = cobble.verdict.read_text(encoding="utf-8")
    assert not any(character.isdigit() for character in text)
    crossover = np.array([2400.0])
    beside = truth.coverage_deg(cobble, "horizontal", crossover)[0][0]
    above, below = (side[0] for side in truth.coverage_deg(cobble, "vertical", crossover))
    assert max(above, below) < beside / 1.5
    treble = truth.coverage_deg(cobble, "horizontal", np.array([1000.0, 8000.0, 16_000.0]))[0]
    assert treble[0] > treble[1] > treble[2]


def test_an_unknown_scenario_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="cobble_two"):
        load("cobble_three")


def test_directions_are_left_and_up() -> None:
    ninety = np.array([90.0])
    np.testing.assert_allclose(truth.directions("horizontal", ninety), [[0.0, 1.0, 0.0]], atol=1e-12)
    np.testing.assert_allclose(truth.directions("vertical", ninety), [[0.0, 0.0, 1.0]], atol=1e-12)
