"""Boxes with drivers, ports and resonators against published alignments, and against the conservation of
energy."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.bodies import Bending, DriveUnit, Mouth, Port, Resonator
from earwitness.virtual.enclosure import LOSSLESS, Enclosure, Losses
from earwitness.virtual.interior import Interior, Opening, StandingWave
from earwitness.virtual.voice_coil import VoiceCoil

REFERENCE: dict[str, Any] = {
    name: tomllib.loads(
        (Path(__file__).parents[1] / "reference" / f"{name}.toml").read_text(encoding="utf-8")
    )
    for name in ("virtual_physics", "virtual_drivers")
}
AIR = Air(20.0)
RESONANCE_HZ = 40.0


def unit_with(total_q: float, mechanical_q: float = math.inf, name: str = "woofer") -> DriveUnit:
    """A driver of 17 g and 0.16 m with its free resonance at `RESONANCE_HZ`."""
    mass, omega, resistance = 0.017, 2.0 * math.pi * RESONANCE_HZ, 5.6
    damping = mass * omega / mechanical_q
    factor = math.sqrt((mass * omega / total_q - damping) * resistance)
    return DriveUnit(Opening(name), VoiceCoil(resistance), factor, mass, mass * omega**2, damping, 0.16)


def vented(total_q: float, compliance_ratio: float, losses: Losses = LOSSLESS) -> Enclosure:
    """A box tuned to the driver's free resonance by one lump of air."""
    unit = unit_with(total_q)
    volume = unit.equivalent_volume(AIR) / compliance_ratio
    port = Port.tuned(Opening("port"), 0.07, RESONANCE_HZ, volume, AIR)
    return Enclosure(Interior(volume), (unit,), (replace(port, resonant=False),), losses=losses)


def response(box: Enclosure, ratios: Floats) -> Complexes:
    """Acceleration of air by all openings re a free driver's pass band, at multiples of `RESONANCE_HZ`."""
    frequencies = RESONANCE_HZ * ratios
    unit = box.drive_units[0]
    band = unit.area_m2 * unit.force_factor / unit.coil.resistance_ohm / unit.mass_kg
    flow = box.motion(frequencies, AIR).volume_velocity[:, 0].sum(axis=0)
    return np.asarray(2j * np.pi * frequencies * flow / band)


def level(box: Enclosure, ratio: float) -> float:
    return float(20.0 * np.log10(np.abs(response(box, np.array([ratio]))[0])))


@pytest.mark.parametrize(
    "row", REFERENCE["virtual_physics"]["sealed_box"]["rows"], ids=lambda row: f"Q{row['q']}"
)
def test_corners_of_a_sealed_box(row: dict[str, Any]) -> None:
    """A box three times as stiff as the suspension doubles resonance and Q (Small 1972, recalled)."""
    unit = unit_with(row["q"] / 2.0)
    box = Enclosure(Interior(unit.equivalent_volume(AIR) / 3.0), (unit,))
    for name, fall in (("f3", 3.0), ("f6", 6.0), ("f10", 10.0)):
        corner = brentq(lambda ratio, fall=fall: level(box, ratio) + fall, 0.5, 5.0)
        assert corner / 2.0 == pytest.approx(row[name], abs=1e-5)


@pytest.mark.parametrize("losses", [None, "leak"])
def test_butterworth_alignment_of_a_vented_box(losses: str | None) -> None:
    facts, leaking = REFERENCE["virtual_drivers"]["b4"], REFERENCE["virtual_drivers"]["b4_leaking"]
    own = leaking if losses else facts
    loss = Losses(RESONANCE_HZ, leak=leaking["leak_q"]) if losses else LOSSLESS
    box = vented(own["total_q"], own["compliance_ratio"], loss)
    for row in facts["rows"]:
        assert level(box, row["at"]) == pytest.approx(row["level_db"], abs=6e-5)
    assert level(box, 1.0) == pytest.approx(facts["half_power_db"], abs=6e-5)
    assert brentq(lambda ratio: level(box, ratio) + 6.0, 0.5, 1.5) == pytest.approx(facts["f6"], abs=2e-6)
    assert brentq(lambda ratio: level(box, ratio) + 10.0, 0.5, 1.5) == pytest.approx(facts["f10"], abs=2e-6)


def test_the_butterworth_alignment_has_the_phase_of_its_filter() -> None:
    ratios = np.geomspace(0.2, 5.0, 60)
    facts = REFERENCE["virtual_drivers"]["b4"]
    expected = scipy.signal.freqs(*scipy.signal.butter(4, 1.0, "high", analog=True), ratios)[1]
    found = response(vented(facts["total_q"], facts["compliance_ratio"]), ratios)
    np.testing.assert_allclose(found, expected, rtol=1e-5)


@settings(deadline=None)
@given(st.floats(0.2, 0.9), st.floats(0.3, 6.0), st.floats(0.5, 2.0), st.floats(3.0, 50.0))
def test_any_leaking_vented_box_has_smalls_polynomial(
    total_q: float, ratio: float, tuning: float, leak_q: float
) -> None:
    """Small 1973 (recalled): s⁴ over a polynomial of the fourth degree in the driver's and the box's
    constants."""
    unit = unit_with(total_q)
    volume = unit.equivalent_volume(AIR) / ratio
    port = replace(Port.tuned(Opening("port"), 0.60, tuning * RESONANCE_HZ, volume, AIR), resonant=False)
    box = Enclosure(Interior(volume), (unit,), (port,), losses=Losses(tuning * RESONANCE_HZ, leak=leak_q))
    slow = 1.0 / tuning
    below = [
        slow**2,
        slow**2 / total_q + slow / leak_q,
        (ratio + 1.0) * slow**2 + slow / (leak_q * total_q) + 1.0,
        slow / leak_q + 1.0 / total_q,
        1.0,
    ]
    ratios = np.geomspace(0.1, 10.0, 40)
    expected = scipy.signal.freqs([slow**2, 0, 0, 0, 0], below, ratios)[1]
    np.testing.assert_allclose(response(box, ratios), expected, rtol=1e-9)


def test_efficiency_in_the_pass_band() -> None:
    """Small 1972 (recalled): η₀ = 4π²/c³ · f³V/Qₑ into half space, of the power into the coil's
    resistance."""
    unit = unit_with(0.4)
    box = Enclosure(Interior(1.0), (unit,))
    flow = np.abs(box.motion(np.array([4000.0]), AIR).volume_velocity[0, 0, 0])
    radiated = AIR.density * (2.0 * math.pi * 4000.0 * flow) ** 2 / (2.0 * math.pi * AIR.speed)
    efficiency = radiated * unit.coil.resistance_ohm
    expected = (
        4.0 * math.pi**2 / AIR.speed**3 * RESONANCE_HZ**3 * unit.equivalent_volume(AIR) / unit.electrical_q
    )
    assert efficiency == pytest.approx(expected, rel=5e-4)


def impedance(box: Enclosure, frequencies: Floats) -> Complexes:
    return np.asarray(1.0 / box.motion(frequencies, AIR).admittance[0, 0])


def test_impedance_of_a_vented_box() -> None:
    """Two peaks and the coil's resistance between them; f_L f_H = f_s f_b, and f_L² + f_H² = f_b² + (1 + α)
    f_s² (Small 1973, recalled)."""
    box = vented(0.35, 2.0)
    assert impedance(box, np.array([RESONANCE_HZ, 1e-3])).real == pytest.approx(5.6, rel=1e-6)
    assert abs(impedance(box, np.array([RESONANCE_HZ]))[0].imag) < 1e-6
    grid = np.linspace(10.0, 120.0, 440_001)
    size = np.abs(impedance(box, grid))
    peaks = grid[1:-1][(size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])]
    assert len(peaks) == 2
    assert np.prod(peaks) == pytest.approx(RESONANCE_HZ**2, rel=1e-4)
    assert np.sum(peaks**2) == pytest.approx(4.0 * RESONANCE_HZ**2, rel=1e-4)


@pytest.mark.parametrize("kind", ["leak", "absorption", "port"])
def test_each_loss_shows_at_the_tuning(kind: str) -> None:
    """At the tuning a box of quality Q lets Y = ωC/Q through, and the coil sees Bl²/(S²/Y) more than its
    resistance where suspension and mass cancel (Small 1973, recalled); exact for a leak, to 1/Q² for the
    others."""
    losses = {"leak": Losses(RESONANCE_HZ, leak=80.0), "absorption": Losses(RESONANCE_HZ, absorption=80.0)}
    box = vented(0.35, 2.0, losses.get(kind, Losses(RESONANCE_HZ, port=80.0)))
    unit = box.drive_units[0]
    through = 2.0 * math.pi * RESONANCE_HZ * box.interior.compliance(AIR) / 80.0
    expected = unit.force_factor**2 * through / unit.area_m2**2
    assert impedance(box, np.array([RESONANCE_HZ]))[0].real - 5.6 == pytest.approx(expected, rel=5e-4)


def test_two_ports_lose_as_one_does() -> None:
    one = vented(0.35, 2.0, Losses(RESONANCE_HZ, port=20.0))
    wide = one.ports[0]
    narrow = Port.tuned(Opening("left"), 0.05, RESONANCE_HZ / math.sqrt(2.0), one.interior.volume_m3, AIR)
    narrow = replace(narrow, resonant=False)
    two = replace(one, ports=(narrow, replace(narrow, opening=Opening("right"))))
    frequencies = np.geomspace(10.0, 200.0, 40)
    np.testing.assert_allclose(impedance(two, frequencies), impedance(one, frequencies), rtol=1e-9)
    flow = two.motion(frequencies, AIR).volume_velocity
    np.testing.assert_allclose(flow[1], flow[2], rtol=1e-12)
    np.testing.assert_allclose(flow[1] * 2.0, one.motion(frequencies, AIR).volume_velocity[1], rtol=1e-9)
    assert wide.name == "port"


def test_far_below_the_tuning_the_port_undoes_the_cone() -> None:
    flow = vented(0.38, 1.4).motion(np.array([0.4]), AIR).volume_velocity[:, 0, 0]
    assert flow[1] / flow[0] == pytest.approx(-1.0, rel=2e-4)


def test_a_passive_radiator_is_deaf_at_its_own_resonance() -> None:
    """There it lets all of the box's pressure out, and cone and radiator cancel (Small, JAES 22 (8), 1974;
    recalled)."""
    unit = unit_with(0.38)
    drone = Resonator("drone", "passive radiator", (Mouth(Opening("drone"), 0.03),), 0.06, 15.0, 1e6)
    box = Enclosure(Interior(0.03), (unit,), resonators=(drone,))
    flow = box.motion(np.array([15.0]), AIR).volume_velocity[:, 0, 0]
    assert abs(flow.sum()) < 1e-4 * abs(flow[0])
    assert box.faults(AIR) == ()


def test_displacement_at_low_frequencies_is_force_over_stiffness() -> None:
    unit = unit_with(0.5)
    box = Enclosure(Interior(unit.equivalent_volume(AIR) / 3.0), (unit,))
    shift = box.motion(np.array([0.01]), AIR).displacement[0, 0, 0]
    assert shift == pytest.approx(unit.force_factor / 5.6 / (4.0 * unit.stiffness), rel=1e-3)


def test_two_drivers_in_one_box_are_one_of_twice_the_size() -> None:
    unit, twin = unit_with(0.4), unit_with(0.4, name="twin")
    pair = Enclosure(Interior(0.02), (unit, twin))
    alone = Enclosure(Interior(0.01), (unit,))
    frequencies = np.geomspace(10.0, 1000.0, 50)
    both = pair.motion(frequencies, AIR)
    one = alone.motion(frequencies, AIR)
    np.testing.assert_allclose(both.volume_velocity[0].sum(axis=0), one.volume_velocity[0, 0], rtol=1e-9)
    np.testing.assert_allclose(both.admittance[0].sum(axis=0), one.admittance[0, 0], rtol=1e-9)


def full_box(
    volume: float = 0.02,
    waves_q: float = 30.0,
    panel_q: float = 25.0,
    bending_q: float = 9.0,
    leak_q: float = 8.0,
) -> Enclosure:
    """Two drivers with everything that can go wrong round them."""
    woofer = replace(
        unit_with(0.4, 4.0),
        opening=Opening("woofer", (1.0, 0.5, 0.7)),
        coil=VoiceCoil(5.6, 1e-4, 0.03, 0.002, 15.0),
        bending=(
            Bending("first bending", 1800.0, bending_q, 0.4, -0.15),
            Bending("edge", 900.0, 6.0, 0.6, 0.1),
        ),
    )
    twin = replace(unit_with(0.5, 5.0, "twin"), opening=Opening("twin", (1.0, 0.5, 0.2)))
    interior = Interior(
        volume,
        (0.3, 0.2, 0.45),
        (StandingWave("height", (0, 0, 1), waves_q), StandingWave("depth", (1, 0, 0), 20.0)),
    )
    port = Port(Opening("port", (0.0, 0.5, 0.8)), 0.06, 0.15)
    side = Mouth(Opening("side", (0.5, 0.0, 0.6)), 0.02), Mouth(Opening("lower side", (0.5, 0.0, 0.2)), -0.02)
    panel = Resonator("side wall", "panel", side, 0.3, 350.0, panel_q, {"woofer": 0.4, "twin": -0.2})
    slot = Resonator("slot", "cavity", (Mouth(Opening("slot", (1.0, 0.5, 0.9)), 0.001),), 2e-5, 600.0, 15.0)
    return Enclosure(interior, (woofer, twin), (port,), (panel, slot), Losses(45.0, leak_q, 60.0, 50.0))


BOXES = st.builds(
    full_box,
    volume=st.floats(0.003, 0.2),
    waves_q=st.floats(2.0, 200.0),
    panel_q=st.floats(1.0, 100.0),
    bending_q=st.floats(1.0, 60.0),
    leak_q=st.floats(2.0, 100.0),
)
FREQUENCIES = np.geomspace(5.0, 20_000.0, 200)


@settings(deadline=None, max_examples=30)
@given(BOXES, st.complex_numbers(max_magnitude=3.0))
def test_a_box_loses_what_it_is_given_and_no_more(box: Enclosure, second: complex) -> None:
    """Power in = power in coils, suspensions, all bodies and the air, whatever the voltages of the two
    drivers."""
    motion = box.motion(FREQUENCIES, AIR)
    volts = np.array([1.0, second])
    current = np.einsum("def,e->df", motion.admittance, volts)
    given_power = np.sum((np.conj(volts)[:, None] * current).real, axis=0)
    velocity = np.einsum("bdf,d->bf", motion.velocity, volts)
    bodies = box.bodies(FREQUENCIES, AIR)
    lost = sum(
        (body.impedance.real * np.abs(v) ** 2 for body, v in zip(bodies, velocity, strict=True)),
        np.zeros(200),
    )
    inward = (
        np.array([[body.areas.get(opening.name, 0.0) for opening in box.openings] for body in bodies]).T
        @ velocity
    )
    air = box.interior.impedance(
        box.openings, FREQUENCIES, AIR, box.losses.resistances(box.interior.compliance(AIR))[1]
    )
    lost = lost + np.einsum("of,fop,pf->f", np.conj(inward), air, inward).real
    shift = np.einsum("edf,d->ef", motion.displacement, volts) * 2.0 * np.pi * FREQUENCIES
    for unit, i, v in zip(box.drive_units, current, shift, strict=True):
        lost = lost + unit.coil.impedance(FREQUENCIES).real * np.abs(i) ** 2 + unit.damping * np.abs(v) ** 2
    assert np.all(given_power > 0.0)
    np.testing.assert_allclose(lost, given_power, rtol=1e-8)


@settings(deadline=None, max_examples=30)
@given(BOXES)
def test_every_box_is_passive_and_reciprocal(box: Enclosure) -> None:
    motion = box.motion(FREQUENCIES, AIR)
    np.testing.assert_allclose(motion.admittance[0, 1], motion.admittance[1, 0], rtol=1e-7)
    for driver in range(2):
        assert np.all((1.0 / motion.admittance[driver, driver]).real > 5.6)
    eigenvalues = np.linalg.eigvalsh(np.moveaxis(motion.admittance.real, -1, 0))
    assert np.all(eigenvalues > 0.0)


def test_radiated_power_is_far_less_than_what_goes_in() -> None:
    box = full_box()
    frequencies = np.geomspace(20.0, 400.0, 100)
    motion = box.motion(frequencies, AIR)
    flow = motion.volume_velocity[:, 0].sum(axis=0)
    radiated = AIR.density * np.abs(2.0 * np.pi * frequencies * flow) ** 2 / (4.0 * np.pi * AIR.speed)
    assert np.all(radiated < 0.02 * motion.admittance[0, 0].real)


FAULTS = {
    "first bending": (1800.0, "woofer"),
    "edge": (900.0, "woofer"),
    "height": (343.2146 / 0.9, "port"),
    "depth": (343.2146 / 0.6, "port"),
    "side wall": (350.0, "side"),
    "slot": (600.0, "slot"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_can_be_left_out_and_acts_where_it_is(fault: str) -> None:
    """It shows at its frequency at its own opening; the rest of the box pulls it a little, as in a real
    one."""
    frequency, opening = FAULTS[fault]
    box = full_box().without("port", *(set(FAULTS) - {fault}))
    grid = np.geomspace(frequency / 3.0, frequency * 3.0, 4001)
    index = [place.name for place in box.openings].index(opening)
    with_it = box.motion(grid, AIR).volume_velocity[:, 0]
    without = box.without(fault).motion(grid, AIR).volume_velocity[:, 0]
    assert fault in [known.name for known in box.faults(AIR)]
    assert grid[np.argmax(np.abs(with_it - without)[index])] == pytest.approx(frequency, rel=0.04)
    assert box.without(fault).openings == box.openings
    assert with_it.shape == without.shape == (6, 4001)


def test_a_box_without_its_standing_waves_keeps_its_tuning() -> None:
    """A wave's slow part is a mass of air, which damping leaves alone: it is none of the fault's truth.

    Against a box in which the wave isn't at all, that mass shows.
    """
    box = replace(full_box(), resonators=())
    low = np.array([30.0, 40.0, 60.0])
    flow = np.abs(box.motion(low, AIR).volume_velocity[:, 0].sum(axis=0))
    damped = np.abs(box.without("height", "depth").motion(low, AIR).volume_velocity[:, 0].sum(axis=0))
    absent = replace(box, interior=replace(box.interior, waves=()))
    none = np.abs(absent.motion(low, AIR).volume_velocity[:, 0].sum(axis=0))
    assert np.max(np.abs(damped / flow - 1.0)) < 0.005
    assert np.max(np.abs(none / flow - 1.0)) > 0.01


def test_a_silenced_wave_has_no_resonance_left() -> None:
    """Critically damped, Q of a half: the same flow as with a wave of that Q."""
    box = full_box()
    stuffed = tuple(replace(wave, q=0.5) if wave.name == "height" else wave for wave in box.interior.waves)
    other = replace(box, interior=replace(box.interior, waves=stuffed))
    frequencies = np.geomspace(50.0, 2000.0, 60)
    found = box.without("height").motion(frequencies, AIR).volume_velocity
    np.testing.assert_allclose(found, other.motion(frequencies, AIR).volume_velocity, rtol=1e-12)


def test_a_fault_rings_as_mass_and_springs_say() -> None:
    """A panel beside a driver that can't move: √((K + ρc²S²/V)/m) and Q by its own loss, in closed form."""
    stiff = replace(unit_with(0.4), stiffness=1e12)
    mass, frequency, q, area, volume = 0.4, 200.0, 20.0, 0.03, 0.02
    wall = Resonator("wall", "panel", (Mouth(Opening("side"), area),), mass, frequency, q)
    box = Enclosure(Interior(volume), (stiff,), (), (wall,))
    (fault,) = box.faults(AIR)
    found_hz, found_q = box.ringing(fault, AIR)
    omega = 2.0 * math.pi * frequency
    stiffer = math.sqrt(omega**2 + AIR.density * AIR.speed**2 * area**2 / volume / mass)
    assert found_hz == pytest.approx(stiffer / (2.0 * math.pi), rel=1e-6)
    assert found_q == pytest.approx(q * stiffer / omega, rel=1e-6)


def test_a_pipe_without_its_resonances_is_a_lump() -> None:
    box = full_box()
    lump = replace(box, ports=(replace(box.ports[0], resonant=False),))
    frequencies = np.geomspace(10.0, 3000.0, 50)
    np.testing.assert_array_equal(
        box.without("port").motion(frequencies, AIR).volume_velocity,
        lump.motion(frequencies, AIR).volume_velocity,
    )


def test_the_port_radiates_what_comes_out_of_it() -> None:
    """Above the quarter wave of its pipe that is the opposite of what goes in (textbook)."""
    box = full_box()
    inside = [body.name for body in box.bodies(np.ones(1), AIR)].index("port")
    motion = box.motion(np.array([20.0, 900.0]), AIR)
    ratio = motion.volume_velocity[2, 0] / (motion.velocity[inside, 0] * box.ports[0].area_m2)
    assert ratio[0] == pytest.approx(1.0, rel=0.01)
    assert ratio[1].real < -0.8


def test_a_panel_in_halves_pushes_and_sucks_alike() -> None:
    flow = full_box().motion(FREQUENCIES, AIR).volume_velocity
    names = [opening.name for opening in full_box().openings]
    np.testing.assert_allclose(flow[names.index("side")], -flow[names.index("lower side")], rtol=1e-12)


def test_a_frame_that_moves_drives_its_panel_by_the_reaction() -> None:
    """In vacuum, almost: coil and panel share one force, so that their momenta are opposite (Newton's third
    law)."""
    unit = replace(unit_with(0.4), stiffness=1e-6)
    wall = Resonator("wall", "panel", (Mouth(Opening("wall"), 1e-9),), 2.0, 1e-3, 1e9, {"woofer": 1.0})
    box = Enclosure(Interior(1e6), (unit,), resonators=(wall,))
    velocity = box.motion(np.array([100.0, 1000.0]), AIR).velocity[:, 0]
    np.testing.assert_allclose(velocity[1] * 2.0, -velocity[0] * unit.mass_kg, rtol=1e-6)


def test_contradictions_are_refused() -> None:
    wall = Resonator("wall", "panel", (Mouth(Opening("wall"), 0.02),), 0.3, 350.0, 25.0, {"horn": 0.4})
    with pytest.raises(ValueError, match="no driver of this box is called horn; a resonator carries it"):
        Enclosure(Interior(0.02), (unit_with(0.4),), resonators=(wall,))
    with pytest.raises(ValueError, match=r"a name of its own: woofer, woofer"):
        Enclosure(Interior(0.02), (unit_with(0.4), unit_with(0.5)))
