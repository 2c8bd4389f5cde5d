"""The network about large-signal coils against the source that it is taken from."""

from __future__ import annotations

import numpy as np
import pytest
from virtual.large_rig import AIR, boxed, unit

from earwitness.virtual.ladder import Ladder, Step
from earwitness.virtual.linear_network import linear_network
from earwitness.virtual.network import Branch
from earwitness.virtual.source import Source
from earwitness.virtual.voice_coil import VoiceCoil

FREQUENCIES = np.array([1.0, 20.0, 60.0, 300.0, 2000.0, 15000.0])


def laddered(source: Source, ohms: float = 0.4) -> Source:
    steps = (
        Step("series", resistance_ohm=ohms, inductance_h=0.001),
        Step("across", resistance_ohm=1.0, capacitance_f=1e-5),
    )
    return Source(source.enclosures, (Branch(("woofer",), ladder=Ladder(steps), polarity=-1),))


@pytest.mark.parametrize("wired", [boxed(unit()), laddered(boxed(unit()))], ids=["wire", "ladder"])
def test_what_volts_do_is_what_they_do_in_the_source(wired: Source) -> None:
    network, expected = linear_network(wired, FREQUENCIES, AIR), wired.output(FREQUENCIES, AIR)
    assert network.motor[0, 0] == pytest.approx(expected.displacement[0], rel=1e-9)
    assert network.motor[1, 0] == pytest.approx(expected.current[0], rel=1e-9)
    assert network.volume_velocity[:, 0] == pytest.approx(expected.volume_velocity, rel=1e-9)


@pytest.mark.parametrize("wired", [boxed(unit()), laddered(boxed(unit()))], ids=["wire", "ladder"])
def test_a_resistance_before_it_takes_its_part(wired: Source) -> None:
    """Z/(Z + R) of everything; and it stays reciprocal."""
    network, expected = linear_network(wired, FREQUENCIES, AIR, 0.7), wired.output(FREQUENCIES, AIR)
    impedance = wired.impedance(FREQUENCIES, AIR)
    share = impedance / (impedance + 0.7)
    assert network.motor[0, 0] == pytest.approx(share * expected.displacement[0], rel=1e-9)
    assert network.volume_velocity[:, 0] == pytest.approx(share * expected.volume_velocity, rel=1e-9)
    s = 2j * np.pi * FREQUENCIES
    assert s * network.motor[0, 1] == pytest.approx(network.motor[1, 2], rel=1e-9)


def test_a_resistance_before_a_wire_is_one_more_in_the_coil() -> None:
    """For all inputs and outputs, on a wire and before a ladder's first step in series."""
    before = linear_network(boxed(unit()), FREQUENCIES, AIR, 0.7)
    within = linear_network(boxed(unit(coil=VoiceCoil(5.6 + 0.7, 0.0005))), FREQUENCIES, AIR)
    assert before.motor == pytest.approx(within.motor, rel=1e-9)
    assert before.volume_velocity == pytest.approx(within.volume_velocity, rel=1e-9)
    laddered_0 = linear_network(laddered(boxed(unit()), 0.4), FREQUENCIES, AIR, 0.7)
    laddered_1 = linear_network(laddered(boxed(unit()), 1.1), FREQUENCIES, AIR)
    assert laddered_0.motor == pytest.approx(laddered_1.motor, rel=1e-9)


@pytest.mark.parametrize("wired", [boxed(unit()), laddered(boxed(unit()))], ids=["wire", "ladder"])
def test_it_is_reciprocal(wired: Source) -> None:
    """A voltage moves the coil as far as a force brings current: x/e = −(1/s)·i/f (a gyrator)."""
    network = linear_network(wired, FREQUENCIES, AIR)
    s = 2j * np.pi * FREQUENCIES
    velocity_by_voltage, current_by_force = s * network.motor[0, 1], network.motor[1, 2]
    assert velocity_by_voltage == pytest.approx(current_by_force, rel=1e-9)


def test_a_force_on_an_open_coil_meets_suspension_box_and_mass() -> None:
    """Closed form: through a ladder that blocks (a capacitor of 1 pF), x = f/(K + K_box + sR + s²M)."""
    blocked = Source(
        boxed(unit()).enclosures,
        (Branch(("woofer",), ladder=Ladder((Step("series", capacitance_f=1e-12),))),),
    )
    network = linear_network(blocked, FREQUENCIES, AIR)
    s = 2j * np.pi * FREQUENCIES
    box = AIR.density * AIR.speed**2 * (np.pi * 0.11**2 / 4.0) ** 2 / 0.010
    assert network.motor[0, 2] == pytest.approx(1.0 / (1200.0 + box + s * 1.0 + s**2 * 0.012), rel=1e-4)
