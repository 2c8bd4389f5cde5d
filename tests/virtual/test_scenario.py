"""The shelf: each loudspeaker is built, sounds like one, and is what its reviewer's facts say."""

from __future__ import annotations

import tomllib
from collections import Counter

import numpy as np
import pytest
from pydantic import TypeAdapter

from earwitness.records.facts import Box, CaseFacts, Sphere
from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Floats
from earwitness.virtual.box import BoxCabinet
from earwitness.virtual.faults import value_at
from earwitness.virtual.radiator import SphericalCabinet
from earwitness.virtual.scenario import Scenario, load, names

RIGS = ("workshop", "garden", "living_room", "hall")
#: IEC 60268-5, clause 16 (recalled): the least impedance is at least this share of the rated one.
LEAST_OF_RATED = 0.8


@pytest.fixture(params=names())
def scenario(request: pytest.FixtureRequest) -> Scenario:
    return load(request.param)


def facts_of(scenario: Scenario) -> CaseFacts:
    return TypeAdapter(CaseFacts).validate_python(tomllib.loads(scenario.facts.read_text(encoding="utf-8")))


def test_there_are_enough_and_two_without_faults() -> None:
    found = [load(name) for name in names()]
    assert len(found) >= 18
    assert sum(not each.faults for each in found) >= 2
    assert max(len(each.faults) for each in found) >= 3
    causes = Counter(fault.cause for each in found for fault in each.faults)
    assert set(causes) == {
        "resonance",
        "edge_diffraction",
        "spaced_sources",
        "crossover_misalignment",
        "driver_directivity",
        "voicing",
        "port_or_cavity",
    }


def test_faults_name_what_is_there(scenario: Scenario) -> None:
    source = scenario.loudspeaker.source
    for fault in scenario.faults:
        assert set(fault.silences) <= set(source.fault_names)
        assert {*fault.edges, *fault.together} <= set(source.radiators)
        for path, value in fault.instead.items():
            assert value_at(scenario.document, path) != value
    silenced = [name for fault in scenario.faults for name in fault.silences]
    assert sorted(silenced) == sorted(source.fault_names)


def test_drivers_give_a_level_and_a_bass_of_a_loudspeaker(scenario: Scenario) -> None:
    """All radiators as monopoles at 150 Hz: 74 to 92 dB at 1 m for 2.83 V; at 20 Hz at least 8 dB less."""
    frequencies = np.array([20.0, 150.0])
    air = Air()
    total = np.abs(scenario.loudspeaker.volume_velocities(frequencies, air).sum(axis=0))
    pressure: Floats = 2.83 * total * air.density * frequencies / 2.0
    low, level = 20.0 * np.log10(pressure / 20e-6)
    assert 74.0 < level < 92.0
    assert low < level - 8.0


def test_facts_describe_the_scenario(scenario: Scenario) -> None:
    facts, cabinet = facts_of(scenario), scenario.loudspeaker.cabinet
    if isinstance(cabinet, BoxCabinet):
        assert facts.unit.cabinet == Box(cabinet.width_m, cabinet.height_m, cabinet.depth_m)
    else:
        assert isinstance(cabinet, SphericalCabinet)
        assert facts.unit.cabinet == Sphere(cabinet.diameter_m)
    described = {radiator.name: radiator for radiator in facts.unit.radiators}
    assert {*scenario.loudspeaker.source.drivers, *near_of(scenario)} <= set(described)
    for name, radiator in described.items():
        place = scenario.loudspeaker.in_front_of(name, 0.0)
        assert [radiator.left_m, radiator.up_m] == pytest.approx(place[1:], abs=1e-3)
    assert facts.rig.distance_m == scenario.turntable.distance_m
    assert facts.rig.temperature_c == scenario.air.temperature_c
    (floor,) = [side for side in scenario.session.workshop.room.surfaces if side.side == "floor"]
    assert facts.rig.height_m == facts.rig.microphone_height_m == floor.distance_m


def near_of(scenario: Scenario) -> set[str]:
    return {near.way for near in scenario.session.near_fields}


def test_rated_impedance_is_kept_where_there_is_one(scenario: Scenario) -> None:
    rated = facts_of(scenario).unit.rated_impedance_ohm
    if scenario.full_scale_v is not None:
        assert rated is None
    elif not any(branch.ideal for branch in scenario.loudspeaker.source.branches):
        assert rated is not None
        ohms = np.abs(scenario.loudspeaker.impedance(np.geomspace(20.0, 20_000.0, 400), scenario.air))
        assert ohms.min() >= LEAST_OF_RATED * rated
        assert ohms.min() < 2.0 * rated


def test_an_active_loudspeaker_is_driven_in_decibels_of_full_scale(scenario: Scenario) -> None:
    facts = facts_of(scenario)
    assert facts.unit.active == (scenario.full_scale_v is not None)
    drives = {name.rpartition("_")[2] for name in scenario.names if name.startswith(("horiz", "near"))}
    assert drives == ({"-20dBFS.wav", "-40dBFS.wav"} if facts.unit.active else {"2.83V.wav", "0.283V.wav"})


def test_verdicts_are_prose_without_digits(scenario: Scenario) -> None:
    text = scenario.verdict.read_text(encoding="utf-8")
    assert len(text) > 60
    assert not any(character.isdigit() for character in text)


@pytest.mark.parametrize("rig", RIGS)
def test_any_loudspeaker_stands_in_any_rig(rig: str) -> None:
    scenario = load("dewdrop", rig)
    assert scenario.loudspeaker == load("dewdrop").loudspeaker
    assert len(scenario.names) == 3 + 72 + 1
