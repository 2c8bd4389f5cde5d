"""Distortion of one radiator, from orders in closed form and a way to 1 m that is stated."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import pytest
from made_series import GRID, PA_PER_VOLT, series

from earwitness.derive.derivation import derive
from earwitness.derive.near_distortion import near_distortion, near_figures
from earwitness.findings.find import find
from earwitness.findings.level_statements import level_statements
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts, Radiator, Unit
from earwitness.records.figures import FigureName, NotAvailable, Quantity

FACTS = CaseFacts(Unit("Cobble", radiators=(Radiator("lower_woofer", 0.1), Radiator("port", 0.05))))


def near(radiator: str, second: float, step: float = 1.0, noise_power: float = 0.0) -> LevelSeries:
    """The second harmonic at 16 V is `second` of the fundamental; each octave up is carried `step` times."""
    one = series({1: 1.0, 2: 1e-9}, noise_power)
    one.pressure[:, 1] = second * one.pressure[:, 0]
    carried = step ** np.log2(np.multiply.outer(np.arange(1.0, 11.0), GRID) / 20.0)
    return replace(one, radiator=radiator, carried=np.where(carried > 0.0, carried, np.nan))


def test_an_order_is_carried_by_its_own_frequency() -> None:
    """FACTS: D_far = D_near·|T(2f)|/|T(f)|, an octave of 1.3."""
    told = near_distortion(near("woofer", 0.02, 1.3))
    at = int(np.searchsorted(GRID, 200.0))
    assert told.ratio[at] == pytest.approx(0.02, rel=1e-3)
    assert told.at_1m[at] == pytest.approx(0.026, rel=1e-3)
    assert told.drive.value == 16.0


def test_where_the_way_is_not_known_nothing_is_told_at_one_metre() -> None:
    one = near("woofer", 0.02)
    assert one.carried is not None
    one.carried[2, GRID > 100.0] = np.nan
    told = near_distortion(one)
    high, low = int(np.searchsorted(GRID, 200.0)), int(np.searchsorted(GRID, 60.0))
    assert np.isnan(told.at_1m[high])
    assert told.ratio[high] == pytest.approx(0.02, rel=1e-3)
    assert told.at_1m[low] == pytest.approx(0.02, rel=1e-3)


def test_what_noise_or_a_neighbour_hides_is_not_told() -> None:
    told = near_distortion(near("port", 1e-3, noise_power=(2e-3 * 16.0 * PA_PER_VOLT) ** 2))
    assert np.isnan(told.ratio).all()


def test_the_worst_radiator_is_the_figure() -> None:
    both = (near("lower_woofer", 0.02, 1.3), near("port", 0.001))
    (figure,) = near_figures(both)
    assert isinstance(figure.value, Quantity)
    assert figure.value.value == pytest.approx(2.6, rel=1e-3)
    assert figure.reading == "lower_woofer"
    assert figure.also["in front of the radiator, %"] == pytest.approx(2.0, rel=1e-3)
    assert figure.also["at one metre re in front of it"] == pytest.approx(1.3, rel=1e-3)
    assert figure.also["drive, V"] == 16.0
    assert figure.also["port at 125 Hz, %"] == pytest.approx(0.1, rel=1e-3)
    (hidden,) = near_figures([near("port", 1e-3, noise_power=1.0)])
    assert isinstance(hidden.value, NotAvailable)
    assert near_figures([series({1: 1.0})]) == ()


def test_where_it_hardly_plays_it_is_no_figure() -> None:
    """Ten times the harmonics below 50 Hz, where its fundamental is 20 dB down."""
    one = near("woofer", 0.02)
    low = GRID < 50.0
    one.pressure[:, 0, low] *= 0.1
    (figure,) = near_figures([one])
    assert isinstance(figure.value, Quantity)
    assert figure.value.value == pytest.approx(2.0, rel=1e-3)
    assert figure.also["woofer at 31.5 Hz, %"] == pytest.approx(20.0, rel=1e-3)


def test_what_is_said_of_it() -> None:
    all_of_them = (series({1: 1.0, 2: 1e-4}), near("lower_woofer", 0.02, 1.3), near("port", 0.001))
    derived = derive(closed_forms.responses(closed_forms.omni), FACTS, all_of_them)
    assert derived.curves.level is not None
    assert [one.radiator for one in derived.curves.level.near] == ["lower_woofer", "port"]
    figures = {figure.name: figure for figure in derived.figures}
    said = {f.id: f for f in level_statements(derived.curves, figures)}["figure-near_distortion"]
    assert str(said.statement).startswith(
        "Heard by itself the lower woofer distorts most where it plays: at 16 V its harmonics are 2.6 % of"
    )
    assert "local law and qualified advice come first" in str(said.explanation)
    assert FigureName.NEAR_DISTORTION in figures
    # every number and quotation refers to what it says
    assert any(f.id == "figure-near_distortion" for f in find(derived.curves, derived.figures, FACTS))
