"""The rig: where the microphone stands, what the floor does, and what the chain writes down."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.fft
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Floats
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.chain import Chain
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.microphone import Microphone
from earwitness.virtual.network import Branch
from earwitness.virtual.noise import Noise
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.room import SIDES, Room, Surface
from earwitness.virtual.scatterer import Scatterer
from earwitness.virtual.scenario import load
from earwitness.virtual.source import Source
from earwitness.virtual.turntable import Orbit, Turntable, View
from earwitness.virtual.voice_coil import VoiceCoil
from earwitness.virtual.workshop import Workshop

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)
STILL = Microphone(resonance_hz=200_000.0, q=0.7, bass_limit_hz=0.01, noise_pa=0.0)
CHAIN = Chain(sample_rate_hz=48_000, full_scale_pa=1.0, latency_s=0.0, edge_hz=22_000.0)
AIR = Air(19.974)
ORBITS: tuple[Orbit, Orbit] = ("horizontal", "vertical")
AHEAD = np.zeros(1)


def point_source() -> Loudspeaker:
    """A ball of 2 mm: a point for anything below a kilohertz."""
    unit = DriveUnit(Opening("all"), VoiceCoil(5.0), 4.0, 0.01, 2000.0, 1.0, 0.001)
    source = Source((Enclosure(Interior(0.01), (unit,)),), (Branch(("all",)),))
    return Loudspeaker(source, SphericalCabinet(0.002, (Cap(0.001, 0.0),)))


def workshop(*surfaces: Surface, order: int = 1, **parts: Any) -> Workshop:
    return Workshop(point_source(), Room(surfaces, order), STILL, CHAIN, AIR, **parts)


def spectrum(rig: Workshop, view: View) -> Floats:
    return np.asarray(scipy.fft.rfft(rig.impulse_responses(view)))


def floor(height_m: float, reflection: float = 1.0) -> Surface:
    return Surface("floor", height_m, reflection)


@pytest.mark.parametrize("row", REFERENCE["floor"]["rows"], ids=lambda row: f"{row['delay_ms']}ms")
@pytest.mark.parametrize("orbit", ORBITS)
def test_the_floor_comes_late_and_soft_as_its_image_says(row: dict[str, Any], orbit: Orbit) -> None:
    """The table holds for c = 343.2 m/s, which is air of 19.974 °C."""
    low, high = row["heights_m"]
    view = Turntable(row["distance_m"], 0.0, microphone_up_m=high - low).view(orbit, AHEAD)
    echo = (spectrum(workshop(floor(low)), view) / spectrum(workshop(), view) - 1.0)[0, 100:600]
    frequency = np.fft.rfftfreq(2**15, 1 / 48_000)[100:600]
    delay_s = -np.polyfit(frequency, np.unwrap(np.angle(echo)), 1)[0] / (2.0 * np.pi)
    assert 1e3 * delay_s == pytest.approx(row["delay_ms"], rel=1.5e-3)
    assert 20.0 * np.log10(np.abs(echo).mean()) == pytest.approx(row["level_db"], abs=0.02)


def test_a_reflection_coefficient_scales_the_echo() -> None:
    view = Turntable(2.0, 0.0).view("horizontal", AHEAD)
    without = spectrum(workshop(), view)
    hard, soft = (spectrum(workshop(floor(1.5, r)), view) for r in (1.0, 0.5))
    np.testing.assert_allclose(soft - without, 0.5 * (hard - without), rtol=1e-9, atol=1e-15)


def test_a_ceiling_is_a_floor_upside_down() -> None:
    view = Turntable(2.0, 0.0).view("horizontal", AHEAD)
    below, above = (spectrum(workshop(Surface(side, 1.5, 0.8)), view) for side in ("floor", "ceiling"))
    np.testing.assert_allclose(above, below, rtol=1e-12)


def test_the_room_stays_the_same_while_the_unit_rolls() -> None:
    """A point source sounds alike on both orbits, with all six surfaces and what scatters in the room.

    To bring its upper side to the microphone, the loudspeaker on its right side turns to its left.
    """
    surfaces = [
        Surface(side, distance, 0.8)
        for side, distance in zip(SIDES, (3.1, 1.4, 2.2, 1.7, 2.5, 1.9), strict=True)
    ]
    rig = workshop(*surfaces, order=2, scatterers=(Scatterer(0.04, (0.9, 0.3, -0.8)),))
    turntable, angles = Turntable(2.0, 0.1, 0.02, 0.1), np.array([-140.0, -30.0, 20.0, 90.0, 180.0])
    upright = spectrum(rig, turntable.view("horizontal", -angles))
    rolled = spectrum(rig, turntable.view("vertical", angles))
    np.testing.assert_allclose(upright[:, 50:600], rolled[:, 50:600], rtol=1e-9)


def test_the_floor_sees_the_underside_upright_and_the_right_side_when_rolled() -> None:
    """The image lies below the upright unit, and to the right of the one that lies on its right side."""
    rig = workshop(floor(1.9))
    below, right = (
        rig.paths(Turntable(2.0, 0.1).view(orbit, AHEAD), np.array([100.0]))[1].points[0] for orbit in ORBITS
    )
    np.testing.assert_allclose(below, [2.0, 0.0, -3.8], atol=1e-12)
    np.testing.assert_allclose(right, [2.0, -3.8, 0.0], atol=1e-12)


@settings(max_examples=50)
@given(angle=st.floats(-180.0, 180.0), behind=st.floats(0.0, 0.5), distance=st.floats(0.5, 4.0))
def test_the_microphone_keeps_its_distance_from_the_axis_of_rotation(
    angle: float, behind: float, distance: float
) -> None:
    turntable, turntable_axis = Turntable(distance, behind), np.array([-behind, 0.0, 0.0])
    for orbit, across in zip(ORBITS, (1, 2), strict=True):
        point = turntable.microphone(orbit, np.array([angle]))[0]
        assert np.linalg.norm(point - turntable_axis) == pytest.approx(distance + behind, rel=1e-12)
        assert point[across] == pytest.approx((distance + behind) * np.sin(np.radians(angle)), abs=1e-12)


def test_front_and_back_differ_by_the_offset_of_the_axis() -> None:
    """An axis 0.15 m behind the front makes 2.6 dB at 1 m (the project's definitions)."""
    points = Turntable(0.85, 0.15).microphone("horizontal", np.array([0.0, 180.0]))
    front, back = np.linalg.norm(points, axis=-1)
    assert front == pytest.approx(0.85, rel=1e-12)
    assert 20.0 * np.log10(back / front) == pytest.approx(2.6, abs=0.03)


def test_interpolation_keeps_the_physics() -> None:
    """An impulse response's spectrum is the loudspeaker's own pressure through microphone and converter."""
    scenario = load("cobble_two")
    rig = replace(scenario.session.workshop, room=Room())
    angles = np.array([0.0, 70.0, 180.0])
    close = rig.loudspeaker.in_front_of("woofer", 0.007)
    places = np.concatenate([scenario.turntable.microphone("vertical", angles), close[None]])
    views = (scenario.turntable.view("vertical", angles), View.close(close))
    found = np.concatenate([spectrum(rig, view) for view in views])
    bins = np.array([1, 7, 40, 333, 1111, 5000, 9876, 14_000])
    frequency = bins * 48_000 / 2**15
    exact = scenario.loudspeaker.pressure(places, frequency, 1.0, scenario.air)
    exact = exact * rig.microphone.transfer(frequency) * rig.chain.converter(frequency)
    exact = exact / rig.chain.full_scale_pa
    assert np.max(np.abs(found[:, bins] / exact - 1.0)) < 1e-4


def test_an_impulse_response_has_died_away_before_it_ends() -> None:
    scenario = load("cobble_two")
    view = scenario.turntable.view("horizontal", AHEAD)
    response = scenario.session.workshop.impulse_responses(view)[0]
    assert np.max(np.abs(response[-(2**13) :])) < 1e-4 * np.max(np.abs(response))


def test_noise_has_its_stated_power_and_colour() -> None:
    generator = np.random.default_rng(5)
    white = Noise(0.01, 0.0).samples(generator, 2**18, 48_000)
    pink = Noise(0.0, 0.02).samples(generator, 2**18, 48_000)
    assert white.std() == pytest.approx(0.01, rel=0.01)
    assert pink.std() == pytest.approx(0.02, rel=0.03)
    power = np.abs(scipy.fft.rfft(pink)) ** 2
    frequency = np.fft.rfftfreq(2**18, 1 / 48_000)
    octaves = [power[(frequency >= f) & (frequency < 2 * f)].sum() for f in (500.0, 2000.0, 8000.0)]
    np.testing.assert_allclose(octaves / np.mean(octaves), 1.0, atol=0.05)


def test_the_microphone_rises_gently_and_is_level_at_a_kilohertz() -> None:
    microphone = load("cobble_two").session.workshop.microphone
    level = microphone.level_db(np.array([20.0, 1000.0, 4000.0, 16_000.0]))
    assert level[1] == pytest.approx(0.0, abs=1e-12)
    assert -0.2 < level[0] < level[2] < 0.3
    assert 1.0 < level[3] < 2.5
