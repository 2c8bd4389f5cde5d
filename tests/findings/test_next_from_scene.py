"""Takes by what a scene foretells: two sources on a ball, whose patterns have closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from features_made import H, V, causes, feature

from earwitness.findings.causes.scene import Geometry, Heard, Scene, patterns
from earwitness.findings.next_from_scene import felt_u_db, proposed, side_of, stretch, told_part
from earwitness.findings.next_question import InQuestion, Question, Rigged, in_question
from earwitness.findings.next_table import SHOWS, CloseUp, Possible
from earwitness.findings.predicted import Foretold, positions_m
from earwitness.records.causes import Cause, CauseSaid, FeatureCauses
from earwitness.records.next_measurement import NextTake
from earwitness.records.takes import Direction, Orbit

Complexes = npt.NDArray[np.complex128]

SPEED, FAR_M, BEHIND_M, RADIUS_M, SPACING_M = 343.0, 2.0, 0.1, 0.3, 0.16
FREQUENCY = np.asarray(500.0 * 2.0 ** (np.arange(480) / 96.0))
RAISED = float(np.arcsin(0.5 * SPACING_M / RADIUS_M))
PAIR = Geometry("ball", (-RAISED, RAISED), (0.011, 0.011), (RADIUS_M,))
FLAT = np.ones(FREQUENCY.size, dtype=np.complex128)
EVERY = Possible(frozenset(SHOWS), needs_clock=False)
BOTH_SIDES = tuple(range(-60, 61, 10))


def places(directions: tuple[Direction, ...]) -> npt.NDArray[np.float64]:
    """Turned about a point 0.1 m behind the reference point."""
    angle = np.radians([d.angle_deg for d in directions])
    upright = np.array([d.orbit is V for d in directions])
    arm = FAR_M + BEHIND_M
    side = arm * np.sin(angle)
    ahead = arm * np.cos(angle) - BEHIND_M
    return np.column_stack([ahead, np.where(upright, 0.0, side), np.where(upright, side, 0.0)])


def scene(vertical: tuple[int, ...] = BOTH_SIDES, lower: Complexes = FLAT, upper: Complexes = FLAT) -> Scene:
    """Two alike, 0.16 m apart."""
    wanted = [Direction(H, float(a)) for a in BOTH_SIDES] + [Direction(V, float(a)) for a in vertical if a]
    directions = tuple(wanted)
    silence = np.zeros((len(directions), FREQUENCY.size), dtype=np.complex128)
    heard = Heard(directions, places(directions), FREQUENCY, silence, SPEED)
    sent = np.stack([lower, upper])
    heard = replace(heard, pressure=np.einsum("sdf,sf->df", patterns(heard, PAIR), sent))
    return Scene(heard, PAIR, np.full(5, 0.001), sent, np.zeros(FREQUENCY.size), 2.0)


def asked(found: Scene, *some: InQuestion, noise_db: float = 0.05, angle_deg: float = 0.5) -> Question:
    hz = SPEED / (2.0 * SPACING_M * np.sin(np.radians(30.0)))
    dip = feature(hz, -12.0, [(V, 30.0)], width_octaves=0.5)
    rig = Rigged(frozenset(found.heard.directions), noise_db, angle_deg)
    return Question(Foretold(found, None, None), dip, some, rig)


APART = InQuestion(Cause.SPACED_SOURCES, 0.5, 6.0, 1.0)


def test_the_microphone_goes_on_along_its_circle() -> None:
    new = (Direction(V, 35.0), Direction(H, -45.0), Direction(V, 0.0))
    assert positions_m(scene().heard, new) == pytest.approx(places(new), abs=1e-9)


def test_two_apart_cancel_where_their_ways_differ_by_half_a_wave() -> None:
    """sin θ = λ/2d far away (closed form): at 30° that is 2144 Hz. Together they do not, nor to the side."""
    foretold = Foretold(scene(), None, None)
    at = np.array([int(np.argmin(np.abs(FREQUENCY - SPEED / SPACING_M)))])
    apart = frozenset({Cause.SPACED_SOURCES})
    for orbit, least, most in ((V, 12.0, 60.0), (H, -0.1, 0.1)):
        there = [Direction(orbit, 30.0)]
        axis = foretold.levels_db(at, frozenset(), [Direction(orbit, 0.0)])
        fall = axis - foretold.levels_db(at, frozenset(), there)
        together = foretold.levels_db(at, apart, [Direction(orbit, 0.0)]) - foretold.levels_db(
            at, apart, there
        )
        assert least <= float((fall - together)[0, 0]) <= most


def test_a_shape_that_all_directions_share_is_foretold_alike() -> None:
    foretold = Foretold(scene(), None, None)
    at, up = np.arange(0, 480, 40), [Direction(V, 25.0), Direction(H, 15.0)]
    with_it, without = (
        foretold.levels_db(at, gone, up) for gone in (frozenset[Cause](), frozenset({Cause.VOICING}))
    )
    assert with_it == pytest.approx(without, abs=1e-12)


def test_two_apart_are_told_in_their_own_plane() -> None:
    """In the plane across the line between them the ways are alike."""
    question = asked(scene(), APART)
    up, aside = side_of(question, V, 1.0), side_of(question, H, 1.0)
    assert up is not None
    assert aside is not None
    assert up.worth.sum() > 5.0 * aside.worth.sum()


def test_a_side_that_is_not_measured_is_told_to_be_new_and_tells_more() -> None:
    one_sided = tuple(range(0, 61, 10))
    question = asked(scene(one_sided), APART)
    below, above = side_of(question, V, -1.0), side_of(question, V, 1.0)
    assert below is not None
    assert above is not None
    assert (below.is_new, above.is_new) == (True, False)
    assert {d.angle_deg for d in below.directions} == {-10.0, -20.0, -30.0, -40.0, -50.0, -60.0}
    assert below.worth.sum() > above.worth.sum()
    found = proposed(question, Possible(frozenset({NextTake.FINE_VERTICAL}), needs_clock=False, near=()))
    assert found is not None
    assert found.steps is not None
    assert (found.steps.orbit, found.steps.new_side) == (Orbit.VERTICAL, True)
    assert -60.0 <= found.steps.low_deg < found.steps.high_deg <= -10.0
    assert found.apart is not None
    assert found.apart.cause is Cause.SPACED_SOURCES


def test_angles_that_are_less_sure_tell_less() -> None:
    sure, unsure = (side_of(asked(scene(), APART, angle_deg=angle), V, 1.0) for angle in (0.1, 4.0))
    assert sure is not None
    assert unsure is not None
    assert unsure.worth.sum() < 0.9 * sure.worth.sum()


def test_what_is_fine_already_has_no_new_directions() -> None:
    fine = tuple(range(-60, 61, 5))
    assert side_of(asked(scene(fine), APART), V, 1.0) is None


@pytest.mark.parametrize(
    ("worth", "expected"),
    [([0, 0, 5, 5, 0, 0], (2, 3)), ([1, 1, 1, 1, 1], (0, 3)), ([0, 9, 0, 0], (1, 1)), ([4, 0, 4], (0, 2))],
)
def test_the_stretch_is_the_shortest_with_four_fifths_of_all(
    worth: list[float], expected: tuple[int, int]
) -> None:
    assert stretch(np.array(worth, dtype=np.float64)) == expected


def test_a_near_field_counts_for_the_driver_that_may_ring() -> None:
    """The upper one is silent, so that what rings is the lower one, 0.08 m below."""
    question = asked(scene(upper=1e-6 * FLAT), InQuestion(Cause.RESONANCE, 0.5, 2.0, 1.0))
    near = (CloseUp("tweeter", up_m=0.08), CloseUp("woofer", up_m=-0.08))
    found = proposed(question, Possible(frozenset({NextTake.NEAR_DRIVERS}), needs_clock=False, near=near))
    assert found is not None
    assert (found.take, found.radiator) == (NextTake.NEAR_DRIVERS, "woofer")
    assert (
        proposed(question, Possible(frozenset({NextTake.NEAR_DRIVERS}), needs_clock=False, near=near[:1]))
        is None
    )


def test_what_all_directions_share_is_not_told_by_more_of_them() -> None:
    side = side_of(asked(scene(), InQuestion(Cause.RESONANCE, 0.5, 2.0, 1.0)), V, 1.0)
    assert side is not None
    assert side.worth.sum() == 0.0


def test_whether_drivers_are_in_step_is_told_by_no_near_field() -> None:
    question = asked(scene(), InQuestion(Cause.CROSSOVER_MISALIGNMENT, 0.3, 2.0, 1.0))
    both = (CloseUp("tweeter", up_m=0.08), CloseUp("woofer", up_m=-0.08))
    near = Possible(frozenset({NextTake.NEAR_DRIVERS}), needs_clock=False, near=both)
    assert proposed(question, near) is None


def test_what_tells_alike_is_settled_by_effort(monkeypatch: pytest.MonkeyPatch) -> None:
    """A near field of five minutes before an impedance of ten, where both tell as much."""
    question = asked(scene(), InQuestion(Cause.PORT_OR_CAVITY, 0.5, 2.0, 1.0))
    alike = {**SHOWS, NextTake.IMPEDANCE: SHOWS[NextTake.NEAR_PORT]}
    monkeypatch.setattr("earwitness.findings.next_from_scene.SHOWS", alike)
    possible = Possible(
        frozenset({NextTake.IMPEDANCE, NextTake.NEAR_PORT}),
        needs_clock=False,
        near=(CloseUp("port", is_port=True),),
    )
    found = proposed(question, possible)
    assert found is not None
    assert found.take is NextTake.NEAR_PORT


def test_between_measured_directions_no_steps_are_proposed() -> None:
    """Both sides are measured by tens of degrees, so that nothing is left that would tell."""
    fine = Possible(frozenset({NextTake.FINE_VERTICAL, NextTake.FINE_HORIZONTAL}), needs_clock=False, near=())
    assert proposed(asked(scene(), APART), fine) is None


def test_a_ruler_is_proposed_where_sizes_are_not_stated_and_tells_nothing_of_shapes() -> None:
    unstated = Possible(frozenset({NextTake.FELT}), needs_clock=False, near=(), ruler=True)
    beams = InQuestion(Cause.DRIVER_DIRECTIVITY, 0.5, 2.0, 1.0)
    found = proposed(asked(scene(), beams), unstated)
    assert found is not None
    assert (found.take, found.exposure) == (NextTake.RULER, None)
    assert 0.1 <= found.information_bits < found.open_bits
    assert proposed(asked(scene(), beams), replace(unstated, ruler=False)) is None
    assert proposed(asked(scene(), InQuestion(Cause.VOICING, 0.5, 2.0, 1.0)), unstated) is None


def test_felt_tells_no_more_of_edges_than_what_was_heard() -> None:
    """Known to 0.2 dB, felt as repeated errs by 0.8 dB and more."""
    edges = InQuestion(Cause.EDGE_DIFFRACTION, 0.5, 2.0, 1.0)
    assert proposed(asked(scene(), edges), Possible(frozenset({NextTake.FELT}), needs_clock=False)) is None


def test_felt_errs_by_the_part_that_it_takes() -> None:
    """Half of 2 dB ± 0.15·2 dB, read to √2·0.05 and 0.4 dB: √((0.406/0.5)² + (0.3·2)²) = 1.010 dB."""
    edges = InQuestion(Cause.EDGE_DIFFRACTION, 0.5, 2.0, 1.0)
    assert felt_u_db(asked(scene(), edges), edges) == pytest.approx(1.0099, abs=1e-3)
    assert told_part(1.0 / 1.0099**2) == pytest.approx(0.49 / (0.49 + 1.02), abs=3e-3)


def test_what_is_sure_or_ruled_out_is_in_no_question() -> None:
    said = causes((Cause.SPACED_SOURCES, 0.97), (Cause.RESONANCE, 0.4), (Cause.VOICING, 0.05))
    (one,) = in_question(said)
    assert one.cause is Cause.RESONANCE
    assert one.counts_db == pytest.approx(0.5 * 3.0 * 0.97)
    assert in_question(FeatureCauses((CauseSaid(Cause.VOICING, 0.02, None),), 0.0)) == ()
