"""What would be without a fault, against closed forms: a pair, a piston, a plane, one driver's own motion."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import j1

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.box import BoxCabinet, RoundRadiator
from earwitness.virtual.counterfactual import (
    Heard,
    Listening,
    ball_diameter_m,
    coincident,
    edge_distances_m,
    edge_free,
)
from earwitness.virtual.faults import Fault, read, replaced, value_at
from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import from_text, load
from earwitness.virtual.tables import ScenarioError
from earwitness.virtual.truth import directions

AIR = Air()
CATALAN = 0.915965594177219


def heard(frequencies: Floats, distance: float, *angles: float) -> Heard:
    return Heard(distance * directions("horizontal", np.array(angles)), frequencies, AIR)


@dataclass(frozen=True)
class Points:
    """Monopoles in free space, each 1/r."""

    places: Floats

    @property
    def radiators(self) -> Sequence[object]:
        return list(self.places)

    def transfer(self, points: Floats, frequencies: Floats, air: Air) -> Complexes:
        away = np.linalg.norm(points - self.places[:, None, :], axis=-1)[..., None]
        return np.asarray(np.exp(-2j * np.pi * frequencies / air.speed * away) / away)

    def flight_m(self, points: Floats) -> Floats:
        return np.asarray(np.linalg.norm(points, axis=-1))

    def in_front_of(self, radiator: int, gap_m: float) -> Floats:  # noqa: ARG002 - the protocol's
        return np.asarray(self.places[radiator])


def test_a_pair_loses_what_its_spacing_takes() -> None:
    """0.36 m at 1 kHz and 343.2 m/s: −6.0206 dB at 18.5286 degrees, none at 28.4679 (computed)."""
    pair = Points(np.array([[0.0, 0.18, 0.0], [0.0, -0.18, 0.0]]))
    frequency = np.array([1000.0 * AIR.speed / 343.2])
    where = heard(frequency, 1000.0, 0.0, 18.5286, 28.4679)
    with_spacing = pair.transfer(where.points, frequency, AIR)
    without = coincident(with_spacing, pair, [0, 1], where)
    effect = 20.0 * np.log10(np.abs(with_spacing.sum(axis=0) / without.sum(axis=0)))[:, 0]
    assert effect[:2] == pytest.approx([0.0, -6.0206], abs=2e-3)
    assert effect[2] < -60.0


def test_coincident_monopoles_are_one_of_twice_the_strength() -> None:
    pair = Points(np.array([[-0.1, 0.2, 0.1], [-0.3, -0.2, 0.3]]))
    frequencies = np.array([50.0, 700.0, 9000.0])
    where = heard(frequencies, 2.0, 0.0, 70.0, 180.0)
    found = coincident(pair.transfer(where.points, frequencies, AIR), pair, [0, 1], where)
    one = Points(np.array([[-0.2, 0.0, 0.2]])).transfer(where.points, frequencies, AIR)
    np.testing.assert_allclose(found, np.repeat(one, 2, axis=0), rtol=1e-12)


def test_the_ball_of_a_square_face() -> None:
    """Geometric mean of W/2/cos ψ over 0 to 45°: W/2·exp(ln 2 − 2G/π), G Catalan's constant (derived)."""
    box = BoxCabinet(0.3, 0.3, 0.2, (RoundRadiator(0.1, 0.0),))
    assert edge_distances_m(box, 0) == pytest.approx([0.15] * 4)
    assert ball_diameter_m(box, 0) == pytest.approx(0.3 * 2.0 * np.exp(-2.0 * CATALAN / np.pi), rel=1e-5)


def test_distances_to_edges_are_left_right_top_bottom() -> None:
    box = BoxCabinet(0.2, 0.5, 0.3, (RoundRadiator(0.05, 0.05, 0.02),), reference_up_m=0.1)
    assert edge_distances_m(box, 0) == pytest.approx((0.08, 0.12, 0.10, 0.40))
    behind = BoxCabinet(0.2, 0.5, 0.3, (RoundRadiator(0.05, -0.1, face="back"),), reference_up_m=0.1)
    assert edge_distances_m(behind, 0) == pytest.approx((0.1, 0.1, 0.25, 0.25))


@pytest.mark.parametrize(
    ("face", "angle"), [("front", 0.0), ("left", 90.0), ("back", 180.0), ("right", -90.0)]
)
def test_an_edge_free_radiator_goes_from_full_to_half_space(face: str, angle: float) -> None:
    """Before its face jωρ/(4πr) at low frequencies and twice that at high ones: a step of 6.02 dB."""
    sideways = -0.15 if face in {"left", "right"} else 0.0
    box = BoxCabinet(0.3, 0.3, 0.3, (RoundRadiator(0.02, 0.0, sideways, face),))  # type: ignore[arg-type]
    frequencies = np.array([5.0, 19_000.0])
    where = heard(frequencies, 200.0, angle, angle + 30.0)
    found = edge_free(np.zeros((1, 2, 2), dtype=np.complex128), box, [0], where)[0]
    away = np.linalg.norm(where.points - box.in_front_of(0, 0.0), axis=-1)[:, None]
    free = 2.0 * np.pi * frequencies * AIR.density / (4.0 * np.pi * away)
    step = 20.0 * np.log10(np.abs(found) / free)
    assert step[0] == pytest.approx([0.0, 6.0206], abs=0.06)
    argument = np.pi * 0.02 * 19_000.0 / AIR.speed * np.sin(np.radians(30.0))
    piston = 20.0 * np.log10(2.0 * j1(argument) / argument)
    assert piston < -3.0
    #: The ball's own shade at 30 degrees is less than a tenth of a decibel.
    assert step[1, 1] - 6.0206 == pytest.approx(piston, abs=0.1)


def test_behind_its_face_an_edge_free_radiator_beams_as_at_its_side() -> None:
    """Its piston's 2J₁(ka)/ka at 180°, over what a point on the ball sends there."""
    box = BoxCabinet(0.3, 0.3, 0.3, (RoundRadiator(0.1, 0.0),))
    point = BoxCabinet(0.3, 0.3, 0.3, (RoundRadiator(0.001, 0.0),))
    frequencies = np.array([500.0, 1500.0])
    where = heard(frequencies, 20.0, 150.0, 180.0)
    large, small = (
        np.abs(edge_free(np.zeros((1, 2, 2), dtype=np.complex128), each, [0], where)[0])
        for each in (box, point)
    )
    argument = np.pi * 0.1 * frequencies / AIR.speed
    np.testing.assert_allclose(large / small, [2.0 * j1(argument) / argument] * 2, rtol=1e-4)


def test_a_silenced_cone_moves_as_its_piston_does() -> None:
    """In one direction of one radiator an effect is the ratio of two volume velocities."""
    seed = next(
        s for s in range(200) if 'shape = "sphere"' in (t := generate(s).loudspeaker) and "cone bends" in t
    )
    scenario = from_text("drawn", generate(seed).loudspeaker)
    fault = next(each for each in scenario.faults if each.name == "bending")
    frequencies = np.geomspace(100.0, 1000.0, 40)
    where = heard(frequencies, 2.0, 0.0, 120.0)
    listening = Listening(scenario.document, where)
    assert fault.counterfactual == "silenced"
    quiet = scenario.loudspeaker.without("cone bends").pressure(where.points, frequencies, 1.0, AIR)
    np.testing.assert_allclose(listening.pressure([fault]), quiet, rtol=1e-12)
    whole = scenario.loudspeaker.pressure(where.points, frequencies, 1.0, AIR)
    np.testing.assert_allclose(listening.pressure(), whole, rtol=1e-12)
    assert np.abs(whole / quiet - 1.0).max() > 1e-3


def test_a_delay_that_is_left_out_is_a_delay_put_in_before() -> None:
    cobble = load("cobble_two")
    late = replaced(cobble.document, {"branches.tweeter.delay_s": 2e-4})
    assert value_at(late, "branches.tweeter.delay_s") == 2e-4
    assert value_at(cobble.document, "branches.tweeter.delay_s") == 5.2e-5
    fault = Fault("late", "crossover_misalignment", "n", instead={"branches.tweeter.delay_s": 5.2e-5})
    where = heard(np.geomspace(500.0, 8000.0, 20), 2.0, 0.0)
    found = Listening(late, where).pressure([fault])
    np.testing.assert_allclose(found, Listening(cobble.document, where).pressure(), rtol=1e-12)
    assert np.abs(Listening(late, where).pressure() / found - 1.0).max() > 0.1


def test_paths_lead_into_enclosures_and_lists() -> None:
    document = load("cobble_two").document
    assert value_at(document, "drive_units.woofer.coil.resistance_ohm") == 3.3
    assert value_at(document, "enclosures.woofer's chamber.volume_m3") == 0.0078
    assert value_at(document, "branches.woofer.sections.2.depth_db") == 5.0
    changed = replaced(document, {"branches.woofer.sections.2.depth_db": 3.0, "cabinet.diameter_m": 0.3})
    assert value_at(changed, "branches.woofer.sections.2.depth_db") == 3.0
    assert value_at(document, "branches.woofer.sections.2.depth_db") == 5.0
    assert value_at(changed, "cabinet.diameter_m") == 0.3


@pytest.mark.parametrize(
    "path", ["branches.horn.delay_s", "cabinet.width_m", "branches.woofer.sections.3.q", "x"]
)
def test_paths_that_lead_nowhere_are_refused(path: str) -> None:
    with pytest.raises(ScenarioError, match=f"cobble_two.toml: faults: nothing lies at {path}"):
        replaced(load("cobble_two").document, {path: 1.0})


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(ScenarioError, match=r"faults: cabinet\.shape is no number"):
        value_at(load("cobble_two").document, "cabinet.shape")


def test_a_ball_has_no_edges_and_strange_radiators_are_refused() -> None:
    listening = Listening(load("cobble_two").document, heard(np.array([100.0]), 2.0, 0.0))
    with pytest.raises(ScenarioError, match="only a box has edges"):
        listening.pressure([Fault("edges", "edge_diffraction", "n", edges=("woofer",))])
    with pytest.raises(ScenarioError, match="no radiator is called horn; there are: woofer, tweeter"):
        listening.pressure([Fault("pair", "spaced_sources", "n", together=("woofer", "horn"))])


def test_faults_have_names_of_their_own() -> None:
    document = load("cobble_two").document
    twice = {"name": "a", "cause": "voicing", "note": "n", "instead": {"branches.tweeter.pad_db": 3.0}}
    doubled = type(document)("x.toml", {**document.content, "faults": [twice, twice]})
    with pytest.raises(ScenarioError, match=r"x\.toml: each fault has a name of its own: a, a"):
        read(doubled)
