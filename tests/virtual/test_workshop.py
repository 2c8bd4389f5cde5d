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
from earwitness.virtual.arrays import Complexes
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.box import BoxCabinet, RoundRadiator
from earwitness.virtual.chain import Chain
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.microphone import Microphone
from earwitness.virtual.network import Branch
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.room import SIDES, Room, Surface
from earwitness.virtual.scatterer import Scatterer, scattered
from earwitness.virtual.scenario import load
from earwitness.virtual.source import Source
from earwitness.virtual.turntable import Orbit, Turntable, View
from earwitness.virtual.voice_coil import VoiceCoil
from earwitness.virtual.workshop import Workshop

REFERENCES = Path(__file__).parents[1] / "reference"
REFERENCE: dict[str, Any] = tomllib.loads((REFERENCES / "virtual_physics.toml").read_text(encoding="utf-8"))
RIG: dict[str, Any] = tomllib.loads((REFERENCES / "virtual_rig.toml").read_text(encoding="utf-8"))
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


def spectrum(rig: Workshop, view: View) -> Complexes:
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


def test_the_microphone_rises_gently_and_is_level_at_a_kilohertz() -> None:
    microphone = load("cobble_two").session.workshop.microphone
    level = microphone.level_db(np.array([20.0, 1000.0, 4000.0, 16_000.0]))
    assert level[1] == pytest.approx(0.0, abs=1e-12)
    assert -0.2 < level[0] < level[2] < 0.3
    assert 1.0 < level[3] < 2.5


def echo(rig: Workshop, view: View) -> Complexes:
    """What is added to the free field re the free field, bins 100 to 600 (146 to 879 Hz), by take."""
    free = replace(rig, room=Room(), scatterers=(), air=AIR)
    heard, straight = (spectrum(each, view)[:, 100:600] for each in (rig, free))
    return np.asarray(heard / straight - 1.0)


def test_the_wall_behind_cancels_where_it_must() -> None:
    """First at c/(4x) for a microphone far in front (the project's facts, section 14; computed)."""
    row = RIG["wall_behind"]
    view = Turntable(40.0, 0.0).view("horizontal", AHEAD)
    level = np.abs(1.0 + echo(workshop(Surface("behind", row["distance_m"])), view)[0])
    frequency = np.fft.rfftfreq(2**15, 1 / 48_000)[100:600]
    assert frequency[np.argmin(level[:100])] == pytest.approx(row["frequency_hz"], rel=0.005)


def test_the_air_takes_its_part_of_every_path() -> None:
    """At 10 kHz 0.1588 dB for each metre (ISO 9613-1, computed): of 3 m straight, of 5 m by the wall."""
    frequency, per_m = 10_000.0, RIG["absorption"]["rows"][3]["db_per_m"]
    view = Turntable(3.0, 0.0).view("horizontal", AHEAD)
    damp, dry = (replace(workshop(), air=Air(20.0, humidity)) for humidity in (50.0, None))
    wall = Room((Surface("behind", 1.0),))
    at = round(frequency * 2**15 / 48_000)
    straight = [spectrum(rig, view)[0, at] for rig in (damp, dry)]
    both = [spectrum(replace(rig, room=wall), view)[0, at] for rig in (damp, dry)]
    assert 20.0 * np.log10(abs(straight[0] / straight[1])) == pytest.approx(-3.0 * per_m, abs=3e-4)
    by_wall = abs((both[0] - straight[0]) / (both[1] - straight[1]))
    assert 20.0 * np.log10(by_wall) == pytest.approx(-5.0 * per_m, abs=1e-3)


@pytest.mark.parametrize("turns", [False, True])
def test_a_ball_adds_a_small_late_echo(turns: bool) -> None:
    """Delay and level by hand: |f|·d/(r₁·r₂) after r₁ + r₂ − d, f as its series has it."""
    ball, angle = Scatterer(0.05, (1.2, 0.0, -0.5), turns), np.array([0.0, 60.0])
    view = Turntable(2.0, 0.1).view("horizontal", angle)
    found = echo(workshop(scatterers=(ball,)), view)
    frequency = np.fft.rfftfreq(2**15, 1 / 48_000)[100:600]
    for take, degrees in enumerate(angle):
        turn = np.radians(degrees)
        axis = np.array([-0.1, 0.0, 0.0])
        rotation = np.array(
            [[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0, 0, 1]]
        )
        microphone = axis + rotation @ np.array([2.1, 0.0, 0.0])
        centre = np.array([1.2, 0.0, -0.5])
        if not turns:
            centre = axis + rotation @ (centre - axis)
        onward = microphone - centre
        r1, r2, d = (float(np.linalg.norm(way)) for way in (centre, onward, microphone))
        wavenumber = 2.0 * np.pi * frequency / AIR.speed
        amplitude = scattered(0.05, np.array([centre @ onward / (r1 * r2)]), wavenumber)[0]
        expected = amplitude * d / (r1 * r2) * np.exp(-1j * wavenumber * (r1 + r2 - d))
        # the point source is a ball of 2 mm, 1 mm behind the reference point
        np.testing.assert_allclose(found[take], expected, atol=0.003 * np.abs(expected).max())


def test_warm_air_is_quick_and_thin() -> None:
    """Takes in other air are those of a workshop in that air, drivers included: ρc² is the same."""
    scenario = load("cobble_two")
    rig = replace(scenario.session.workshop, room=Room((floor(1.9, 0.9),)))
    view = scenario.turntable.view("vertical", np.array([0.0, 50.0, 50.0]))
    drifted = rig.impulse_responses(view, np.array([15.0, 20.0, 26.0]))
    for found, temperature, take in zip(drifted, (15.0, 20.0, 26.0), range(3), strict=True):
        own = replace(rig, air=Air(temperature)).impulse_responses(view)[take]
        np.testing.assert_allclose(found, own, atol=2e-4 * np.abs(own).max())
    assert np.argmax(np.abs(drifted[0])) > np.argmax(np.abs(drifted[2]))


def test_an_amplifier_with_a_resistance_shares_its_voltage_with_the_loudspeaker() -> None:
    """Z/(Z + R) at every frequency; at low ones the coil's 5 Ω against 1 Ω: −1.58 dB, far below resonance."""
    view = Turntable(2.0, 0.0).view("horizontal", AHEAD)
    stiff, soft = (
        spectrum(replace(workshop(), chain=replace(CHAIN, output_ohm=r)), view)[0] for r in (0.0, 1.0)
    )
    bins = np.arange(1, 800)
    impedance = point_source().impedance(bins * 48_000 / 2**15, AIR)
    np.testing.assert_allclose((soft / stiff)[bins], impedance / (impedance + 1.0), rtol=1e-6)
    assert np.abs(soft / stiff)[bins].min() == pytest.approx(5.0 / 6.0, rel=0.02)
    active = load("cobble_two").session.workshop
    with pytest.raises(ValueError, match="no load"):
        replace(active, chain=replace(active.chain, output_ohm=0.1)).impulse_responses(view)


def test_latency_is_a_delay() -> None:
    view = Turntable(2.0, 0.0).view("horizontal", AHEAD)
    early, late = (
        replace(workshop(), chain=replace(CHAIN, latency_s=samples / 48_000)).impulse_responses(view)[0]
        for samples in (0, 37)
    )
    np.testing.assert_allclose(np.roll(early, 37), late, atol=1e-12 + 1e-9 * np.abs(early).max())


@pytest.mark.parametrize("rate", [32_000, 44_100, 96_000, 192_000])
def test_any_rate_hears_the_same(rate: int) -> None:
    view = Turntable(2.0, 0.0).view("horizontal", AHEAD)
    chain = Chain(rate, 1.0, 0.0, min(0.45 * rate, 22_000.0))
    response = replace(workshop(), chain=chain).impulse_responses(view)[0]
    assert 0.65 < len(response) / rate < 1.5
    frequency = np.array([200.0, 700.0, 5000.0])
    found = response @ np.exp(-2j * np.pi * np.outer(np.arange(len(response)), frequency) / rate)
    exact = point_source().pressure(np.array([[2.0, 0.0, 0.0]]), frequency, 1.0, AIR)[0]
    np.testing.assert_allclose(found, exact * STILL.transfer(frequency), rtol=2e-3)


def test_a_box_in_a_room_is_the_sum_of_its_own_pressures_at_the_images() -> None:
    """Interpolated on the workshop's grid, against the box's own pressure at single frequencies."""
    box = BoxCabinet(0.2, 0.3, 0.25, (RoundRadiator(0.1, -0.05), RoundRadiator(0.025, 0.08)))
    scenario = load("cobble_two")
    room = Room((floor(1.9, 0.9), Surface("left", 1.5, 0.5)))
    speaker = Loudspeaker(scenario.loudspeaker.source, box)
    rig = replace(scenario.session.workshop, loudspeaker=speaker, room=room)
    view = scenario.turntable.view("horizontal", np.array([0.0, 120.0]))
    bins = np.array([40, 333, 1111, 5000, 9000])
    frequency = bins * 48_000 / 2**15
    found = spectrum(rig, view)[:, bins]
    exact = np.zeros_like(found)
    for path in rig.paths(view, frequency):
        exact += path.gain * speaker.pressure(path.points, frequency, 1.0, scenario.air)
    exact *= rig.microphone.transfer(frequency) * rig.chain.converter(frequency) / rig.chain.full_scale_pa
    loudest = np.abs(exact).max(axis=0)
    assert np.max(np.abs(found - exact) / loudest) < 0.005


def test_takes_in_several_goes_are_as_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = workshop(floor(1.9, 0.9), scatterers=(Scatterer(0.04, (0.9, 0.3, -0.8)),))
    view = Turntable(2.0, 0.1).view("horizontal", np.array([-140.0, -30.0, 20.0, 90.0, 180.0]))
    once = rig.impulse_responses(view)
    monkeypatch.setattr("earwitness.virtual.workshop.MOST_POINTS", 6)
    np.testing.assert_allclose(rig.impulse_responses(view), once, atol=1e-9 * np.abs(once).max())


def test_noise_is_the_rooms_the_microphones_and_the_mains() -> None:
    """Full scale 8 Pa: 0.8 mPa of the room are 10⁻⁴ of it, 0.2 mPa of the microphone a quarter of that."""
    rig = load("cobble_two").session.workshop
    hummed = replace(rig, chain=replace(rig.chain, hum_pa=(0.08,), mains_hz=60.0)).noise
    assert [hummed.pink, hummed.white] == pytest.approx([1e-4, 2.5e-5])
    assert (hummed.hum, hummed.mains_hz) == ((0.01,), 60.0)
