"""Each module of causes on a scene whose cause is known by a closed form or a general library's filters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evaluation.physics import make
from evaluation.population import draw
from scenes_made import (
    FLAT,
    FREQUENCY,
    GATE_S,
    OMEGA,
    SILENT,
    SPEED,
    Complexes,
    biquad,
    scene,
    straight,
    ways,
)

from earwitness.findings.causes import (
    artefact,
    crossover_misalignment,
    driver_directivity,
    edge_diffraction,
    resonance,
    spaced_sources,
    voicing,
)
from earwitness.findings.causes.form import Judged, parameter
from earwitness.findings.causes.judge import causes_of, judged, margins
from earwitness.findings.causes.scene import Geometry
from earwitness.findings.features import find_features
from earwitness.records.causes import OF_RESPONSE, Cause
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import Direction, Orbit


def feature(frequency_hz: float, sign: int, *places: tuple[Orbit, float]) -> Feature:
    where = tuple(
        FeaturePlace(Direction(orbit, angle).shared, frequency_hz, 3.0 * sign, 0.3, 1.0, 0.1, 3.0 * sign)
        for orbit, angle in places
    )
    kind = "peak" if sign > 0 else "dip"
    return Feature(kind, frequency_hz, 1.0, 3.0 * sign, 0.1, 3.0, None, where)  # type: ignore[arg-type]


def test_two_apart_dip_where_their_ways_differ_by_half_a_wave() -> None:
    """0.36 m apart at 2750 Hz: the null lies at sin θ = λ/2d, 10.0° (closed form); nothing to the side."""
    radius = 0.3
    elevation = float(np.arcsin(0.18 / radius))
    alike = Geometry("ball", (-elevation, elevation), (0.011, 0.011), (radius,))
    found = scene(FLAT, FLAT, alike)
    frequency = SPEED / (2.0 * 0.36 * np.sin(np.radians(10.0)))
    dip = spaced_sources.judge(found, feature(frequency, -1, (Orbit.VERTICAL, 10.0), (Orbit.VERTICAL, -10.0)))
    assert dip.effect_db > 15.0
    assert dip.parameters[0].value == pytest.approx(0.36, rel=1e-6)
    aside = spaced_sources.judge(found, feature(frequency, -1, (Orbit.HORIZONTAL, 10.0)))
    assert aside.effect_db == pytest.approx(0.0, abs=0.01)


def test_a_disc_beams_by_its_size() -> None:
    """x = ka sin 30° = 2.2150894 takes 6.0206 dB (Kinsler); on axis nothing."""
    frequency = float(FREQUENCY[np.argmin(np.abs(FREQUENCY - 4836.0))])
    radius = 2.2150894 * SPEED / (2.0 * np.pi * frequency * 0.5)
    found = scene(FLAT, SILENT, Geometry("ball", (0.0, 0.0), (radius, 0.01), (0.15,)))
    aside = driver_directivity.judge(found, feature(frequency, -1, (Orbit.HORIZONTAL, 30.0)))
    assert aside.effect_db == pytest.approx(6.0206, abs=1e-3)
    ahead = driver_directivity.judge(found, feature(frequency, -1, (Orbit.HORIZONTAL, 0.0)))
    assert ahead.effect_db == pytest.approx(0.0, abs=1e-6)


def test_edges_lift_where_their_way_is_half_a_wave() -> None:
    """Edges 0.1 m away add at c/2L = 1715 Hz and take at c/L = 3430 Hz, on axis; a ball has none."""
    box = Geometry("box", (0.0, 0.0), (0.01, 0.01), (0.1, 0.1, 0.1))
    found = scene(FLAT, SILENT, box)
    axis = (Orbit.HORIZONTAL, 0.0)
    assert edge_diffraction.judge(found, feature(1550.0, 1, axis)).effect_db > 1.5
    assert edge_diffraction.judge(found, feature(3000.0, -1, axis)).effect_db > 1.5
    assert edge_diffraction.judge(scene(FLAT, SILENT), feature(1550.0, 1, axis)).effect_db == 0.0


def test_what_edges_do_is_told_by_what_was_heard() -> None:
    """One direction holds 1 dB more than the scene has: so much more edges do there, and there alone."""
    found = scene(FLAT, SILENT, Geometry("box", (0.0, 0.0), (0.01, 0.01), (0.1, 0.1, 0.1)))
    peak, aside = feature(1550.0, 1, (Orbit.HORIZONTAL, 0.0)), feature(1550.0, 1, (Orbit.HORIZONTAL, 20.0))
    heard = found.heard.pressure.copy()
    heard[found.heard.directions.index(peak.places[0].direction.shared)] *= 10.0 ** (1.0 / 20.0)
    louder = replace(found, heard=replace(found.heard, pressure=heard))
    for place, more_db in ((peak, 1.0), (aside, 0.0)):
        one, other = (edge_diffraction.judge(each, place).effect_db for each in (louder, found))
        assert one - other == pytest.approx(more_db, abs=1e-9)


@pytest.mark.parametrize(("centre", "gain", "q"), [(1500.0, 6.0, 8.0), (2600.0, 4.0, 6.0)])
def test_a_resonance_is_found_in_its_driver(centre: float, gain: float, q: float) -> None:
    found = resonance.ringings(scene(biquad(centre, gain, q), SILENT), 0.1)
    assert found[0].driver == 0
    assert found[0].frequency_hz == pytest.approx(centre, rel=0.005)
    assert found[0].q == pytest.approx(q, rel=0.05)
    told = resonance.judge(
        scene(biquad(centre, gain, q), SILENT), feature(centre, 1, (Orbit.VERTICAL, 20.0)), found
    )
    assert told.effect_db == pytest.approx(gain, abs=0.4)


def test_a_level_without_its_phase_is_no_resonance() -> None:
    """The same level with its phase turned the other way round: no pole of a thing that rings after."""
    assert resonance.ringings(scene(biquad(1500.0, 6.0, 8.0).conj(), SILENT), 0.1) == []
    assert resonance.ringings(scene(np.abs(biquad(1500.0, 6.0, 8.0)) + 0j, SILENT), 0.1) == []
    assert resonance.ringings(scene(FLAT, SILENT), 0.1) == []


def test_a_comb_is_no_resonance() -> None:
    """1 + a·e^(−jωτ) is of minimum phase too, and has no pole."""
    assert resonance.ringings(scene(FLAT + 0.3 * np.exp(-1j * OMEGA * 0.5e-3), SILENT), 0.1) == []


@pytest.mark.parametrize("late_s", [120e-6, -120e-6])
def test_a_delay_between_ways(late_s: float) -> None:
    """Within the 0.3 rad that the assumptions leave open: 24 µs at 2 kHz."""
    lower, upper = ways()
    found = crossover_misalignment.step(scene(lower, upper * np.exp(-1j * OMEGA * late_s)))
    assert found is not None
    assert not found.turned
    assert found.late_s == pytest.approx(late_s, abs=24e-6)


def test_a_delay_is_taken_back_and_not_doubled() -> None:
    """Half a period late at the crossover, 250 µs at 2 kHz, less what the tweeter leads: a null, undone."""
    lower, upper = ways()
    late = scene(lower, upper * np.exp(-1j * OMEGA * 200e-6))
    axis = feature(2000.0, -1, (Orbit.HORIZONTAL, 0.0))
    found = crossover_misalignment.step(late)
    at = int(np.argmin(np.abs(FREQUENCY - 2000.0)))
    lost = abs(lower[at] + upper[at]) / abs(lower[at] + upper[at] * np.exp(-1j * OMEGA[at] * 200e-6))
    told = crossover_misalignment.judge(late, axis, found)
    assert told.effect_db == pytest.approx(20.0 * np.log10(lost), abs=1.0)


def test_a_way_turned_over() -> None:
    lower, upper = ways()
    found = crossover_misalignment.step(scene(lower, -upper))
    assert found is not None
    assert found.turned
    assert abs(found.late_s) < 24e-6
    axis = feature(2000.0, -1, (Orbit.HORIZONTAL, 0.0))
    assert crossover_misalignment.judge(scene(lower, -upper), axis, found).effect_db > 6.0


def test_ways_in_step_are_in_step() -> None:
    lower, upper = ways()
    found = crossover_misalignment.step(scene(lower, upper))
    assert found is not None
    assert not found.turned
    assert abs(found.late_s) < 12e-6


AXIS = (Orbit.HORIZONTAL, 0.0)


def voiced(lower: Complexes, upper: Complexes, frequency_hz: float, sign: int) -> Judged:
    found = straight(lower, upper)
    return voicing.judge(found, feature(frequency_hz, sign, AXIS), voicing.shape(found, (), GATE_S))


@pytest.mark.parametrize("gain", [4.0, -4.0])
def test_a_broad_bell_in_both_ways_is_a_shape(gain: float) -> None:
    """4 dB, Q 0.7, at 4 kHz; what plain loudspeakers have there, up to 0.8 dB, is left open."""
    lower, upper = ways()
    bell = biquad(4000.0, gain, 0.7)
    told = voiced(lower * bell, upper * bell, 4000.0, int(np.sign(gain)))
    assert told.effect_db == pytest.approx(abs(gain), abs=1.2)
    assert told.evidence == ("all directions share it: a broad hump or hollow",)


@pytest.mark.parametrize("step_db", [4.0, -4.0])
def test_a_driver_too_loud_is_reckoned_from_the_lower_one(step_db: float) -> None:
    """10^(4/20) times the tweeter: 4 dB far above the crossover at 2 kHz, nothing far below."""
    lower, upper = ways()
    louder = upper * 10.0 ** (step_db / 20.0)
    sign = int(np.sign(step_db))
    told = voiced(lower, louder, 8000.0, sign)
    assert told.effect_db == pytest.approx(4.0, abs=1.0)
    assert told.evidence == ("one drive unit is louder or softer than the other throughout",)
    assert voiced(lower, louder, 700.0, sign).effect_db == pytest.approx(0.0, abs=0.4)


def test_a_plain_pair_has_no_shape() -> None:
    """What these ideal ways lack of a plain loudspeaker's falling is no fault."""
    for frequency_hz in (700.0, 2000.0, 5000.0, 12_000.0):
        assert abs(voiced(*ways(), frequency_hz, 1).effect_db) < voicing.LEAST_DB


def test_what_rings_is_no_shape() -> None:
    """A resonance of one driver is taken out before shapes are weighed."""
    lower, upper = ways()
    rings = straight(lower * biquad(900.0, 8.0, 6.0), upper)
    found = resonance.ringings(rings, 0.1)
    assert found
    told = voicing.judge(rings, feature(900.0, 1, AXIS), voicing.shape(rings, found, 0.1))
    assert told.effect_db < voicing.LEAST_DB


@pytest.mark.parametrize(("part", "delay_s"), [(0.3, 3.0e-3), (-0.25, 1.7e-3)])
def test_a_reflection_left_in_the_gate(part: float, delay_s: float) -> None:
    copy = FLAT + part * np.exp(-1j * OMEGA * delay_s)
    found = artefact.reflection(scene(copy, SILENT), GATE_S)
    assert found is not None
    assert found.delay_s == pytest.approx(delay_s, rel=0.005)
    assert found.part == pytest.approx(part, abs=0.05)
    peak_hz = round(4000.0 * delay_s) / delay_s - (0.0 if part > 0.0 else 0.5 / delay_s)
    told = artefact.judge(scene(copy, SILENT), feature(peak_hz, 1, (Orbit.HORIZONTAL, 30.0)), found)
    assert told.effect_db == pytest.approx(20.0 * np.log10(1.0 + abs(part)), abs=0.4)


def test_nothing_comes_late_where_nothing_does() -> None:
    lower, upper = ways()
    assert artefact.reflection(scene(lower, upper), GATE_S) is None
    assert artefact.reflection(scene(biquad(1500.0, 6.0, 8.0), SILENT), GATE_S) is None


def test_margins_by_hand() -> None:
    """Least is 1 dB, or half of the largest; held within 3 dB."""
    assert margins([0.4, 1.5]) == pytest.approx([-0.6, 0.5])
    assert margins([10.0, 4.0, 0.0]) == pytest.approx([3.0, -1.0, -3.0])


def test_every_cause_has_its_say() -> None:
    """A module that is missing leaves its cause to the prior."""
    lower, upper = ways()
    (told,) = judged(scene(lower, upper), GATE_S, [feature(2000.0, -1, (Orbit.VERTICAL, 20.0))])
    fitted = {each.cause for each in told.said if each.effect_db is not None}
    assert fitted == set(OF_RESPONSE)
    assert [each.probability for each in told.said] == sorted(
        (each.probability for each in told.said), reverse=True
    )
    assert told.runner_up is told.said[1]


@pytest.mark.slow
def test_a_cone_that_bends_in_a_ball() -> None:
    """Seed 20 001: mode at 1398.3 Hz, Q 18.3, drivers 0.0896 m apart (the workshop's own physics)."""
    made = make(draw(20_001))
    features = find_features(made.responses)
    told = causes_of(made.responses, features, made.drawn.scenario.air.speed)
    said = [
        each for one in told for each in one.said if each.cause is Cause.RESONANCE and each.probability > 0.5
    ]
    assert said
    fitted = {p.name: p.value for p in said[0].parameters}
    assert fitted["frequency_hz"] == pytest.approx(1398.3, rel=0.01)
    assert fitted["q"] == pytest.approx(18.3, rel=0.15)
    spaced = told[0].of(Cause.SPACED_SOURCES)
    assert spaced is not None
    assert spaced.parameters[0].value == pytest.approx(0.0896, rel=0.05)


@pytest.mark.slow
def test_without_phase_nothing_is_told() -> None:
    made = make(draw(40_002))
    assert not made.drawn.has_phase
    features = find_features(made.responses)
    told = causes_of(made.responses, features, SPEED)
    assert features
    assert {one.cannot_tell for one in told} == {1.0}


def test_an_interval_is_no_narrower_than_what_such_fits_err_by() -> None:
    """4.6 % of a spacing and a fit's own millimetre, in quadrature; a name without a model keeps its own."""
    wide = parameter("spacing_m", 0.1, 0.001)
    assert (wide.high - wide.low) / (2.0 * 1.96) == pytest.approx(np.hypot(0.0046, 0.001))
    late = parameter("late_s", 1e-4, 2e-5)
    assert (late.high - late.low) / (2.0 * 1.96) == pytest.approx(2e-5)
