"""Repeats and meeting orbits that contradict each other are said, not averaged in silence."""

from __future__ import annotations

import dataclasses

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import derive
from earwitness.derive.directivity import take_powers
from earwitness.derive.orbit_figures import AGREEMENT_WARNING_DB
from earwitness.derive.repeats import repeat_standard_db
from earwitness.records.curves import CurveName as C
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.responses import Responses
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


@pytest.mark.parametrize(
    ("stated_db", "of_the_mean_db"), [(None, 3 / 3**0.5), (0.2, 3 / 3**0.5), (6.0, 3.464)]
)
def test_repeats_tell_their_own_scatter(stated_db: float | None, of_the_mean_db: float) -> None:
    """77, 80, 83 dB scatter by 3 dB: their mean is known to 3/√3 dB (JCGM 100, 4.2.3), or as stated."""
    responses = on_axis_takes((80.0, 80.0 + 3.0, 80.0 - 3.0))
    standard = repeat_standard_db(take_powers(responses), stated_db)
    assert standard is not None
    np.testing.assert_allclose(standard, of_the_mean_db * np.sqrt(3), rtol=1e-3)
    found = derive(responses, facts(stated_db)).curves.curves[C.ON_AXIS]
    repeat = found.components_db[N.REPEAT]
    assert repeat is not None
    # The mean is one of power: its three takes have 22, 31 and 62 % of it, not a third each.
    share = 10 ** (0.1 * np.array([77.0, 80.0, 83.0]))
    share /= share.sum()
    np.testing.assert_allclose(repeat, of_the_mean_db * np.sqrt(3 * (share**2).sum()), rtol=1e-3)


def test_a_take_without_repeats_is_no_better_than_those_with() -> None:
    standard = repeat_standard_db(take_powers(on_axis_takes((80.0, 83.0, 77.0), 70.0)), None)
    assert standard is not None
    np.testing.assert_allclose(standard[3], 3.0, rtol=1e-3)


def test_without_repeats_and_unstated_nothing_is_known() -> None:
    takes = take_powers(on_axis_takes((80.0,), 80.0))
    assert repeat_standard_db(takes, None) is None
    np.testing.assert_array_equal(repeat_standard_db(takes, 0.3), 0.3)


def agreement(responses: Responses) -> Figure:
    return next(f for f in derive(responses, facts()).figures if f.name is FigureName.ORBIT_AGREEMENT)


def test_orbits_that_contradict_each_other_on_axis() -> None:
    responses = on_axis_takes((80.0, 83.0, 77.0), 70.0)
    figure = agreement(responses)
    assert isinstance(figure.value, Quantity)
    # Mean power of 77, 80 and 83 dB is 80.66506 dB.
    assert figure.value.value == pytest.approx(10.66506, abs=1e-3)
    assert figure.value.value > AGREEMENT_WARNING_DB
    assert {str(t) for t in figure.evidence.takes} == {f"take_{i}.wav" for i in range(4)}
    difference = derive(responses, facts()).curves.meeting_difference_db
    assert set(difference) == {"on_axis"}
    np.testing.assert_allclose(difference["on_axis"], 10.66506, atol=1e-3)


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
