"""Draws against linear propagation and against closed forms."""

from __future__ import annotations

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import Derivation, derive
from earwitness.derive.directivity import take_powers
from earwitness.derive.draws import DRAWS, UnitDraws, draw, draw_component_db
from earwitness.derive.uncertainty import level_slopes, take_errors
from earwitness.records.curves import CurveName as C
from earwitness.records.facts import CaseFacts, Rig, StatedUncertainty, Unit
from earwitness.records.figures import FigureName
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Direction, Orbit
from earwitness.records.uncertainty import ComponentName as N

#: A standard deviation of 128 draws is itself known to 1/√(2·127) = 6 %; four of these.
OF_DRAWS = 0.25


def facts(**stated: float) -> CaseFacts:
    return CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(**stated), rig=Rig(temperature_c=20.0))


def derived(
    pattern: closed_forms.Pattern, stated: CaseFacts, components: dict[N, float] | None = None
) -> Derivation:
    return derive(closed_forms.responses(pattern, components=components), stated)


def component(result: Derivation, curve: C, name: N) -> np.ndarray:
    value = result.curves.curves[curve].components_db[name]
    assert value is not None
    return np.asarray(value)


def test_what_is_not_stated_is_none_and_has_no_total() -> None:
    result = derived(closed_forms.cardioid, facts())
    on_axis = result.curves.curves[C.ON_AXIS]
    assert set(on_axis.components_db.values()) == {None}
    assert np.isnan(on_axis.uncertainty_db).all()
    assert result.figures[0].uncertainty is None
    assert result.figures[0].components[N.LEVEL] is None


def test_a_shared_error_moves_all_curves_alike_and_no_index() -> None:
    result = derived(closed_forms.cardioid, facts(level_db=0.2, microphone_db=0.3))
    for curve in (C.ON_AXIS, C.SIDE_REFLECTION, C.SOUND_POWER, C.ESTIMATED_IN_ROOM):
        np.testing.assert_allclose(component(result, curve, N.LEVEL), 0.2, rtol=1e-9)
        np.testing.assert_allclose(component(result, curve, N.MICROPHONE), 0.3, rtol=1e-9)
    np.testing.assert_allclose(component(result, C.SOUND_POWER_DI, N.LEVEL), 0.0, atol=1e-9)
    assert np.isnan(result.curves.curves[C.EARLY_REFLECTIONS_DI].uncertainty_db).all()


def test_independent_errors_shrink_with_the_number_of_takes() -> None:
    # An omni source: nine equal directions, of which 0° has two takes: √(8 + 1/2)/9.
    result = derived(closed_forms.omni, facts(repeat_db=0.5))
    np.testing.assert_allclose(
        component(result, C.LISTENING_WINDOW, N.REPEAT), 0.5 * np.sqrt(8.5) / 9, rtol=1e-6
    )
    np.testing.assert_allclose(component(result, C.ON_AXIS, N.REPEAT), 0.5 / np.sqrt(2), rtol=1e-6)
    spread = result.curves.curves[C.LISTENING_WINDOW].uncertainty_db
    # 128 draws know a spread to 6 %, and a broad error has few independent octaves to average over
    assert np.median(spread) == pytest.approx(0.5 * np.sqrt(8.5) / 9, rel=0.13)


def test_a_level_that_does_not_repeat_stays_in_a_mean_over_octaves() -> None:
    """A repeat moves a response as a whole or over an octave: over 3.3 octaves much of it is left.

    Of unit noise with correlation exp(−d²) over d octaves the mean over L octaves keeps the variance
    (2/L²)·∫(L − d)·exp(−d²) = 0.44 at L = 3.32 (computed): 0.66 of the standard uncertainty.
    """
    figure = derived(closed_forms.omni, facts(repeat_db=0.5)).figures[0]
    assert figure.components[N.REPEAT] == pytest.approx(0.66 * 0.5 / np.sqrt(2), rel=0.13)


def test_noise_and_gate_come_from_the_data() -> None:
    result = derived(closed_forms.omni, facts(), {N.NOISE: 0.4, N.GATE: 0.1})
    np.testing.assert_allclose(component(result, C.ON_AXIS, N.NOISE), 0.4 / np.sqrt(2), rtol=1e-6)
    np.testing.assert_allclose(component(result, C.SOUND_POWER, N.GATE), 0.1, rtol=1e-6)


def test_temperature_acts_through_the_distance() -> None:
    # 20·lg(1 + 1/(2·293.15)) = 0.0148 dB for 1 K at 20 °C.
    result = derived(closed_forms.omni, facts(temperature_k=1.0))
    expected = 20 * np.log10(1 + 1 / (2 * 293.15))
    np.testing.assert_allclose(component(result, C.ON_AXIS, N.TEMPERATURE), expected, rtol=2e-3)


def test_the_angle_acts_through_the_slope_of_the_orbit() -> None:
    takes = take_powers(closed_forms.responses(closed_forms.cardioid))
    slopes = level_slopes(takes)
    assert slopes is not None
    slope = slopes[0]
    angles = np.array([t.key.direction.angle_deg for t in takes.takes if t.key.direction])
    for angle in (30.0, -60.0, 90.0):
        # Slope of 40·lg(cos(θ/2)): −20·tan(θ/2)·lg(e)·π/180 dB per degree; central differences over ±10°.
        exact = -20 * np.log10(np.e) * np.tan(np.deg2rad(angle) / 2) * np.pi / 180
        rows = np.flatnonzero(angles == angle)
        assert len(rows) == 2
        np.testing.assert_allclose(slope[rows], exact, rtol=0.03)
    np.testing.assert_allclose(slope[angles == 0.0], 0.0, atol=1e-5)


def test_on_axis_the_angle_acts_through_the_bend() -> None:
    """10 % down at ±10° and flat at 0°: L'' = 2·10·lg(0.9)/100 = −0.00915 dB/°², u = |L''|·σ²/√2.

    A level that falls by L''·x²/2 for an angle x of spread σ scatters by |L''|·σ²/√2 (the variance of x² is
    2σ⁴). Nine takes out of ten have no slope here, so nothing else is left.
    """

    def lobe(n: np.ndarray, frequency_hz: np.ndarray) -> np.ndarray:
        peak = np.where(n[:, 0] > 0.999, 1.0, 0.9)
        return np.broadcast_to(peak[:, None], (len(n), len(frequency_hz)))

    found = component(derive(closed_forms.responses(lobe), facts(angle_deg=3.0)), C.ON_AXIS, N.ANGLE)
    bend = 2.0 * 10.0 * np.log10(0.9) / 100.0
    np.testing.assert_allclose(found, abs(bend) * 9.0 / np.sqrt(2.0) / np.sqrt(2.0), rtol=1e-3)


def test_a_linear_figure_s_total_is_the_root_sum_of_squares() -> None:
    """A mean level in dB is linear in its errors: nothing of the draws' chance is left in its total."""
    stated = facts(microphone_db=0.3, level_db=0.2, repeat_db=0.1)
    figure = derived(closed_forms.cardioid, stated, {N.NOISE: 0.02}).figures[0]
    squares = [part**2 for part in figure.components.values() if part is not None]
    assert figure.uncertainty == pytest.approx(np.sqrt(sum(squares)), rel=2e-3)


def test_what_a_mean_of_power_makes_of_large_errors_is_drawn() -> None:
    """Two takes of equal power, each off by 3 dB of its own: the level of their mean, by its own draws."""
    pair = (Direction(Orbit.HORIZONTAL, 0.0), Direction(Orbit.VERTICAL, 0.0))
    made = closed_forms.responses(closed_forms.omni, pair)
    found = derive(made, facts(repeat_db=3.0)).curves.curves[C.ON_AXIS]
    errors = np.random.default_rng(4).normal(0.0, 3.0, (200_000, 2))
    exact = (10.0 * np.log10(np.mean(10.0 ** (0.1 * errors), axis=1))).std()
    linear = 3.0 / np.sqrt(2.0)
    assert exact / linear > 1.02
    # the control by the same draws to first order leaves the excess, of which 128 draws know a good third
    assert np.mean(found.uncertainty_db) / linear == pytest.approx(exact / linear, abs=0.03)


def test_an_angle_without_neighbours_is_not_known() -> None:
    alone = closed_forms.responses(closed_forms.cardioid, directions=(Direction(Orbit.HORIZONTAL, 0.0),))
    result = derive(alone, facts(angle_deg=1.0))
    assert result.curves.curves[C.ON_AXIS].components_db[N.ANGLE] is None


@pytest.mark.parametrize("curve", list(C))
def test_totals_of_the_draws_against_linear_propagation(curve: C) -> None:
    stated = facts(microphone_db=0.3, level_db=0.2, angle_deg=1.0, repeat_db=0.1, temperature_k=1.0)
    result = derived(closed_forms.cardioid, stated, {N.NOISE: 0.2, N.GATE: 0.1, N.SPLICE: 0.15})
    found = result.curves.curves[curve]
    linear = np.sqrt(sum(np.square(c) for c in found.components_db.values() if c is not None))
    np.testing.assert_allclose(found.uncertainty_db, linear, rtol=OF_DRAWS)
    assert np.mean(found.uncertainty_db / linear) == pytest.approx(1.0, abs=0.06)


@pytest.mark.parametrize("name", [N.NOISE, N.MICROPHONE, N.LEVEL, N.ANGLE, N.GATE])
def test_draws_of_one_component_have_its_spread(name: N) -> None:
    responses = closed_forms.responses(closed_forms.cardioid, components={N.NOISE: 0.2, N.GATE: 0.1})
    takes = take_powers(responses)
    errors = take_errors(responses, takes, facts(microphone_db=0.3, level_db=0.2, angle_deg=2.0))
    share = np.full(takes.power.shape, 1.0 / len(takes.takes))
    draws = draw_component_db(errors, UnitDraws(errors), name, share)
    assert draws is not None
    assert draws.shape == (DRAWS, len(closed_forms.GRID))
    standard = np.asarray(errors.standard_db[name])
    shared = name in (N.MICROPHONE, N.LEVEL, N.GATE)
    expected = (share * standard).sum(axis=0) if shared else np.sqrt(((share * standard) ** 2).sum(axis=0))
    np.testing.assert_allclose(draws.std(axis=0, ddof=1), expected, rtol=OF_DRAWS)


def test_correlation_over_frequency() -> None:
    responses = closed_forms.responses(closed_forms.omni, components={N.NOISE: 0.2}, gate_s=0.005)
    takes = take_powers(responses)
    errors = take_errors(responses, takes, facts(microphone_db=0.3))
    one = np.zeros(takes.power.shape)
    one[0] = 1.0
    noise, microphone = (
        draw_component_db(errors, UnitDraws(errors), n, one) for n in (N.NOISE, N.MICROPHONE)
    )
    assert noise is not None
    assert microphone is not None

    def correlation(draws: np.ndarray, low: float, high: float) -> float:
        at = [int(np.argmin(np.abs(closed_forms.GRID - f))) for f in (low, high)]
        return float(np.corrcoef(draws[:, at[0]], draws[:, at[1]])[0, 1])

    # Width 1/T = 200 Hz: alike within a tenth of it, unrelated beyond twice of it (one standard error: 0.09).
    assert correlation(noise, 2000.0, 2020.0) > 0.9
    assert abs(correlation(noise, 2000.0, 2600.0)) < 0.36
    assert correlation(microphone, 2000.0, 2020.0) > 0.99
    assert correlation(microphone, 1000.0, 2000.0) == pytest.approx(np.exp(-1.0), abs=0.3)
    assert abs(correlation(microphone, 500.0, 4000.0)) < 0.36


def test_draws_are_the_same_each_time_and_for_each_take_apart() -> None:
    responses = closed_forms.responses(closed_forms.omni, components={N.NOISE: 0.2})
    takes = take_powers(responses)
    errors = take_errors(responses, takes, facts())
    weights = np.eye(2, len(takes.takes))
    first, second = (draw(errors, UnitDraws(errors), takes.power, weights, 8) for _ in range(2))
    np.testing.assert_array_equal(first.power, second.power)
    assert np.corrcoef(first.power[:, 0, 60], first.power[:, 1, 60])[0, 1] == pytest.approx(0.0, abs=0.36)


def test_a_response_without_a_gate_is_drawn_point_by_point() -> None:
    responses = closed_forms.responses(closed_forms.omni, components={N.NOISE: 0.2}, gate_s=0.0)
    result = derive(responses, facts())
    spread = result.curves.curves[C.ON_AXIS].uncertainty_db
    assert np.median(spread) == pytest.approx(0.2 / np.sqrt(2), rel=0.03)


def given_as_text(unknown: slice = slice(None)) -> Responses:
    """Responses of which the reduction couldn't tell noise, gate and splice: NaN at valid points."""
    plain = closed_forms.responses(
        closed_forms.cardioid, components={N.NOISE: 0.2, N.GATE: 0.1, N.SPLICE: 0.3}, gate_s=0.0
    )
    for spread in plain.components.values():
        spread[unknown] = np.nan
    return plain


def test_what_cannot_be_told_from_the_data_is_not_known() -> None:
    result = derive(given_as_text(), facts())
    for curve in result.curves.curves.values():
        assert set(curve.components_db) - {N.SAMPLING} >= {N.NOISE, N.GATE, N.SPLICE}
        for name in (N.NOISE, N.GATE, N.SPLICE):
            assert curve.components_db[name] is None
    assert np.isnan(result.curves.curves[C.ON_AXIS].uncertainty_db).all()
    on_axis = {FigureName.SENSITIVITY, FigureName.TOLERANCE_ON_AXIS, FigureName.TOLERANCE_LISTENING_WINDOW}
    for figure in result.figures:
        if figure.name in on_axis:
            assert figure.uncertainty is None
            assert set(figure.components.values()) == {None}


def test_what_is_known_of_some_takes_alone_is_known_of_no_curve_that_rests_on_others() -> None:
    # The rows of the vertical orbit come last.
    curves = derive(given_as_text(slice(36, None)), facts()).curves.curves
    assert curves[C.SIDE_REFLECTION].components_db[N.NOISE] is not None
    np.testing.assert_allclose(np.asarray(curves[C.SIDE_REFLECTION].components_db[N.GATE]), 0.1, rtol=1e-6)
    assert curves[C.LISTENING_WINDOW].components_db[N.NOISE] is None
    assert curves[C.ON_AXIS].components_db[N.GATE] is None


def test_a_level_that_cancels_is_no_uncertainty() -> None:
    result = derived(closed_forms.cardioid, facts(level_db=0.2))
    found = {f.name: f for f in result.figures}
    assert found[FigureName.SENSITIVITY].uncertainty == pytest.approx(0.2, rel=1e-3)
    for name in (FigureName.TOLERANCE_ON_AXIS, FigureName.TOLERANCE_LISTENING_WINDOW):
        assert found[name].uncertainty is None
        assert found[name].components[N.LEVEL] == 0.0
    assert np.isnan(result.curves.curves[C.EARLY_REFLECTIONS_DI].uncertainty_db).all()


def test_a_cut_tail_alternates_over_frequency_and_is_alike_in_all_takes() -> None:
    """Gate of 5 ms: unrelated 600 Hz apart, and so it doesn't cancel in a tolerance about a mean."""
    responses = closed_forms.responses(closed_forms.omni, components={N.GATE: 0.5}, gate_s=0.005)
    takes = take_powers(responses)
    errors = take_errors(responses, takes, facts())
    drawn = draw(errors, UnitDraws(errors), takes.power, np.eye(2, len(takes.takes)), 1).error_db
    np.testing.assert_allclose(drawn[:, 0], drawn[:, 40], atol=1e-6)
    at = [int(np.argmin(np.abs(closed_forms.GRID - f))) for f in (2000.0, 2020.0, 2600.0)]
    correlation = np.asarray(np.corrcoef(drawn[:, 0, at].T))
    assert correlation[0, 1] > 0.9
    assert abs(correlation[0, 2]) < 0.36
    # Both signs: half of the draws lie above zero (128 of them: one standard error is 4 %).
    assert np.mean(drawn[:, 0, at[0]] > 0) == pytest.approx(0.5, abs=0.16)
    found = {f.name: f for f in derive(responses, facts()).figures}
    tolerance = found[FigureName.TOLERANCE_ON_AXIS].components[N.GATE]
    assert tolerance is not None
    assert tolerance > 0.1
    smoothness = found[FigureName.IN_ROOM_SMOOTHNESS].components[N.GATE]
    assert smoothness is not None
    assert smoothness > 0.01


@pytest.mark.parametrize("origin", [Origin.NEAR_FIELD, Origin.BLENDED])
def test_noise_of_a_common_near_field_take_does_not_average_out(origin: Origin) -> None:
    plain = closed_forms.responses(closed_forms.omni, components={N.NOISE: 0.4})
    low = closed_forms.GRID < 200.0
    plain.origin[:, low] = origin
    curves = derive(plain, facts()).curves.curves
    power = curves[C.SOUND_POWER]
    noise = np.asarray(power.components_db[N.NOISE])
    np.testing.assert_allclose(noise[low], 0.4, rtol=1e-6)
    # 72 takes with unequal shares: a good eighth of one above, where they are independent.
    assert (noise[~low] < 0.4 / 7).all()
    np.testing.assert_allclose(power.uncertainty_db[low], 0.4, rtol=0.01)
    assert (power.uncertainty_db[~low] < 0.4 / 5).all()
    np.testing.assert_allclose(
        np.asarray(curves[C.SOUND_POWER_DI].components_db[N.NOISE])[low], 0.0, atol=1e-9
    )


def test_interpolation_is_there_only_where_a_take_is_one() -> None:
    plain = derive(closed_forms.responses(closed_forms.omni, components={N.NOISE: 0.2}), facts())
    assert all(N.INTERPOLATION not in c.components_db for c in plain.curves.curves.values())
    assert all(N.INTERPOLATION not in figure.components for figure in plain.figures)


def test_interpolation_adds_in_squares_over_directions() -> None:
    made = closed_forms.responses(closed_forms.omni, components={N.INTERPOLATION: 0.3}, gate_s=0.0)
    on_axis = [i for i, t in enumerate(made.takes) if t.key.direction and t.key.direction.angle_deg == 0.0]
    made.components[N.INTERPOLATION][on_axis] = 0.0
    curves = derive(made, facts()).curves.curves
    # eight directions off the axis with 0.3 dB each and one, measured, with none: 0.3·√8/9
    window = curves[C.LISTENING_WINDOW].components_db[N.INTERPOLATION]
    assert window is not None
    np.testing.assert_allclose(window, 0.3 * np.sqrt(8.0) / 9.0)
    np.testing.assert_allclose(curves[C.LISTENING_WINDOW].uncertainty_db, window, rtol=OF_DRAWS)
    on = curves[C.ON_AXIS].components_db[N.INTERPOLATION]
    assert on is not None
    assert not on.any()
