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
from earwitness.virtual.chain import Chain, Noise, Paths
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.network import Branch
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.scenario import load
from earwitness.virtual.source import Source
from earwitness.virtual.voice_coil import VoiceCoil
from earwitness.virtual.workshop import Microphone, Room, Turntable

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)
STILL = Microphone(resonance_hz=200_000.0, q=0.7, bass_limit_hz=0.01, noise_pa=0.0)
CHAIN = Chain(sample_rate_hz=48_000, full_scale_pa=1.0, latency_s=0.0, edge_hz=22_000.0)
HORIZONTAL, VERTICAL = Turntable.upward("horizontal"), Turntable.upward("vertical")


def point_source() -> Loudspeaker:
    """A ball of 2 mm: a point for anything below a kilohertz."""
    unit = DriveUnit(Opening("all"), VoiceCoil(5.0), 4.0, 0.01, 2000.0, 1.0, 0.001)
    source = Source((Enclosure(Interior(0.01), (unit,)),), (Branch(("all",)),))
    return Loudspeaker(source, SphericalCabinet(0.002, (Cap(0.001, 0.0),)))


def spectrum(loudspeaker: Loudspeaker, room: Room, points: Floats, upward: Floats) -> Floats:
    paths = Paths(loudspeaker, room, STILL, CHAIN, Air(19.974))
    return np.asarray(scipy.fft.rfft(paths.impulse_responses(points, upward)))


@pytest.mark.parametrize("row", REFERENCE["floor"]["rows"], ids=lambda row: f"{row['delay_ms']}ms")
@pytest.mark.parametrize("orbit", ["horizontal", "vertical"])
def test_the_floor_comes_late_and_soft_as_its_image_says(row: dict[str, Any], orbit: Any) -> None:
    """The table holds for c = 343.2 m/s, which is air of 19.974 °C."""
    upward = Turntable.upward(orbit)
    rise = row["heights_m"][1] - row["heights_m"][0]
    point = np.array([[row["distance_m"], 0.0, 0.0]]) + rise * upward
    with_floor = spectrum(point_source(), Room(row["heights_m"][0], floor_reflection=1.0), point, upward)
    without = spectrum(point_source(), Room(row["heights_m"][0]), point, upward)
    band = slice(100, 600)
    echo = (with_floor / without - 1.0)[0, band]
    frequency = np.fft.rfftfreq(2**15, 1 / 48_000)[band]
    delay_s = -np.polyfit(frequency, np.unwrap(np.angle(echo)), 1)[0] / (2.0 * np.pi)
    assert 1e3 * delay_s == pytest.approx(row["delay_ms"], rel=1.5e-3)
    assert 20.0 * np.log10(np.abs(echo).mean()) == pytest.approx(row["level_db"], abs=0.02)


def test_a_reflection_coefficient_scales_the_echo() -> None:
    point = np.array([[2.0, 0.0, 0.0]])
    without = spectrum(point_source(), Room(1.5), point, HORIZONTAL)
    hard, soft = (
        spectrum(point_source(), Room(1.5, floor_reflection=r), point, HORIZONTAL) for r in (1.0, 0.5)
    )
    np.testing.assert_allclose(soft - without, 0.5 * (hard - without), rtol=1e-9, atol=1e-15)


def test_a_ceiling_is_a_floor_upside_down() -> None:
    point = np.array([[2.0, 0.0, 0.0]])
    floor = spectrum(point_source(), Room(1.5, floor_reflection=0.8), point, HORIZONTAL)
    ceiling = spectrum(point_source(), Room(1.0, ceiling_m=2.5, ceiling_reflection=0.8), point, HORIZONTAL)
    np.testing.assert_allclose(ceiling, floor, rtol=1e-12)


def test_the_room_stays_the_same_while_the_unit_rolls() -> None:
    """A point source sounds alike on both orbits, floor and ceiling included."""
    room = Room(1.9, floor_reflection=0.9, ceiling_m=4.0, ceiling_reflection=0.8)
    turntable, angles = Turntable(2.0, 0.1), np.array([-140.0, -30.0, 20.0, 90.0, 180.0])
    on_orbit = [
        spectrum(point_source(), room, turntable.microphone(orbit, angles), turntable.upward(orbit))
        for orbit in ("horizontal", "vertical")
    ]
    np.testing.assert_allclose(on_orbit[0][:, 50:600], on_orbit[1][:, 50:600], rtol=1e-9)


def test_the_floor_sees_the_underside_upright_and_the_right_side_when_rolled() -> None:
    """The image lies below the upright unit, and to the right of the one that lies on its right side."""
    room = Room(1.9, floor_reflection=1.0)
    point = np.array([[2.0, 0.0, 0.0]])
    below, right = (room.images(point, up)[1][1][0] for up in (HORIZONTAL, VERTICAL))
    np.testing.assert_allclose(below, [2.0, 0.0, -3.8], atol=1e-12)
    np.testing.assert_allclose(right, [2.0, -3.8, 0.0], atol=1e-12)


@settings(max_examples=50)
@given(angle=st.floats(-180.0, 180.0), behind=st.floats(0.0, 0.5), distance=st.floats(0.5, 4.0))
def test_the_microphone_keeps_its_distance_from_the_axis_of_rotation(
    angle: float, behind: float, distance: float
) -> None:
    turntable, turntable_axis = Turntable(distance, behind), np.array([-behind, 0.0, 0.0])
    for orbit, across in (("horizontal", 1), ("vertical", 2)):
        point = turntable.microphone(orbit, np.array([angle]))[0]  # type: ignore[arg-type]
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
    paths = replace(scenario.session.paths, room=Room(1.9))
    points = scenario.turntable.microphone("vertical", np.array([0.0, 70.0, 180.0]))
    near = scenario.loudspeaker.cabinet.in_front_of(0, 0.007)[None, :]
    places = np.concatenate([points, near])
    found = scipy.fft.rfft(paths.impulse_responses(places, VERTICAL))
    bins = np.array([1, 7, 40, 333, 1111, 5000, 9876, 14_000])
    frequency = bins * 48_000 / 2**15
    exact = scenario.loudspeaker.pressure(places, frequency, 1.0, scenario.air)
    exact = exact * paths.microphone.transfer(frequency) * paths.chain.converter(frequency)
    exact = exact / paths.chain.full_scale_pa
    assert np.max(np.abs(found[:, bins] / exact - 1.0)) < 1e-4


def test_an_impulse_response_has_died_away_before_it_ends() -> None:
    scenario = load("cobble_two")
    points = scenario.turntable.microphone("horizontal", np.array([0.0]))
    response = scenario.session.paths.impulse_responses(points, HORIZONTAL)[0]
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
    microphone = load("cobble_two").session.paths.microphone
    level = microphone.level_db(np.array([20.0, 1000.0, 4000.0, 16_000.0]))
    assert level[1] == pytest.approx(0.0, abs=1e-12)
    assert -0.2 < level[0] < level[2] < 0.3
    assert 1.0 < level[3] < 2.5
