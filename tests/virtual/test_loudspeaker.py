"""A source in a cabinet: sums, names and faults."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.air import Air
from earwitness.virtual.bodies import Bending, DriveUnit
from earwitness.virtual.box import BoxCabinet, RoundRadiator
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.loudspeaker import Cabinet, Loudspeaker
from earwitness.virtual.network import Branch
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.source import Source
from earwitness.virtual.voice_coil import VoiceCoil

AIR = Air(20.0)
BEND = Bending("bend", 4000.0, 12.0, 0.3, -0.2)
CABINETS: tuple[Cabinet, Cabinet] = (
    SphericalCabinet(0.3, (Cap(0.11, 0.0), Cap(0.11, 40.0))),
    BoxCabinet(0.2, 0.36, 0.28, (RoundRadiator(0.11, -0.09), RoundRadiator(0.11, 0.09))),
)
POINTS = np.array([[2.0, 0.0, 0.0], [1.0, -1.5, 0.4], [-1.2, 0.3, 0.9]])


def source(gain: float = 1.0) -> Source:
    """Two like drivers in one box, one with a bend; both at `gain` times the voltage."""
    units = tuple(
        DriveUnit(Opening(name), VoiceCoil(5.6, 3e-4), 6.5, 0.014, 900.0, 1.1, 0.11, bending)
        for name, bending in (("lower", (BEND,)), ("upper", ()))
    )
    return Source(
        (Enclosure(Interior(0.02), units),),
        (Branch(("lower", "upper"), pad_db=-20.0 * float(np.log10(gain))),),
    )


@pytest.mark.parametrize("cabinet", CABINETS, ids=["sphere", "box"])
def test_pressure_is_every_radiators_share_for_the_drive(cabinet: Cabinet) -> None:
    loudspeaker = Loudspeaker(source(), cabinet)
    frequencies = np.array([60.0, 700.0, 5000.0])
    transfer = cabinet.transfer(POINTS, frequencies, AIR)
    velocity = loudspeaker.volume_velocities(frequencies, AIR)
    by_hand = 2.83 * (transfer[0] * velocity[0] + transfer[1] * velocity[1])
    np.testing.assert_allclose(loudspeaker.pressure(POINTS, frequencies, 2.83, AIR), by_hand, rtol=1e-12)
    louder = Loudspeaker(source(2.0), cabinet).pressure(POINTS, frequencies, 2.83, AIR)
    np.testing.assert_allclose(louder, 2.0 * by_hand, rtol=1e-9)


@pytest.mark.parametrize("cabinet", CABINETS, ids=["sphere", "box"])
def test_time_of_flight_is_all_that_turns_quickly(cabinet: Cabinet) -> None:
    """With it divided out, what is left turns by less than a tenth of a turn in 20 Hz."""
    frequencies = np.arange(1000.0, 1200.0, 20.0)
    turn = np.exp(2j * np.pi * frequencies / AIR.speed * cabinet.flight_m(POINTS)[:, None])
    smooth = cabinet.transfer(POINTS, frequencies, AIR) * turn
    assert np.abs(np.angle(smooth[..., 1:] / smooth[..., :-1])).max() < 0.2 * np.pi


def test_a_fault_is_left_out_of_the_source_alone() -> None:
    loudspeaker = Loudspeaker(source(), CABINETS[0])
    sound = loudspeaker.without("bend")
    frequencies = np.array([100.0, 4000.0])
    change = loudspeaker.pressure(POINTS, frequencies, 1.0, AIR) / sound.pressure(
        POINTS, frequencies, 1.0, AIR
    )
    assert np.abs(change[:, 0] - 1.0).max() < 0.01
    assert np.abs(change[:, 1] - 1.0).max() > 0.1
    assert sound.cabinet is loudspeaker.cabinet
    with pytest.raises(ValueError, match="there are: bend"):
        loudspeaker.without("rattle")


def test_radiators_are_called_by_name_and_each_has_a_place() -> None:
    loudspeaker = Loudspeaker(source(), CABINETS[1])
    np.testing.assert_allclose(loudspeaker.in_front_of("upper", 0.007), [0.007, 0.0, 0.09], atol=1e-12)
    with pytest.raises(ValueError, match="there are: lower, upper"):
        loudspeaker.in_front_of("port", 0.007)
    with pytest.raises(ValueError, match="1 in the cabinet for lower, upper"):
        Loudspeaker(source(), SphericalCabinet(0.3, (Cap(0.11, 0.0),)))
