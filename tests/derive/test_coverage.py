"""Coverage against angles in closed form."""

from __future__ import annotations

import closed_forms
import numpy as np
import pytest
from scipy.special import j1

from earwitness.derive.coverage import EDGE_DB, crossings_deg
from earwitness.derive.coverage_figures import NAMES
from earwitness.derive.coverage_words import coverage_sentence
from earwitness.derive.curves import EVERY
from earwitness.derive.derivation import derive
from earwitness.records.curves import CoverageMap
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Plateaus
from earwitness.records.grid import Floats
from earwitness.records.takes import Direction, Orbit

FACTS = CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(level_db=0.2, angle_deg=1.0))
GRID = closed_forms.GRID


def coverage_of(
    pattern: closed_forms.Pattern, directions: tuple[Direction, ...] | None = None, **options: float
) -> tuple[dict[str, CoverageMap], dict[FigureName, Figure]]:
    result = derive(closed_forms.responses(pattern, directions, **options), FACTS)  # type: ignore[arg-type]
    return dict(result.curves.coverage), {f.name: f for f in result.figures}


def test_edge_is_six_decibels() -> None:
    assert EDGE_DB == -6.0


#: −6.0206 dB angles of a piston in a baffle by ka (Kinsler, Beranek; computed), degrees.
PISTON = {3.0: 47.592, 5.0: 26.297, 10.0: 12.798}


def test_piston_in_a_baffle() -> None:
    """2·J1(x)/x, x = ka·sin θ, is half at x = 2.2150894.

    The edge here is −6.000 dB, nearer by 0.0206 dB over the slope there: under 0.05°. Directions 1° apart,
    since the method runs straight in dB between them.
    """
    angle = np.arange(-90.0, 91.0)
    x = np.sin(np.deg2rad(np.abs(angle)))[:, None] * np.array(list(PISTON)) + 1e-9
    level = 20 * np.log10(np.abs(2 * j1(x) / x))
    for side in crossings_deg(angle, level, np.ones_like(level, dtype=np.bool_)):
        np.testing.assert_allclose(side, list(PISTON.values()), atol=0.1)


#: Two equal sources 0.36 m apart: sin θ = λ/3d at −6.02 dB (closed form), degrees.
PAIR = {500.0: 39.4612, 1000.0: 18.5286, 1500.0: 12.2309, 2000.0: 9.1424, 3000.0: 6.0805}


@pytest.fixture(scope="module")
def pair_charts() -> dict[str, CoverageMap]:
    return coverage_of(closed_forms.pair(0.36, 1), closed_forms.orbits(2))[0]


@pytest.mark.parametrize(("hz", "angle_deg"), PAIR.items())
def test_pair_on_its_own_orbit(pair_charts: dict[str, CoverageMap], hz: float, angle_deg: float) -> None:
    charts = pair_charts
    at = int(np.argmin(np.abs(GRID - hz)))
    # Levels that run straight in dB between directions 2° apart move the edge by up to 0.14°.
    nearest = angle_deg * hz / GRID[at]
    assert charts["horizontal"].positive_deg[at] == pytest.approx(nearest, abs=0.15)
    assert np.isnan(charts["vertical"].positive_deg[at])


def test_steps_of_ten_degrees_find_a_smooth_edge_within_a_degree() -> None:
    # Cardioid: 40·lg(cos(θ/2)) = −6 dB at 2·acos(10^(−6/40)) = 89.87°.
    exact = 2 * np.rad2deg(np.arccos(10 ** (-6 / 40)))
    charts, figures = coverage_of(closed_forms.cardioid)
    for chart in charts.values():
        known = np.isfinite(chart.positive_deg)
        np.testing.assert_allclose(chart.positive_deg[known], exact, atol=0.2)
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)
    assert len(value.clauses) == 1
    assert value.clauses[0].positive_deg == pytest.approx(exact, abs=0.2)


def test_sides_that_differ_are_given_apart() -> None:
    def aimed_left(n: Floats, frequency_hz: Floats) -> Floats:
        turn = np.deg2rad(20.0)
        x = n[:, 0] * np.cos(turn) + n[:, 1] * np.sin(turn)
        return np.broadcast_to((((1 + x) / 2) ** 2)[:, None], (len(n), len(frequency_hz)))

    _, figures = coverage_of(aimed_left)
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)
    clause = value.clauses[0]
    # Against the level on axis, 40·lg(cos(10°)) below that of the main lobe.
    half = 2 * np.rad2deg(np.arccos(10 ** (-6 / 40) * np.cos(np.deg2rad(10.0))))
    assert clause.positive_deg == pytest.approx(half + 20.0, abs=0.3)
    assert clause.negative_deg == pytest.approx(half - 20.0, abs=0.3)


def test_swapped_directions_move_the_edge() -> None:
    angle = np.arange(-170.0, 181.0, 10.0)
    level = np.repeat(-6.0 * (angle / 60.0)[:, None] ** 2, 3, axis=1)
    valid = np.ones_like(level, dtype=np.bool_)
    plain, _ = crossings_deg(angle, level, valid)
    np.testing.assert_allclose(plain, 60.0, atol=1e-9)
    level[[20, 25]] = level[[25, 20]]
    swapped, other_side = crossings_deg(angle, level, valid)
    assert (np.abs(swapped - 60.0) > 5.0).all()
    np.testing.assert_allclose(other_side, 60.0, atol=1e-9)


def test_the_main_lobe_may_lie_beside_the_axis() -> None:
    angle = np.arange(-170.0, 181.0, 10.0)
    level = np.full((len(angle), 1), -20.0)
    shown = {-10.0: -8.0, 0.0: 0.0, 10.0: -7.0, 20.0: 3.0, 30.0: 0.0, 40.0: -12.0}
    for a, db in shown.items():
        level[angle == a] = db
    positive, negative = crossings_deg(angle, level, np.ones_like(level, dtype=np.bool_))
    assert positive[0] == pytest.approx(35.0)
    assert negative[0] == pytest.approx(7.5)


def test_a_gap_hides_what_lies_beyond_it() -> None:
    angle = np.array([-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 60.0, 70.0])
    level = np.repeat(-6.0 * (angle / 50.0)[:, None] ** 2, 2, axis=1)
    positive, negative = crossings_deg(angle, level, np.ones_like(level, dtype=np.bool_))
    assert np.isnan(positive).all()
    assert np.isnan(negative).all()


def test_an_invalid_direction_hides_what_lies_beyond_it() -> None:
    angle = np.arange(-170.0, 181.0, 10.0)
    level = np.repeat(-6.0 * (angle / 65.0)[:, None] ** 2, 2, axis=1)
    valid = np.ones_like(level, dtype=np.bool_)
    valid[angle == 40.0, 0] = False
    level[angle == 40.0, 0] = np.nan
    positive, _ = crossings_deg(angle, level, valid)
    assert np.isnan(positive[0])
    # Straight in dB between 60° (−5.11 dB) and 70° (−6.96 dB).
    assert positive[1] == pytest.approx(64.8, abs=0.05)


def test_never_is_not_the_same_as_not_known() -> None:
    angle = np.arange(-170.0, 181.0, 10.0)
    flat = np.zeros((len(angle), 1))
    everywhere = np.ones_like(flat, dtype=np.bool_)
    assert np.isposinf(crossings_deg(angle, flat, everywhere)).all()
    front = np.abs(angle) <= 90.0
    assert np.isnan(crossings_deg(angle[front], flat[front], everywhere[front])).all()


@pytest.mark.parametrize("cycles_per_octave", [0.5, 1.0, 2.0, 3.0, 6.0])
def test_half_a_decibel_of_ripple_on_axis_adds_no_plateau(cycles_per_octave: float) -> None:
    ripple = 0.5 * np.sin(2 * np.pi * cycles_per_octave * np.log2(GRID / 1000.0))

    def rippled(n: Floats, frequency_hz: Floats) -> Floats:
        on_axis = (n[:, 0] > 1 - 1e-9)[:, None]
        return np.where(on_axis, 10 ** (0.1 * ripple), closed_forms.cardioid(n, frequency_hz))

    alone = closed_forms.responses(rippled)
    shared = closed_forms.responses(closed_forms.cardioid, on_axis_db=86.0 + ripple)
    for responses in (alone, shared):
        for figure in derive(responses, FACTS).figures[8:10]:
            assert isinstance(figure.value, Plateaus)
            assert len(figure.value.clauses) == 1


def test_nothing_is_said_past_validity() -> None:
    _, figures = coverage_of(closed_forms.cardioid, valid_from_hz=700.0)
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)
    # The third octave about the lowest frequency must be valid too.
    assert value.clauses[0].from_hz > 700.0 * 10 ** (0.3 / 6) * 0.99
    band = figures[FigureName.COVERAGE_HORIZONTAL].valid_band_hz
    assert band == (value.clauses[0].from_hz, value.clauses[-1].to_hz)


def test_too_few_valid_frequencies() -> None:
    _, figures = coverage_of(closed_forms.cardioid, valid_from_hz=11_000.0)
    value = figures[FigureName.COVERAGE_VERTICAL].value
    assert isinstance(value, NotAvailable)
    # Half a third of an octave above.
    assert value.valid_from_hz == pytest.approx(11_000.0 * 10 ** (0.3 / 6), rel=0.02)


def test_one_sided_orbits_are_not_summed_up() -> None:
    left = tuple(d for d in closed_forms.orbits() if d.orbit is Orbit.HORIZONTAL and d.angle_deg >= 0)
    charts, figures = coverage_of(closed_forms.cardioid, left)
    at = len(GRID) // 2
    assert charts["horizontal"].positive_deg[at] == pytest.approx(89.87, abs=0.2)
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, NotAvailable)
    assert "horizontal −10°" in value.missing


def test_uncertainty_of_an_edge() -> None:
    """Each direction's angle is off by 1°, so the edge is, too; the shared level cancels."""
    charts, figures = coverage_of(closed_forms.cardioid)
    spread = charts["horizontal"].positive_uncertainty_deg
    known = np.isfinite(spread)
    # Near 90° the edge rests on the take at 90° alone; on axis the slope is zero. 6 % known from 128 draws.
    assert np.median(spread[known]) == pytest.approx(1.0, rel=0.2)
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)
    # Two sides with independent errors, averaged: 1/√2.
    assert value.clauses[0].positive_uncertainty_deg == pytest.approx(1 / np.sqrt(2), rel=0.2)


def edged(half_angle_deg: Floats) -> closed_forms.Pattern:
    """p² = ((1 + x)/2)^m, whose −6 dB edge lies where it should at each frequency: m = −0.3/lg cos(θ/2)."""
    order = -0.3 / np.log10(np.cos(np.deg2rad(half_angle_deg) / 2))

    def pattern(n: Floats, frequency_hz: Floats) -> Floats:
        del frequency_hz
        return np.asarray(((1 + n[:, :1]) / 2) ** order)

    return pattern


def test_the_least_angle_is_the_least_of_the_curve_and_not_of_the_means() -> None:
    """A dip from 90° to 83° over a third of an octave at 3.1 kHz, which isn't enough for a clause."""
    octaves = np.log2(GRID / 3100.0)
    _, figures = coverage_of(edged(90.0 - 7.0 * (np.abs(octaves) < 1 / 6)))
    figure = figures[FigureName.COVERAGE_HORIZONTAL]
    assert isinstance(figure.value, Plateaus)
    # Smoothed over a third of an octave the dip is all there at its middle alone.
    assert figure.also["narrowest"] == pytest.approx(83.0, abs=0.4)
    assert figure.also["narrowest at"] == pytest.approx(3100.0, rel=0.02)
    assert figure.also["narrowest about the unsmoothed response"] == pytest.approx(83.0, abs=0.2)
    (clause,) = figure.value.clauses
    assert clause.positive_deg == pytest.approx(90.0, abs=0.8)
    assert clause.least_deg == figure.also["narrowest"]
    assert " to each side (narrowest 83°) from " in str(coverage_sentence(figure))


def nulled(on_axis_db: float, octaves: float) -> closed_forms.Pattern:
    """Even but on axis, where it is so much less for so many octaves about 2 kHz, and behind: 20 dB less."""

    def pattern(n: Floats, frequency_hz: Floats) -> Floats:
        axis = (n[:, 0] > np.cos(np.deg2rad(5.0)))[:, None]
        here = np.abs(np.log2(frequency_hz / 2000.0)) < octaves / 2.0
        null = np.where(axis & here, 10.0 ** (on_axis_db / 10.0), 1.0)
        return np.where((n[:, 0] < -0.95)[:, None], 0.01, null)

    return pattern


def test_an_angle_about_a_null_on_axis_is_no_coverage() -> None:
    """8 dB less on axis: only the rear falls 6 dB below that, which says nothing of how far it reaches."""
    _, figures = coverage_of(nulled(-8.0, 12.0))
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, NotAvailable)
    assert value.reason == "the axis lies in a null: beside it, it is louder by more than the fall looked for"


def test_a_hollow_on_axis_is_none() -> None:
    """4 dB less: the edge is where the level is 6 dB below the axis still."""
    value = coverage_of(nulled(-4.0, 12.0))[1][FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)


def test_beside_the_band_of_a_null_coverage_is_told() -> None:
    """An octave about 2 kHz is left out: what remains above it is the longest stretch, from 2.8 kHz."""
    charts, figures = coverage_of(nulled(-12.0, 1.0))
    value = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(value, Plateaus)
    # smoothed by 1/3 octave, the null reaches no further than a sixth beyond its edges
    assert 2000.0 * 2.0 ** (1 / 3) < value.clauses[0].from_hz < 2000.0 * 2.0 ** (0.5 + 1 / 6 + 1 / 12)
    middle = int(np.argmin(np.abs(GRID - 2000.0)))
    assert np.isnan(charts["horizontal"].positive_deg[middle])


def test_all_round_is_said_only_where_no_sample_crosses() -> None:
    """A rear that is 9 dB down over a third of the band, and open in the rest."""
    closed = np.abs((np.log2(GRID / 300.0) % 1.0) - 0.5) < 0.2

    def pattern(n: Floats, frequency_hz: Floats) -> Floats:
        del frequency_hz
        behind = (n[:, 0] < -0.9)[:, None]
        return np.where(behind & closed, 10**-0.9, 1.0)

    charts, figures = coverage_of(pattern)
    for orbit in Orbit:
        value = figures[NAMES[orbit]].value
        assert isinstance(value, Plateaus)
        for clause in value.clauses:
            inside = (clause.from_hz <= GRID) & (clause.to_hz >= GRID)
            crosses = np.isfinite(charts[str(orbit)].positive_deg[inside])
            assert (clause.positive_deg is None) == (not crosses[::EVERY].any())
            assert clause.least_deg is not None or not crosses.any()


def test_a_hole_that_leaves_too_little_is_named() -> None:
    plain = closed_forms.responses(closed_forms.cardioid)
    plain.valid[:, (GRID > 400.0) & (GRID < 12_000.0)] = False
    value = next(f for f in derive(plain, FACTS).figures if f.name is FigureName.COVERAGE_VERTICAL).value
    assert isinstance(value, NotAvailable)
    assert value.valid_from_hz is None
    assert value.invalid_band_hz is not None
    # Half a third of an octave on either side isn't known, as the reference is smoothed.
    assert value.invalid_band_hz[0] == pytest.approx(400.0 / 10 ** (0.3 / 6), rel=0.02)
    assert value.invalid_band_hz[1] == pytest.approx(12_000.0 * 10 ** (0.3 / 6), rel=0.02)
