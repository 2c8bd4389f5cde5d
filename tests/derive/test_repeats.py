"""Repeats and meeting orbits that contradict each other are said, not averaged in silence."""

from __future__ import annotations

import dataclasses

import closed_forms
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import t as student

from earwitness.acoustics.pooling import independent_values
from earwitness.derive.derivation import derive
from earwitness.derive.directivity import take_powers
from earwitness.derive.orbit_figures import AGREEMENT_WARNING_DB
from earwitness.derive.repeats import Repeatability, repeatability
from earwitness.derive.uncertainty import take_errors
from earwitness.methods.student import student_factor
from earwitness.records.curves import CurveName as C
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import ON_AXIS, Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName as N

DRIVE = Drive(2.83, "V")
UP = Direction(Orbit.VERTICAL, 0.0)


def on_axis_takes(levels_db: tuple[float, ...], vertical_db: float | None = None) -> Responses:
    """Repeats on the horizontal orbit at 0°, and one take of the vertical orbit there."""
    directions = [ON_AXIS] * len(levels_db) + ([] if vertical_db is None else [UP])
    levels = np.array([*levels_db, *([] if vertical_db is None else [vertical_db])])
    plain = closed_forms.responses(closed_forms.omni, tuple(directions), on_axis_db=0.0)
    takes = tuple(
        Take(f"take_{i}.wav", TakeKey(TakeKind.SWEEP, d, DRIVE, repeat=i + 1))
        for i, d in enumerate(directions)
    )
    pressure = (plain.pressure * 10.0 ** (levels[:, None] / 20.0)).astype(np.complex64)
    return dataclasses.replace(plain, takes=takes, pressure=pressure)


def facts(repeat_db: float | None = None) -> CaseFacts:
    return CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(repeat_db=repeat_db))


def told(responses: Responses, stated_db: float | None = None) -> Repeatability | None:
    """Repeatability of responses without noise and near field."""
    takes = take_powers(responses)
    return repeatability(takes, None, np.zeros(takes.power.shape, dtype=np.bool_), stated_db)


@pytest.mark.parametrize(
    ("stated_db", "of_the_mean_db"), [(None, 1.2 / 3**0.5), (0.2, 1.2 / 3**0.5), (6.0, 3.464)]
)
def test_repeats_tell_their_own_scatter(stated_db: float | None, of_the_mean_db: float) -> None:
    """78.8, 80, 81.2 dB scatter by 1.2 dB: the mean is known to 1.2/√3 dB (JCGM 100, 4.2.3), or as stated."""
    responses = on_axis_takes((80.0, 80.0 + 1.2, 80.0 - 1.2))
    single = told(responses, stated_db)
    assert single is not None
    np.testing.assert_allclose(single.standard_db, of_the_mean_db * np.sqrt(3), rtol=1e-3)
    found = derive(responses, facts(stated_db)).curves.curves[C.ON_AXIS]
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    # The mean is one of power: its three takes don't have a third of it each.
    share = 10 ** (0.1 * np.array([78.8, 80.0, 81.2]))
    share /= share.sum()
    np.testing.assert_allclose(repeat, of_the_mean_db * np.sqrt(3 * (share**2).sum()), rtol=1e-3)


def test_a_take_without_repeats_is_no_better_than_those_with() -> None:
    """The spread is pooled: it is that of every take, of the vertical orbit's on axis too."""
    found = derive(on_axis_takes((80.0, 81.2, 78.8), 80.0), facts()).curves.curves[C.ON_AXIS]
    share = np.append(10 ** (0.1 * np.array([80.0, 81.2, 78.8])) / 3, 1e8)
    share /= share.sum()
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    np.testing.assert_allclose(repeat, 1.2 * np.sqrt((share**2).sum()), rtol=1e-3)


def test_without_repeats_and_unstated_nothing_is_known() -> None:
    assert told(on_axis_takes((80.0,), 80.0)) is None
    stated = told(on_axis_takes((80.0,), 80.0), 0.3)
    assert stated is not None
    np.testing.assert_array_equal(stated.standard_db, 0.3)
    assert np.isinf(stated.degrees).all()


def test_independent_values_of_a_broad_error_against_the_integral() -> None:
    """L²/(2·∫(L − d)·exp(−2d²)dd), by quadrature; one value at least."""
    for octaves in (1.0, 3.0, 10.0):
        overlap, _ = quad(lambda d, length: (length - d) * np.exp(-2.0 * d * d), 0.0, octaves, (octaves,))
        expected = octaves**2 / (2.0 * overlap)
        assert independent_values(np.array(octaves)) == pytest.approx(expected, rel=1e-9)
    assert independent_values(np.array(0.01)) == pytest.approx(1.0, abs=1e-4)


def broad_error_db(random: np.random.Generator, count: int) -> np.ndarray:
    """Errors of unit variance whose correlation is exp(−d²) over d octaves, by its own Cholesky factor."""
    octave = np.log2(closed_forms.GRID[::16])
    covariance = np.exp(-np.square(octave[:, None] - octave)) + 1e-6 * np.eye(len(octave))
    coarse = random.standard_normal((count, len(octave))) @ np.linalg.cholesky(covariance).T
    return np.stack([np.interp(np.log2(closed_forms.GRID), octave, row) for row in coarse])


def test_two_repeats_do_not_give_a_wild_estimate() -> None:
    """Pairs that scatter by 0.5 dB: the variance is told as well as its degrees of freedom say.

    Of a variance with ν degrees of freedom the relative standard deviation is √(2/ν). By single points it
    would be √2; two directions over three octaves have ν = 2·2.76.
    """
    random = np.random.default_rng(1)
    directions = (ON_AXIS, ON_AXIS, UP, UP)
    plain = closed_forms.responses(closed_forms.omni, directions)
    takes = tuple(
        Take(f"{i}.wav", TakeKey(TakeKind.SWEEP, d, DRIVE, repeat=i % 2 + 1))
        for i, d in enumerate(directions)
    )
    variances, covered, degrees = [], [], []
    middle = len(closed_forms.GRID) // 2
    for _ in range(400):
        error = 0.5 * broad_error_db(random, 4)
        pressure = plain.pressure * 10.0 ** (error / 20.0)
        single = told(dataclasses.replace(plain, takes=takes, pressure=pressure))
        assert single is not None
        degrees.append(single.degrees[middle])
        variances.append(single.standard_db[middle] ** 2)
        standard = single.standard_db[middle] / np.sqrt(4.0) * student_factor(single.degrees[middle])
        covered.append(abs(error[:, middle].mean()) <= 1.96 * standard)
    assert degrees == pytest.approx([2 * 2.76] * 400, rel=0.01)
    assert np.mean(variances) == pytest.approx(0.25, rel=0.1)
    assert np.std(variances) / np.mean(variances) == pytest.approx(np.sqrt(2 / (2 * 2.76)), rel=0.2)
    # 400 trials: one standard error is 1.1 %
    assert np.mean(covered) == pytest.approx(0.95, abs=0.025)


def test_the_total_of_few_repeats_is_as_wide_as_student_has_it() -> None:
    """Nothing else is known: ν = 2·2.76 degrees, t = 2.498 (scipy), over 1.96 of a normal distribution."""
    found = derive(on_axis_takes((80.0, 80.1, 79.9)), facts()).curves.curves[C.ON_AXIS]
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    middle = len(closed_forms.GRID) // 2
    expected = student.ppf(0.975, 2 * 2.76078) / 1.959964
    assert found.uncertainty_db[middle] / repeat[middle] == pytest.approx(expected, rel=0.01)


def test_noise_is_not_counted_twice() -> None:
    """Three repeats scatter by 3 dB, of which noise explains 2 dB: √5 dB are left."""
    takes = take_powers(on_axis_takes((80.0, 83.0, 77.0)))
    nowhere = np.zeros(takes.power.shape, dtype=np.bool_)
    single = repeatability(takes, np.full(takes.power.shape, 2.0), nowhere, None)
    assert single is not None
    np.testing.assert_allclose(single.standard_db, np.sqrt(5.0), rtol=1e-3)


def test_a_near_field_is_not_better_for_repeats_from_afar() -> None:
    """Below 200 Hz all takes rest on one near field: three takes from afar share its 0.3 dB, above not."""
    made = on_axis_takes((80.0, 80.0, 80.0))
    low = closed_forms.GRID < 200.0
    made.origin[:, low] = Origin.NEAR_FIELD
    repeat = derive(made, facts(0.3)).curves.curves[C.ON_AXIS].components_db[N.REPEAT]
    assert repeat is not None
    np.testing.assert_allclose(repeat[low], 0.3, rtol=1e-6)
    np.testing.assert_allclose(repeat[~low], 0.3 / np.sqrt(3.0), rtol=1e-6)


def agreement(responses: Responses) -> Figure:
    return next(f for f in derive(responses, facts()).figures if f.name is FigureName.ORBIT_AGREEMENT)


def test_orbits_that_contradict_each_other_on_axis() -> None:
    responses = on_axis_takes((80.0, 81.2, 78.8), 70.0)
    figure = agreement(responses)
    assert isinstance(figure.value, Quantity)
    mean_db = 10 * np.log10((1 + 10**0.12 + 10**-0.12) / 3)
    assert figure.value.value == pytest.approx(10.0 + mean_db, abs=1e-3)
    assert figure.value.value > AGREEMENT_WARNING_DB
    assert {str(t) for t in figure.evidence.takes} == {f"take_{i}.wav" for i in range(4)}
    difference = derive(responses, facts()).curves.meeting_difference_db
    assert set(difference) == {"on_axis"}
    np.testing.assert_allclose(difference["on_axis"], 10.0 + mean_db, atol=1e-3)


def test_the_largest_difference_is_found_where_it_is_and_not_below_the_band() -> None:
    responses = on_axis_takes((80.0,), 80.0)
    octaves = np.log2(closed_forms.GRID / 3000.0)
    bump_db = 2.0 * (np.abs(octaves) < 0.5) + 9.0 * (closed_forms.GRID < 150.0)
    responses.pressure[1] *= 10.0 ** (bump_db / 20.0)
    figure = agreement(responses)
    assert isinstance(figure.value, Quantity)
    assert figure.value.value == pytest.approx(2.0, abs=1e-3)
    assert abs(np.log2(figure.also["frequency"] / 3000.0)) < 0.5
    assert figure.valid_band_hz is not None
    assert figure.valid_band_hz[0] == pytest.approx(200.0, rel=0.01)


def test_one_orbit_alone_has_nothing_to_agree_with() -> None:
    figure = agreement(on_axis_takes((80.0, 80.5)))
    assert figure.value == NotAvailable("the axis wasn't measured on both orbits")


def test_a_repeat_that_was_set_aside_counts_for_nothing() -> None:
    """The mean of two of 80 dB, although a third of 90 dB is among the takes and valid nowhere."""
    made = on_axis_takes((80.0, 90.0, 80.0))
    made.valid[1] = False
    aside = dataclasses.replace(made, set_aside=(made.takes[1].id,))
    curve = derive(aside, facts()).curves.curves[C.ON_AXIS]
    assert curve.valid.all()
    np.testing.assert_allclose(curve.level_db, 80.0, atol=1e-4)
    assert made.takes[1].id not in curve.takes


def two_orbits(horizontal_db: float, repeats_db: tuple[float, ...] = (0.0,)) -> Responses:
    """An omnidirectional source all round on both orbits; the horizontal one reads `horizontal_db` more.

    On axis each orbit has its repeats, by so many dB apart from its own level.
    """
    angles = tuple(float(a) for a in range(-170, 181, 10))
    directions, levels, numbers = [], [], []
    for orbit, shift in ((Orbit.HORIZONTAL, horizontal_db), (Orbit.VERTICAL, 0.0)):
        for angle in angles:
            for number, apart in enumerate(repeats_db if angle == 0.0 else (0.0,), start=1):
                directions.append(Direction(orbit, angle))
                levels.append(shift + apart)
                numbers.append(number)
    plain = closed_forms.responses(closed_forms.omni, tuple(directions), on_axis_db=84.0)
    takes = tuple(
        Take(f"take_{i}.wav", TakeKey(TakeKind.SWEEP, d, DRIVE, repeat=n))
        for i, (d, n) in enumerate(zip(directions, numbers, strict=True))
    )
    pressure = (plain.pressure * 10.0 ** (np.array(levels)[:, None] / 20.0)).astype(np.complex64)
    return dataclasses.replace(plain, takes=takes, pressure=pressure)


def shares(horizontal_db: float) -> tuple[float, float]:
    """What each orbit has of the power on axis."""
    ratio = 10.0 ** (0.1 * horizontal_db)
    return ratio / (1.0 + ratio), 1.0 / (1.0 + ratio)


def test_orbits_that_disagree_on_axis_widen_what_stands_there() -> None:
    """Two levels 2 dB apart scatter by √2 dB (JCGM 100, 4.2.3); a mean weighs them by their power.

    The scatter is told by 2.76 independent values over three octaves: t of Student (scipy) over 1.96.
    """
    found = derive(two_orbits(2.0), facts()).curves.curves[C.ON_AXIS]
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    expected = np.sqrt(2.0) * np.hypot(*shares(2.0))
    np.testing.assert_allclose(repeat, expected, rtol=1e-3)
    middle = len(closed_forms.GRID) // 2
    factor = student.ppf(0.975, 2.76078) / 1.959964
    assert found.uncertainty_db[middle] == pytest.approx(expected * factor, rel=0.02)


def test_what_one_orbit_reads_more_is_in_all_its_takes() -> None:
    """The sum of squares of each orbit's whole share of sound power, not of each take's: no √72 off it."""
    found = derive(two_orbits(2.0), facts()).curves.curves[C.SOUND_POWER]
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    one, other = shares(2.0)
    # of the standard's weights each orbit has half; so all of sound power is shared out as on axis
    np.testing.assert_allclose(repeat, np.sqrt(2.0) * np.hypot(one, other), rtol=0.01)


def test_an_index_takes_no_harm_from_what_both_its_parts_share() -> None:
    """Listening window and sound power both have half of each orbit, or nearly: their difference cancels."""
    curves = derive(two_orbits(2.0), facts()).curves.curves
    index, power = (curves[n].components_db[N.REPEAT] for n in (C.SOUND_POWER_DI, C.SOUND_POWER))
    assert index is not None
    assert power is not None
    assert np.all(index < 0.5 * power)


def test_disagreement_that_the_repeats_explain_is_not_counted_again() -> None:
    """Repeats that scatter by 3 dB explain 2 dB between means of three; with 0.1 dB they explain nothing."""
    wide, narrow = (
        take_errors(made, take_powers(made), facts())
        for made in (two_orbits(2.0, (0.0, 3.0, -3.0)), two_orbits(2.0, (0.0, 0.1, -0.1)))
    )
    assert not wide.by_orbit.any()
    # half of (2 dB)² less 0.1²·(1/3 + 1/3) dB²
    expected = np.sqrt(0.5 * (4.0 - 0.01 * 2.0 / 3.0))
    np.testing.assert_allclose(narrow.by_orbit.max(axis=(0, 1)), expected, rtol=1e-3)


def test_a_figure_is_as_wide_as_the_disagreement_of_the_orbits() -> None:
    """Sensitivity is a mean over 3.3 octaves; the truth, 84 dB, lies within two standard uncertainties."""
    figures = {f.name: f for f in derive(two_orbits(2.0), facts()).figures}
    found = figures[FigureName.SENSITIVITY]
    assert isinstance(found.value, Quantity)
    assert found.uncertainty is not None
    assert found.value.value == pytest.approx(10.0 * np.log10(0.5 * (10**8.6 + 10**8.4)), abs=0.01)
    assert abs(found.value.value - 84.0) < 2.0 * found.uncertainty


def test_orbits_that_agree_say_nothing_of_repetition() -> None:
    assert derive(two_orbits(0.0), facts()).curves.curves[C.ON_AXIS].components_db[N.REPEAT] is None
