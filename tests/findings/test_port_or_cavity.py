"""What rings at a place of its own, where the place is known: closed forms, and the workshop."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from evaluation.physics import make
from evaluation.population import Drawn
from features_made import feature
from scipy.signal import freqs

from earwitness.findings.causes import port_or_cavity
from earwitness.findings.causes.scene import Heard, hear
from earwitness.findings.features import find_features
from earwitness.records.grid import derived_grid
from earwitness.records.takes import Direction, Orbit
from earwitness.virtual.scenario import load

Complexes = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

SPEED, DISTANCE_M, GATE_S = 343.0, 2.0, 0.1
GRID = derived_grid()
FREQUENCY = GRID[(GRID >= 250.0) & (GRID <= 6000.0)]
ANGLES = np.arange(-60.0, 61.0, 10.0)
CONE, PORT = (0.0, 0.0, 0.0), (-0.1, 0.05, -0.3)
DRIVERS = np.array([CONE])


def microphones() -> tuple[tuple[Direction, ...], Floats]:
    directions, places = [], []
    for orbit in Orbit:
        for angle in ANGLES:
            if orbit is Orbit.VERTICAL and angle == 0.0:
                continue
            ahead, aside = DISTANCE_M * np.cos(np.radians(angle)), DISTANCE_M * np.sin(np.radians(angle))
            directions.append(Direction(orbit, float(angle)).shared)
            places.append([ahead, aside, 0.0] if orbit is Orbit.HORIZONTAL else [ahead, 0.0, aside])
    return tuple(directions), np.array(places)


def point(at_m: tuple[float, float, float]) -> Complexes:
    """A point source's sound at the microphones re one at the reference point: e^(−jkr)/r."""
    _, places = microphones()
    reference, way = np.linalg.norm(places, axis=1), np.linalg.norm(places - np.array(at_m), axis=1)
    k = 2.0 * np.pi * FREQUENCY / SPEED
    return np.asarray((reference / way)[:, None] * np.exp(-1j * np.multiply.outer(way - reference, k)))


def ringing(centre_hz: float, q: float) -> Complexes:
    """(s ω₀/Q)/(s² + s ω₀/Q + ω₀²) by a general library."""
    own = 2.0 * np.pi * centre_hz
    return np.asarray(freqs([own / q, 0.0], [1.0, own / q, own**2], 2.0 * np.pi * FREQUENCY)[1])


def heard(pressure: Complexes) -> Heard:
    directions, places = microphones()
    return Heard(directions, places, FREQUENCY, pressure, SPEED)


@pytest.mark.parametrize(("centre", "q", "size"), [(620.0, 12.0, 0.6), (950.0, 25.0, 0.5)])
def test_a_port_is_found_where_it_is(centre: float, q: float, size: float) -> None:
    found = port_or_cavity.ring(
        heard(point(CONE) + size * ringing(centre, q) * point(PORT)), GATE_S, centre, DRIVERS
    )
    assert found is not None
    assert found.frequency_hz == pytest.approx(centre, rel=0.01)
    assert found.q == pytest.approx(q, rel=0.3)
    assert found.at_m == pytest.approx(PORT, abs=0.02)
    assert found.apart_m == pytest.approx(float(np.linalg.norm(PORT)), abs=0.02)


def test_its_effect_is_that_of_leaving_it_out() -> None:
    """On axis 20 lg|1 + 0.6·(its way over the cone's)| at the pole, where the ringing is 1."""
    centre = float(FREQUENCY[np.argmin(np.abs(FREQUENCY - 620.0))])
    one = heard(point(CONE) + 0.6 * ringing(centre, 12.0) * point(PORT))
    found = port_or_cavity.ring(one, GATE_S, centre, DRIVERS)
    assert found is not None
    at = int(np.argmin(np.abs(FREQUENCY - centre)))
    row = one.directions.index(Direction(Orbit.HORIZONTAL, 0.0))
    true_db = 20.0 * np.log10(abs(1.0 + 0.6 * point(PORT)[row, at]))
    seen = feature(centre, 3.0, [(Orbit.HORIZONTAL, 0.0)])
    assert port_or_cavity.effect_db(one, seen, found) == pytest.approx(true_db, abs=0.3)
    up = feature(centre, 3.0, [(Orbit.VERTICAL, -40.0)])
    told = port_or_cavity.judge(one, up, found)
    assert told.effect_db > 1.0
    assert told.evidence


def test_a_cone_that_rings_has_no_place_of_its_own() -> None:
    """The same pole in the same measure as the cone's sound, all round; and just beside it."""
    cone = point(CONE) * (1.0 + 0.6 * ringing(620.0, 12.0))
    assert port_or_cavity.ring(heard(cone), GATE_S, 620.0, DRIVERS) is None
    beside = point(CONE) + 0.6 * ringing(620.0, 12.0) * point((0.0, 0.0, -0.04))
    assert port_or_cavity.ring(heard(beside), GATE_S, 620.0, DRIVERS) is None


def test_what_rings_in_another_driver_is_that_drivers() -> None:
    """A second driver at the port's place: it lies where a driver is."""
    both = point(CONE) + 0.6 * ringing(620.0, 12.0) * point(PORT)
    assert port_or_cavity.ring(heard(both), GATE_S, 620.0, np.array([CONE, PORT])) is None


def test_what_does_not_ring_has_no_place() -> None:
    """Two sources that interfere, and a delayed copy, are no pole."""
    pair = point(CONE) + 0.8 * point(PORT)
    copy = point(CONE) * (1.0 + 0.3 * np.exp(-2j * np.pi * FREQUENCY * 1.6e-3))
    for pressure in (point(CONE), pair, copy):
        assert port_or_cavity.ring(heard(pressure), GATE_S, 620.0, DRIVERS) is None


def test_a_bump_without_the_phase_of_a_pole_does_not_ring() -> None:
    """The same level from the same place, its phase turned the other way round."""
    turned = point(CONE) + 0.6 * ringing(620.0, 12.0).conj() * point(PORT)
    assert port_or_cavity.ring(heard(turned), GATE_S, 620.0, DRIVERS) is None


def test_without_phase_nothing_is_told() -> None:
    level = np.abs(point(CONE) + 0.6 * ringing(620.0, 12.0) * point(PORT)).astype(np.complex128)
    assert port_or_cavity.ring(heard(level), GATE_S, 620.0, DRIVERS) is None


def test_it_is_sought_about_narrow_features_of_the_lower_bands_alone() -> None:
    one = heard(point(CONE) + 0.6 * ringing(620.0, 12.0) * point(PORT))
    seek = port_or_cavity.seeker(one, GATE_S, DRIVERS)
    assert seek(feature(620.0, 3.0, [(Orbit.HORIZONTAL, 0.0)], q=5.0)) is not None
    assert seek(feature(620.0, 3.0, [(Orbit.HORIZONTAL, 0.0)], q=1.0)) is None
    assert seek(feature(5000.0, 3.0, [(Orbit.HORIZONTAL, 0.0)], q=5.0)) is None


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "frequency", "front"),
    [("flute", 485.3, True), ("muddle", 666.1, False), ("kazoo", None, True)],
)
def test_loudspeakers_of_the_workshop(name: str, frequency: float | None, front: bool) -> None:
    """Flute's pipe ends on the front, 0.258 m below; muddle's ends behind; kazoo's cone rings itself."""
    made = make(Drawn(900, load(name)))
    sound = hear(made.responses, made.drawn.scenario.air.speed)
    assert sound is not None
    drivers = np.array([[0.0, 0.0, -0.14 if name != "muddle" else -0.16], [0.0, 0.0, 0.0]])
    seek = port_or_cavity.seeker(sound, float(made.responses.gate_s[0]), drivers)
    found = [one for each in find_features(made.responses) if (one := seek(each)) is not None]
    if frequency is None:
        assert not found
        return
    one = found[0]
    assert all(other is one for other in found)
    assert one.frequency_hz == pytest.approx(frequency, rel=0.01)
    assert (one.at_m[0] > -0.1) is front
    if front:
        assert one.at_m == pytest.approx((0.0, 0.0, -0.258), abs=0.04)
