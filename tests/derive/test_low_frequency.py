"""F3, F6 and F10 of alignments in closed form (Small 1972, Thiele 1961: recalled; ratios computed)."""

from __future__ import annotations

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import derive
from earwitness.derive.fitted_high_pass import fit_high_pass
from earwitness.derive.low_frequency import crossing_hz, find_crossing
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity
from earwitness.records.grid import Floats
from earwitness.records.takes import ON_AXIS

GRID = closed_forms.GRID
FACTS = CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(microphone_db=0.3))
NAMES = (FigureName.F3, FigureName.F6, FigureName.F10)

#: Q of a sealed box: F3, F6, F10 over its resonance, at 3, 6 and 10 dB exactly.
SEALED = {
    0.5: (1.55693, 1.00238, 0.68006),
    0.57735: (1.27421, 0.87790, 0.62729),
    0.70711: (1.00119, 0.76104, 0.57735),
    0.8: (0.89800, 0.71444, 0.55670),
    1.0: (0.78667, 0.65974, 0.53139),
    1.2: (0.73621, 0.63263, 0.51827),
}


def sealed(corner_hz: float, q: float) -> Floats:
    w = GRID / corner_hz
    return np.asarray(10 * np.log10(w**4 / ((1 - w**2) ** 2 + (w / q) ** 2)))


def figures(on_axis_db: Floats, valid_from_hz: float = 20.0) -> dict[FigureName, Figure]:
    responses = closed_forms.responses(
        closed_forms.omni, (ON_AXIS,), on_axis_db=on_axis_db, valid_from_hz=valid_from_hz
    )
    return {f.name: f for f in derive(responses, FACTS).figures}


@pytest.mark.parametrize("q", SEALED)
def test_sealed_boxes(q: float) -> None:
    # The mean from 300 Hz to 3 kHz lies up to 0.05 dB off the passband: with Q = 0.5 up to 1.1 % of F3.
    found = figures(86.0 + sealed(45.0, q))
    for name, ratio in zip(NAMES, SEALED[q], strict=True):
        value = found[name].value
        assert isinstance(value, Quantity)
        assert value.value == pytest.approx(45.0 * ratio, rel=0.012)


@pytest.mark.parametrize("q", SEALED)
def test_crossings_of_sealed_boxes_about_the_passband(q: float) -> None:
    down = GRID[GRID <= 300.0][::-1]
    fall = -sealed(45.0, q)[GRID <= 300.0][::-1]
    for threshold, ratio in zip((3.0, 6.0, 10.0), SEALED[q], strict=True):
        assert crossing_hz(down, fall, threshold) == pytest.approx(45.0 * ratio, rel=1e-4)


@pytest.mark.parametrize("q", SEALED)
def test_the_fitted_high_pass_of_a_sealed_box_is_the_box(q: float) -> None:
    found = figures(86.0 + sealed(45.0, q))
    for name, ratio in zip(NAMES, SEALED[q], strict=True):
        assert found[name].also["fitted high-pass"] == pytest.approx(45.0 * ratio, rel=1e-3)


def test_a_fit_finds_corner_q_and_level_through_ripple() -> None:
    ripple = 0.3 * np.sin(2 * np.pi * 4 * np.log2(GRID / 50.0))
    fitted = fit_high_pass(GRID, 86.0 + sealed(45.0, 0.8) + ripple)
    assert fitted is not None
    assert fitted.corner_hz == pytest.approx(45.0, rel=0.01)
    assert fitted.q == pytest.approx(0.8, rel=0.02)
    assert fitted.level_db == pytest.approx(86.0, abs=0.05)
    assert fitted.residual_db == pytest.approx(0.3 / np.sqrt(2), rel=0.05)


def test_what_is_no_second_order_high_pass_gets_no_fit() -> None:
    vented = -10 * np.log10(1 + (60.0 / GRID) ** 8)
    assert fit_high_pass(GRID, vented) is None
    assert fit_high_pass(GRID, np.zeros_like(GRID)) is None
    above = GRID > 170.0
    assert fit_high_pass(GRID[above], sealed(200.0, 0.7)[above]) is None
    assert "fitted high-pass" not in figures(86.0 + vented)[FigureName.F6].also


def test_a_vented_box() -> None:
    # B4 (Thiele): F6/f3 = 0.872375, F10/f3 = 0.759836, 3.0103 dB down at f3.
    level = -10 * np.log10(1 + (60.0 / GRID) ** 8)
    down, fall = GRID[GRID <= 300.0][::-1], -level[GRID <= 300.0][::-1]
    assert crossing_hz(down, fall, 6.0) == pytest.approx(60 * 0.872375, rel=1e-4)
    assert crossing_hz(down, fall, 10.0) == pytest.approx(60 * 0.759836, rel=1e-4)
    assert crossing_hz(down, fall, 3.0103) == pytest.approx(60.0, rel=1e-4)


def trough(centre_hz: float, octaves: float) -> Floats:
    inside = np.abs(np.log2(GRID / centre_hz)) < octaves / 2
    return np.where(inside, -8.0, 0.0)


def test_a_narrow_trough_is_skipped() -> None:
    value = figures(86.0 + sealed(40.0, 0.70711) + trough(120.0, 0.09))[FigureName.F3].value
    assert isinstance(value, Quantity)
    assert value.value == pytest.approx(40.0, rel=0.01)


def test_a_wide_trough_that_recovers_is_no_end_of_the_range() -> None:
    value = figures(86.0 + sealed(40.0, 0.70711) + trough(120.0, 0.5))[FigureName.F3].value
    assert isinstance(value, NotAvailable)
    assert value.reason.startswith("no F3: the level is 3 dB down at 14")


def test_a_baffle_step_alone_is_no_f3() -> None:
    # A shelf of 6 dB about 250 Hz: (1 + (f/f0)²)/(1 + (f/2f0)²) in power, and a box far below.
    shelf = 10 * np.log10((1 + (GRID / 250.0) ** 2) / (1 + (GRID / 500.0) ** 2))
    found = figures(80.0 + shelf + sealed(30.0, 0.70711))
    value = found[FigureName.F3].value
    assert isinstance(value, NotAvailable)
    assert value.reason.startswith("no F3")
    assert isinstance(found[FigureName.F10].value, Quantity)


def test_below_the_valid_limit_there_is_no_number() -> None:
    found = figures(86.0 + sealed(60.0, 0.70711), valid_from_hz=180.0)
    for name in NAMES:
        value = found[name].value
        assert isinstance(value, NotAvailable)
        assert value.reason == "not available: valid from 181 Hz"
        assert value.valid_from_hz == pytest.approx(180.0, rel=0.01)
        assert found[name].valid_band_hz is None
    assert isinstance(found[FigureName.SENSITIVITY].value, Quantity)
    assert isinstance(found[FigureName.TOLERANCE_ON_AXIS].value, NotAvailable)


def test_what_never_falls_is_a_bound() -> None:
    value = figures(np.full_like(GRID, 86.0))[FigureName.F3].value
    assert value == Bound(float(GRID[0]), "at most")


def test_fallen_from_the_start() -> None:
    level = np.where(GRID < 400.0, -12.0 * np.log2(400.0 / np.minimum(GRID, 400.0)), 0.0)
    value = figures(86.0 + level)[FigureName.F3].value
    assert isinstance(value, NotAvailable)
    assert value.reason == "no F3: the level is 3 dB down at 300 Hz already"


def test_a_curve_that_is_too_short_to_judge() -> None:
    down = GRID[(GRID <= 300.0) & (GRID > 285.0)][::-1]
    assert find_crossing(down, np.full_like(down, 5.0), 3.0).kind == "lower"


def test_uncertainty_follows_the_slope() -> None:
    """A steep corner is sharper: u(f) = u(L)/slope, with u(L) of the microphone at 40 Hz and in the mean."""
    shallow, steep = (figures(86.0 + sealed(40.0, q))[FigureName.F3] for q in (0.5, 1.2))
    assert shallow.uncertainty is not None
    assert steep.uncertainty is not None
    # Slopes at F3, dB per octave: 12.04·(1 − W²·…) gives 3.5 and 13.1; values 62.3 and 29.4 Hz.
    assert shallow.uncertainty / steep.uncertainty > 4.0
    assert shallow.components[list(shallow.components)[2]] == pytest.approx(shallow.uncertainty, rel=0.05)
