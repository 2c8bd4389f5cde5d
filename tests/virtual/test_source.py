"""Whole loudspeakers as sources: layouts of drivers and branches, their load, and what is left without a
fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.virtual.air import Air
from earwitness.virtual.bodies import Bending, DriveUnit, Mouth, Port, Resonator
from earwitness.virtual.enclosure import Enclosure, Fault, Losses
from earwitness.virtual.interior import Interior, Opening, StandingWave
from earwitness.virtual.ladder import Ladder, Step
from earwitness.virtual.network import Branch, Cut
from earwitness.virtual.scenario import load
from earwitness.virtual.source import Source
from earwitness.virtual.voice_coil import VoiceCoil

AIR = Air(20.0)
FREQUENCIES = np.geomspace(5.0, 20_000.0, 300)


def woofer(name: str = "woofer", *bending: Bending) -> DriveUnit:
    return DriveUnit(Opening(name), VoiceCoil(5.6, 3e-4), 6.5, 0.014, 900.0, 1.1, 0.13, bending)


def tweeter(name: str = "tweeter") -> DriveUnit:
    return DriveUnit(Opening(name), VoiceCoil(5.0, 2e-5), 3.0, 0.0004, 4000.0, 0.8, 0.028)


def boxed(unit: DriveUnit, volume_m3: float) -> Enclosure:
    return Enclosure(Interior(volume_m3), (unit,))


def low(corner_hz: float, *drivers: str) -> Branch:
    return Branch(drivers, (Cut("low", "linkwitz_riley", 4, corner_hz),))


def high(corner_hz: float, *drivers: str) -> Branch:
    return Branch(drivers, (Cut("high", "linkwitz_riley", 4, corner_hz),))


def test_drivers_in_boxes_of_their_own_are_smalls_closed_boxes() -> None:
    """By the closed formula v = Bl·U/(Zₑ·Zₘ + Bl²) with K + ρc²S²/V (Small 1972, recalled)."""
    source = load("cobble_two").loudspeaker.source
    found = source.volume_velocities(FREQUENCIES, AIR)
    s = 2j * np.pi * FREQUENCIES
    for box, branch, velocity in zip(source.enclosures, source.branches, found, strict=True):
        (unit,) = box.drive_units
        spring = AIR.density * AIR.speed**2 * unit.area_m2**2 / box.interior.volume_m3
        mechanical = unit.damping + s * unit.mass_kg + (unit.stiffness + spring) / s
        electrical = unit.coil.resistance_ohm + s * unit.coil.inductance_h
        closed = unit.area_m2 * unit.force_factor / (electrical * mechanical + unit.force_factor**2)
        np.testing.assert_allclose(velocity, branch.transfer(FREQUENCIES) * closed, rtol=1e-12)
    assert source.radiators == ("woofer", "tweeter")


def test_a_driver_on_a_wire_is_its_own_load() -> None:
    unit = woofer()
    source = Source((boxed(unit, 0.012),), (Branch(("woofer",)),))
    stiffness = unit.stiffness + AIR.density * AIR.speed**2 * unit.area_m2**2 / 0.012
    s = 2j * np.pi * FREQUENCIES
    mechanical = unit.damping + s * unit.mass_kg + stiffness / s
    expected = 5.6 + s * 3e-4 + unit.force_factor**2 / mechanical
    np.testing.assert_allclose(source.impedance(FREQUENCIES, AIR), expected, rtol=1e-9)
    output = source.output(FREQUENCIES, AIR)
    velocity = unit.force_factor / (expected * mechanical)
    np.testing.assert_allclose(output.displacement[0], velocity / s, rtol=1e-9)
    np.testing.assert_allclose(output.volume_velocity[0], velocity * unit.area_m2, rtol=1e-9)


def test_a_vertical_pair_shares_a_branch() -> None:
    """Two woofers in twice the volume halve the load and double the air."""
    pair = Source(
        (Enclosure(Interior(0.024), (woofer("upper"), woofer("lower"))),), (Branch(("upper", "lower")),)
    )
    one = Source((boxed(woofer(), 0.012),), (Branch(("woofer",)),))
    np.testing.assert_allclose(
        2.0 * pair.impedance(FREQUENCIES, AIR), one.impedance(FREQUENCIES, AIR), rtol=1e-9
    )
    total = pair.volume_velocities(FREQUENCIES, AIR).sum(axis=0)
    np.testing.assert_allclose(total, 2.0 * one.volume_velocities(FREQUENCIES, AIR)[0], rtol=1e-9)


def test_two_and_a_half_ways() -> None:
    """Low down both woofers work alike; above, one is left, but the other's cone still moves with the box."""
    box = Enclosure(Interior(0.024), (woofer("upper"), woofer("lower")))
    source = Source(
        (box, boxed(tweeter(), 0.0001)), (low(2200.0, "upper"), low(300.0, "lower"), high(2200.0, "tweeter"))
    )
    flow = np.abs(source.volume_velocities(np.array([2.0, 1500.0]), AIR))
    assert flow[1, 0] / flow[0, 0] == pytest.approx(1.0, rel=0.02)
    assert flow[1, 1] / flow[0, 1] < 0.02
    output = source.output(np.array([1500.0]), AIR)
    alone = abs(output.voltage[1, 0] / output.voltage[0, 0])
    assert alone == pytest.approx(1.0 / 625.0, rel=0.4)  # (1500/300)⁻⁴, and what the upper has lost by then


def test_three_ways_and_a_horizontal_woofer_mid_woofer() -> None:
    sides = Enclosure(Interior(0.03), (woofer("left"), woofer("right")))
    centre = boxed(replace(woofer("middle"), diameter_m=0.09, mass_kg=0.006), 0.003)
    middle = Branch(
        ("middle",),
        (Cut("high", "linkwitz_riley", 4, 400.0), Cut("low", "linkwitz_riley", 4, 2600.0)),
        polarity=-1,
    )
    source = Source(
        (sides, centre, boxed(tweeter(), 0.0001)),
        (low(400.0, "left", "right"), middle, high(2600.0, "tweeter")),
    )
    assert source.radiators == source.drivers == ("left", "right", "middle", "tweeter")
    flow = source.volume_velocities(FREQUENCIES, AIR)
    np.testing.assert_allclose(flow[0], flow[1], rtol=1e-9)
    bass, mid, treble = (np.abs(flow[row] * FREQUENCIES) for row in (0, 2, 3))
    at = [int(np.argmin(np.abs(FREQUENCIES - f))) for f in (60.0, 1000.0, 8000.0)]
    assert bass[at[0]] > 30.0 * mid[at[0]]
    assert mid[at[1]] > 10.0 * bass[at[1]]
    assert treble[at[2]] > 30.0 * mid[at[2]]
    turned = replace(source, branches=(source.branches[0], replace(middle, polarity=1), source.branches[2]))
    np.testing.assert_allclose(turned.volume_velocities(FREQUENCIES, AIR)[2], -flow[2], rtol=1e-12)
    with pytest.raises(ValueError, match="a source with ideal filters is no load"):
        source.impedance(FREQUENCIES, AIR)


def passive(polarity: int = 1, output_ohm: float = 0.0) -> Source:
    """A two-way with coils and capacitors, second order below, third above."""
    amplifier = (Step("series", output_ohm),) if output_ohm else ()
    below = Ladder((*amplifier, Step("series", 0.3, 1.2e-3), Step("across", 1.0, capacitance_f=1e-5)))
    above = Ladder(
        (
            Step("series", 1.5),
            Step("series", capacitance_f=5e-6),
            Step("across", 0.2, 3e-4),
            Step("series", capacitance_f=2e-5),
        )
    )
    port = Port(Opening("port"), 0.05, 0.12)
    box = Enclosure(Interior(0.014), (woofer(),), (port,), losses=Losses(45.0, 7.0, 50.0, 60.0))
    return Source(
        (box, boxed(tweeter(), 0.0001)),
        (
            Branch(("woofer",), ladder=below),
            Branch(("tweeter",), ladder=above, polarity=-1 if polarity < 0 else 1),
        ),
    )


def test_the_load_of_a_two_way_is_its_branches_in_parallel() -> None:
    """By hand: each driver's own impedance behind its parts (Kirchhoff)."""
    source = passive()
    s = 2j * np.pi * FREQUENCIES
    drivers = [1.0 / box.motion(FREQUENCIES, AIR).admittance[0, 0] for box in source.enclosures]
    below = 0.3 + s * 1.2e-3 + 1.0 / (1.0 / (1.0 + 1.0 / (s * 1e-5)) + 1.0 / drivers[0])
    after = drivers[1] + 1.0 / (s * 2e-5)
    above = 1.5 + 1.0 / (s * 5e-6) + 1.0 / (1.0 / (0.2 + s * 3e-4) + 1.0 / after)
    expected = 1.0 / (1.0 / below + 1.0 / above)
    np.testing.assert_allclose(source.impedance(FREQUENCIES, AIR), expected, rtol=1e-9)
    np.testing.assert_allclose(passive(-1).impedance(FREQUENCIES, AIR), expected, rtol=1e-9)
    voltage = source.output(FREQUENCIES, AIR).voltage
    np.testing.assert_allclose(voltage[0], 1.0 - (0.3 + s * 1.2e-3) / below, rtol=1e-8)


def test_the_load_at_0_hz_is_copper() -> None:
    assert passive().impedance(np.array([1e-4]), AIR)[0] == pytest.approx(5.6 + 0.3, rel=1e-4)


def test_branches_that_share_a_box_feel_each_other() -> None:
    """A woofer that is shorted behind its branch still takes part: two in one box, one on a wire, one short.

    With parts before the other, the power from the terminals is what both coils and the parts take.
    """
    box = Enclosure(Interior(0.02), (woofer("upper"), woofer("lower")))
    parts = Ladder((Step("series", 2.0, 3e-3),))
    source = Source((box,), (Branch(("upper",)), Branch(("lower",), ladder=parts)))
    output = source.output(FREQUENCIES, AIR)
    given_power = (1.0 / source.impedance(FREQUENCIES, AIR)).real
    coils = np.sum((np.conj(output.voltage) * output.current).real, axis=0)
    np.testing.assert_allclose(given_power, coils + 2.0 * np.abs(output.current[1]) ** 2, rtol=1e-9)
    np.testing.assert_allclose(
        output.voltage[1],
        1.0 - (2.0 + 6e-3j * np.pi * FREQUENCIES) * output.current[1],
        rtol=1e-8,
        atol=1e-12,
    )


@settings(deadline=None, max_examples=30)
@given(st.floats(0.0, 8.0), st.sampled_from([1, -1]))
def test_a_passive_loudspeaker_never_gives_power(output_ohm: float, polarity: int) -> None:
    assert np.all(passive(polarity, output_ohm).impedance(FREQUENCIES, AIR).real > 0.0)


def faulty() -> Source:
    wave = StandingWave("height", (0, 0, 1), 25.0)
    upper = woofer("woofer", Bending("bending", 3500.0, 10.0, 0.5, 0.2))
    wall = Resonator("wall", "panel", (Mouth(Opening("side", (0.5, 0.0, 0.3)), 0.02),), 0.4, 280.0, 30.0)
    interior = Interior(0.014, (0.25, 0.17, 0.33), (wave,))
    port = Port(Opening("port", (0.0, 0.5, 0.9)), 0.05, 0.12)
    return Source(
        (Enclosure(interior, (upper,), (port,), (wall,)), boxed(tweeter(), 0.0001)),
        (low(2500.0, "woofer"), high(2500.0, "tweeter")),
    )


def test_truth_is_with_against_without() -> None:
    source = faulty()
    assert source.fault_names == ("bending", "height", "port", "wall")
    clean = source.without(*source.fault_names)
    assert clean.radiators == source.radiators == ("woofer", "port", "side", "tweeter")
    flow = clean.volume_velocities(FREQUENCIES, AIR)
    assert np.all(flow[2] == 0.0)
    np.testing.assert_array_equal(flow[3], source.volume_velocities(FREQUENCIES, AIR)[3])
    at = np.array([3500.0])
    ratio = source.volume_velocities(at, AIR)[0] / source.without("bending").volume_velocities(at, AIR)[0]
    s, unit = 2j * np.pi * 3500.0, source.enclosures[0].drive_units[0]
    piston, mode = s * unit.mass_kg, 0.5 * unit.mass_kg * 2.0 * np.pi * 3500.0 / 10.0
    link = unit.link(at)[0]
    # One force on two masses, which coil and suspension brake together; the box's air hardly counts here.
    expected = (1.0 + 0.2 * piston / mode) * (1.0 + link / piston) / (1.0 + link / piston + link / mode)
    assert ratio[0] == pytest.approx(expected, rel=5e-3)
    with pytest.raises(ValueError, match="no fault is called rattle; there are: bending, height, port, wall"):
        source.without("rattle")


def test_faults_say_what_they_are_and_where() -> None:
    bending, height, port, wall = faulty().faults(AIR)
    assert bending == Fault("bending", "bending", ("woofer",), 3500.0, 10.0)
    assert wall == Fault("wall", "panel", ("side",), 280.0, 30.0)
    assert (height.kind, height.radiators, height.q) == ("standing wave", ("woofer", "port", "side"), 25.0)
    assert height.frequency_hz == pytest.approx(343.2146 / 0.66, rel=1e-6)
    assert (port.kind, port.radiators, port.q) == ("pipe", ("port",), None)
    whole = 0.12 + 0.025 * (0.6133 + 0.8217)
    assert port.frequency_hz == pytest.approx(343.2146 / 2.0 / whole, rel=1e-6)


def test_contradictions_are_refused() -> None:
    box = boxed(woofer(), 0.012)
    with pytest.raises(
        ValueError, match="each driver hangs on one branch: there are woofer; on branches are tweeter"
    ):
        Source((box,), (Branch(("tweeter",)),))
    wall = Resonator("wall", "panel", (Mouth(Opening("woofer"), 0.02),), 0.4, 280.0, 30.0)
    with pytest.raises(ValueError, match="a name of its own: woofer, woofer"):
        Source((replace(box, resonators=(wall,)),), (Branch(("woofer",)),))
