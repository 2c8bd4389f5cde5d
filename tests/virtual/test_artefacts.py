"""Artefacts of the rig, against closed forms and against the recordings themselves, made with and without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from earwitness.virtual import truth_file
from earwitness.virtual.arrays import Floats
from earwitness.virtual.artefacts import Artefact, artefacts
from earwitness.virtual.export import divided, spectrum_at
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.recording import Session
from earwitness.virtual.room import Room, Surface
from earwitness.virtual.scatterer import Scatterer
from earwitness.virtual.scenario import load
from earwitness.virtual.source import Source
from earwitness.virtual.standard_curves import CURVES
from earwitness.virtual.turntable import Turntable

ON_AXIS = "horizontal_+000_2.83V.wav"
#: Bins of an impulse response of 2¹⁵ samples, as dense as the truth's own grid where they can be.
BINS: Floats = 48_000 / 2**15 * np.unique(np.round(truth_file.FREQUENCIES * 2**15 / 48_000))


def session_in(rig: str) -> Session:
    return load("cobble_two", rig).session


def named(session: Session, frequencies: Floats, name: str) -> Artefact:
    (found,) = [each for each in artefacts(session, frequencies) if each.name == name]
    return found


@pytest.fixture(scope="module")
def living() -> dict[str, Artefact]:
    """Six surfaces, an axis beside the reference axis, errors of the angle, hum and a drift."""
    return {each.name: each for each in artefacts(session_in("living_room"), BINS)}


def values(artefact: Artefact) -> dict[str, float]:
    return {name: value for _, name, value, _ in artefact.parameters}


def recorded_db(session: Session) -> Floats:
    """The level on axis of what is recorded, free of noise."""
    response = session.impulse_responses([ON_AXIS])[ON_AXIS]
    return np.asarray(20.0 * np.log10(np.abs(spectrum_at(response, BINS / 48_000))))


def in_room(session: Session, room: Room) -> Session:
    return replace(session, workshop=replace(session.workshop, room=room))


def test_a_floor_under_a_point_is_a_comb() -> None:
    """|1 + r·d/d'·e^(−jkΔ)| with Δ = √(d² + 4h²) − d: by the project's facts, section 8, geometry alone."""
    session = session_in("workshop")
    workshop = session.workshop
    whole = workshop.loudspeaker.source
    source = Source(whole.enclosures[:1], whole.branches[:1])
    point = replace(workshop.loudspeaker, source=source, cabinet=SphericalCabinet(0.002, (Cap(0.001, 0.0),)))
    room = Room((Surface("floor", 1.5, 0.8),))
    session = replace(
        session,
        workshop=replace(workshop, loudspeaker=point, room=room),
        turntable=Turntable(2.0, 0.0),
    )
    frequencies = np.array([40.0, 107.25, 150.0, 214.5, 300.0])
    floor = named(session, frequencies, "floor")
    by_it = np.sqrt(2.0**2 + 4.0 * 1.5**2)
    comb = 1.0 + 0.8 * 2.0 / by_it * np.exp(-2j * np.pi * frequencies * (by_it - 2.0) / 343.2146)
    np.testing.assert_allclose(floor.effects_db["on_axis"], 20.0 * np.log10(np.abs(comb)), atol=0.02)
    assert values(floor) == pytest.approx(
        {"path_difference_m": 1.605551, "delay_s": 4.67798e-3, "gain_db": -7.05702}, rel=1e-5
    )
    ((part, place),) = floor.places
    assert part == "floor"
    assert place == pytest.approx((1.0, 0.0, -1.5))


@pytest.mark.parametrize("side", ["floor", "ahead", "left"])
def test_a_surface_is_what_the_recording_loses_without_it(living: dict[str, Artefact], side: str) -> None:
    session = session_in("living_room")
    room = session.workshop.room
    others = tuple(surface for surface in room.surfaces if surface.side != side)
    expected = recorded_db(session) - recorded_db(in_room(session, replace(room, surfaces=others)))
    assert np.abs(expected).max() > 1.0
    np.testing.assert_allclose(living[side].effects_db["on_axis"], expected, rtol=1e-3, atol=5e-3)


def test_a_turntable_and_a_drift_are_what_the_recording_loses_without(living: dict[str, Artefact]) -> None:
    session = session_in("living_room")
    exact = replace(session, turntable=replace(session.turntable, angle_offset_deg=0.0, angle_spread_deg=0.0))
    centred = replace(session, turntable=replace(session.turntable, axis_left_m=0.0))
    cool = replace(session, warming_k=0.0)
    for name, without in (("angle", exact), ("axis", centred), ("drift", cool)):
        expected = recorded_db(session) - recorded_db(without)
        found = living[name].effects_db["on_axis"]
        assert np.abs(expected).max() > 0.02, name
        np.testing.assert_allclose(found, expected, atol=2e-3, err_msg=name)


def with_ball(radius_m: float) -> Session:
    session = session_in("garden")
    ball = Scatterer(radius_m, (0.3, 0.0, -0.4), turns=True)
    return replace(session, workshop=replace(session.workshop, scatterers=(ball,)))


def test_a_small_ball_throws_back_what_its_limit_says() -> None:
    """(k²a³/3)(1 − (3/2) cos γ) at 1 kHz for ka = 0.02 (Morse & Ingard, 8.2; recalled)."""
    found = values(named(with_ball(0.001), BINS, "ball_1"))
    there, onward = np.array([0.3, 0.0, -0.4]), np.array([1.7, 0.0, 0.4])
    beyond = np.linalg.norm(onward)
    wavenumber = 2.0 * np.pi * 1000.0 / load("dewdrop", "garden").air.speed
    amplitude = abs(wavenumber**2 * 0.001**3 / 3.0 * (1.0 - 1.5 * (there @ onward) / (0.5 * beyond)))
    expected = 20.0 * np.log10(amplitude * 2.0 / (0.5 * beyond))
    assert found["gain_db"] == pytest.approx(expected, abs=0.01)
    assert found["path_difference_m"] == pytest.approx(0.5 + beyond - 2.0, rel=1e-9)


def test_a_ball_is_what_the_recording_loses_without_it() -> None:
    session = with_ball(0.08)
    without = replace(session, workshop=replace(session.workshop, scatterers=()))
    expected = recorded_db(session) - recorded_db(without)
    assert np.abs(expected).max() > 0.3
    np.testing.assert_allclose(named(session, BINS, "ball_1").effects_db["on_axis"], expected, atol=3e-3)


def test_the_microphone_is_in_every_level_and_in_no_ratio() -> None:
    session = session_in("workshop")
    effects = named(session, BINS, "microphone").effects_db
    for name in CURVES:
        expected = 0.0 if name.endswith("_di") else session.workshop.microphone.level_db(BINS)
        np.testing.assert_allclose(effects[name], expected, atol=1e-9)


def test_an_amplifier_shares_its_voltage() -> None:
    scenario = load("dewdrop")
    workshop = scenario.session.workshop
    session = replace(
        scenario.session, workshop=replace(workshop, chain=replace(workshop.chain, output_ohm=0.5))
    )
    impedance = scenario.loudspeaker.impedance(BINS, scenario.air)
    expected = 20.0 * np.log10(np.abs(impedance / (impedance + 0.5)))
    found = named(session, BINS, "amplifier")
    np.testing.assert_allclose(found.effects_db["sound_power"], expected, atol=1e-9)
    assert values(found) == {"output_ohm": 0.5}


def test_hum_is_what_the_very_recording_loses_without_it() -> None:
    """Recordings with and without, divided by the stimulus, where the sweep is weak against the hum."""
    loud = session_in("living_room")
    quiet = replace(
        loud.workshop,
        room=replace(loud.workshop.room, ambient_pa=0.0),
        microphone=replace(loud.workshop.microphone, noise_pa=0.0),
        chain=replace(loud.workshop.chain, hum_pa=(0.05, 0.02)),
    )
    session = replace(loud, workshop=quiet)
    silent = replace(session, workshop=replace(quiet, chain=replace(quiet.chain, hum_pa=())))
    frequencies = np.array([47.0, 52.0, 101.0])
    level = []
    for each in (session, silent):
        ((_, recording),) = each.recordings([ON_AXIS], each.sweep)
        spectrum = spectrum_at(divided(recording, each.sweep.samples()), frequencies / 48_000)
        level.append(20.0 * np.log10(np.abs(spectrum)))
    expected = level[0] - level[1]
    assert np.abs(expected).min() > 0.2
    np.testing.assert_allclose(
        named(session, frequencies, "hum").effects_db["on_axis"], expected, rtol=0.1, atol=0.05
    )


def test_only_what_is_there_is_an_artefact() -> None:
    session = session_in("hall")
    assert [each.name for each in artefacts(session, BINS)] == ["floor", "ceiling", "microphone"]
    free = in_room(session, Room())
    assert [each.name for each in artefacts(free, BINS)] == ["microphone"]


def test_the_truth_file_tells_them() -> None:
    document = truth_file.truth(load("cobble_two"))
    assert [each["name"] for each in document["artefacts"]] == ["floor", "ceiling", "microphone"]
    floor = document["artefacts"][0]
    assert floor["cause"] == "artefact"
    assert floor["place"] == [{"part": "floor", "x_m": 1.0, "y_m": 0.0, "z_m": -1.9}]
    # √(2² + 4·1.9²) − 2 m at 343.2146 m/s; 0.9 of the sound over 4.294 m (project's facts, section 8).
    assert [each["name"] for each in floor["parameters"]] == ["path_difference_m", "delay_s", "gain_db"]
    assert floor["parameters"][0]["value"] == pytest.approx(2.2941821, rel=1e-7)
