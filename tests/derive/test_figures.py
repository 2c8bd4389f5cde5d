"""Figures of merit: values in closed form, and what each carries with it."""

from __future__ import annotations

import importlib

import closed_forms
import numpy as np
import pytest

from earwitness.derive import distortion_figures
from earwitness.derive.derivation import Derivation, derive
from earwitness.derive.in_room import tilt_standard_error, trend
from earwitness.records.curves import CurveName as C
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity, Tolerance
from earwitness.records.uncertainty import ComponentName as N

GRID = closed_forms.GRID
#: Of the waveform of one take, not of a curve over frequency.
TIME = {FigureName.GROUP_DELAY, FigureName.EXCESS_DELAY, FigureName.BURST_DECAY}
#: Of takes that these cases lack: at several drives, of impedance, of a long load, of self-noise, of tones.
OF_OTHER_TAKES = {
    *distortion_figures.NAMES,
    FigureName.COMPRESSION,
    FigureName.COMPRESSION_NARROW,
    FigureName.HELD_LEVEL,
    FigureName.LIMITER_THRESHOLD,
    FigureName.NEAR_DISTORTION,
    FigureName.CLEAN_OUTPUT,
    FigureName.IMPEDANCE_MINIMUM,
    FigureName.IMPEDANCE_RATING,
    FigureName.AMPLIFIER_LOAD,
    FigureName.BOX_TUNING,
    FigureName.TOTAL_Q,
    FigureName.LOAD_CHANGE,
    FigureName.LIMITING,
    FigureName.COIL_TIME,
    FigureName.MAGNET_TIME,
    FigureName.SELF_NOISE,
    FigureName.MODULATION_SECOND,
    FigureName.MODULATION_THIRD,
    FigureName.MULTITONE,
    FigureName.LEVEL_AT_DRIVE,
    FigureName.LATENCY,
    FigureName.RATTLE,
}
FACTS = CaseFacts(
    Unit("Cobble"), uncertainty=StatedUncertainty(microphone_db=0.3, level_db=0.2, angle_deg=1.0)
)


@pytest.fixture(scope="module")
def cardioid() -> Derivation:
    return derive(closed_forms.responses(closed_forms.cardioid, components={N.NOISE: 0.1}), FACTS)


def by_name(result: Derivation) -> dict[FigureName, Figure]:
    return {f.name: f for f in result.figures}


def figures_of(on_axis_db: np.ndarray) -> dict[FigureName, Figure]:
    return by_name(derive(closed_forms.responses(closed_forms.omni, on_axis_db=on_axis_db), FACTS))


def test_all_figures_once_in_order(cardioid: Derivation) -> None:
    assert [f.name for f in cardioid.figures] == [name for name in FigureName if name not in OF_OTHER_TAKES]


def test_sensitivity() -> None:
    # Integrals over exactly one decade (computed): 86.5034 dB on power, 86.0000 on dB.
    decades = np.log10(GRID / 300.0)
    figure = figures_of(86 + 3 * np.sin(2 * np.pi * decades))[FigureName.SENSITIVITY]
    assert isinstance(figure.value, Quantity)
    assert figure.value.value == pytest.approx(86.5034, abs=2e-4)
    assert figure.also["dB mean"] == pytest.approx(86.0, abs=2e-4)
    assert figure.uncertainty is not None
    assert figure.components[N.LEVEL] == pytest.approx(0.2, rel=1e-6)
    assert 0.2 < figure.uncertainty < np.hypot(0.2, 0.3)
    assert figure.components[N.REPEAT] is None


def test_tolerance_about_the_mean() -> None:
    # Two octave-wide bumps outside the sensitivity band, on a level that is 86 dB inside it.
    level = np.full_like(GRID, 86.0)
    level[(GRID > 4000.0) & (GRID < 8000.0)] = 88.5
    level[(GRID > 110.0) & (GRID < 200.0)] = 84.0
    level[GRID > 12_000.0] = 80.0
    found = figures_of(level)
    for name in (FigureName.TOLERANCE_ON_AXIS, FigureName.TOLERANCE_LISTENING_WINDOW):
        value = found[name].value
        assert isinstance(value, Tolerance)
        assert value.above == pytest.approx(2.5, abs=1e-3)
        assert value.below == pytest.approx(2.0, abs=1e-3)
        assert value.reference == pytest.approx(86.0, abs=1e-3)
        assert found[name].also["half-width about the midpoint"] == pytest.approx(2.25, abs=1e-3)
        assert found[name].also["below, up to the wider limit"] == pytest.approx(6.0, abs=1e-3)


def test_tilt_and_smoothness_of_a_line() -> None:
    found = figures_of(90.0 - 0.95 * np.log2(GRID / 1000.0))
    tilt, smooth = found[FigureName.IN_ROOM_TILT], found[FigureName.IN_ROOM_SMOOTHNESS]
    assert isinstance(tilt.value, Quantity)
    assert isinstance(smooth.value, Quantity)
    assert tilt.value.value == pytest.approx(-0.95, abs=1e-4)
    assert smooth.value.value == pytest.approx(0.0, abs=1e-4)
    assert tilt.components[N.FIT] == pytest.approx(0.0, abs=1e-4)
    assert tilt.also["narrower band"] == pytest.approx(-0.95, abs=1e-4)


def test_a_ripple_of_known_size_is_the_smoothness() -> None:
    # One cycle an octave over 7.32 octaves: RMS 1/√2, nearly orthogonal to the line (within a few percent).
    found = figures_of(90.0 + np.sin(2 * np.pi * np.log2(GRID / 1000.0)))
    value = found[FigureName.IN_ROOM_SMOOTHNESS].value
    assert isinstance(value, Quantity)
    assert value.value == pytest.approx(1 / np.sqrt(2), rel=0.03)


def test_standard_error_of_the_tilt_is_that_of_its_scatter() -> None:
    """Residuals that are alike over m points: as many independent ones as there are runs of m."""
    rng = np.random.default_rng(5)
    frequency = GRID[(GRID >= 100.0) & (GRID <= 16_000.0)]
    errors, tilts = [], []
    for _ in range(60):
        knots = rng.standard_normal(len(frequency) // 16 + 1)
        level = np.repeat(knots, 16)[: len(frequency)]
        line = trend(frequency, level)
        tilts.append(float(line.tilt_db_per_octave))
        errors.append(tilt_standard_error(frequency, line.residual_db))
    # The scatter of 60 tilts is known to 9 %, and the autocorrelation is cut at its first zero.
    assert np.median(errors) == pytest.approx(np.std(tilts), rel=0.3)


def test_a_band_that_is_not_wholly_valid_gives_no_number() -> None:
    result = derive(closed_forms.responses(closed_forms.cardioid, valid_from_hz=350.0), FACTS)
    found = by_name(result)
    unavailable = {n for n, f in found.items() if not f.available}
    available = {
        FigureName.COVERAGE_HORIZONTAL,
        FigureName.COVERAGE_VERTICAL,
        FigureName.SOUND_POWER_SAMPLING,
        FigureName.ORBIT_AGREEMENT,
    }
    assert unavailable == set(FigureName) - available - OF_OTHER_TAKES
    # The pattern has no impulse response, whatever its band; the excess delay is known from higher up.
    for name in unavailable - {FigureName.BURST_DECAY, FigureName.EXCESS_DELAY}:
        value = found[name].value
        assert isinstance(value, NotAvailable)
        assert value.reason.startswith("not available: valid from 35")
        assert value.valid_from_hz == pytest.approx(350.0, rel=0.01)
        assert found[name].uncertainty is None
    assert result.curves.in_room_trend_db is None


def test_the_trend_is_drawn_inside_its_band_alone(cardioid: Derivation) -> None:
    line, residual = cardioid.curves.in_room_trend_db, cardioid.curves.in_room_residual_db
    assert line is not None
    assert residual is not None
    inside = (GRID >= 100.0) & (GRID <= 16_000.0)
    room = cardioid.curves.curves[C.ESTIMATED_IN_ROOM].level_db
    np.testing.assert_array_equal(np.isfinite(line), inside)
    np.testing.assert_allclose((line + residual)[inside], room[inside])


def test_evidence_methods_and_references_lead_somewhere(cardioid: Derivation) -> None:
    for figure in cardioid.figures:
        assert figure.evidence.takes
        assert figure.evidence.curves or figure.name in TIME
        module, _, function = figure.method.rpartition(".")
        assert callable(getattr(importlib.import_module(f"earwitness.{module}"), function))
        assert figure.conditions.numbers
        for number in figure.conditions.numbers:
            assert number.value == constant(number.reference)


def constant(reference: str) -> float:
    scheme, _, path = reference.partition(":")
    assert scheme == "method"
    module, *steps = path.split("/")
    name = f"earwitness.{module}" if "." in module else f"earwitness.methods.{module}"
    found = getattr(importlib.import_module(name), steps[0])
    return float(found[int(steps[1])] if len(steps) > 1 else found)


def test_near_field_takes_are_evidence() -> None:
    plain = closed_forms.responses(closed_forms.omni)
    spliced = [(), *([("near_woofer.wav",)] * 71)]
    object.__setattr__(plain, "near_field_takes", tuple(spliced))
    result = derive(plain, FACTS)
    assert "near_woofer.wav" in result.curves.curves[C.ON_AXIS].takes


def test_the_in_room_weights_on_decibels_are_another_reading() -> None:
    """From omni to cardioid over the band: on level 0.12, 0.44 and 0.44 of each curve's decibels."""

    def narrowing(n: np.ndarray, frequency_hz: np.ndarray) -> np.ndarray:
        share = np.clip(np.log2(frequency_hz / 100.0) / 7.0, 0.0, 1.0)
        return np.asarray(1.0 - share * (1.0 - closed_forms.cardioid(n, frequency_hz)))

    result = derive(closed_forms.responses(narrowing), FACTS)
    curves, found = result.curves.curves, by_name(result)
    parts = ((0.12, C.LISTENING_WINDOW), (0.44, C.EARLY_REFLECTIONS), (0.44, C.SOUND_POWER))
    level = sum(weight * curves[name].level_db for weight, name in parts)
    inside = (GRID >= 100.0) & (GRID <= 16_000.0)
    slope, start = np.polyfit(np.log2(GRID[inside]), np.asarray(level)[inside], 1)
    left = np.asarray(level)[inside] - slope * np.log2(GRID[inside]) - start
    key = "in-room weights on level"
    assert found[FigureName.IN_ROOM_TILT].also[key] == pytest.approx(slope, abs=1e-4)
    assert found[FigureName.IN_ROOM_SMOOTHNESS].also[key] == pytest.approx(
        np.sqrt(np.mean(left**2)), abs=1e-4
    )
    tilt = found[FigureName.IN_ROOM_TILT].value
    assert isinstance(tilt, Quantity)
    assert tilt.value - slope > 0.005


def test_every_curve_says_its_reading(cardioid: Derivation) -> None:
    readings = {name: curve.reading for name, curve in cardioid.curves.curves.items()}
    assert readings[C.ON_AXIS] == ""
    assert readings[C.REAR_REFLECTION] == "rear as three directions"
    assert "in-room weights on power" in readings[C.ESTIMATED_IN_ROOM]


HOLES = [
    # invalid points, figure, reason, band of the hole
    ((4000.0, 5500.0), FigureName.IN_ROOM_TILT, "not available: not valid from 4 kHz to 5.5 kHz", True),
    ((4000.0, 5500.0), FigureName.TOLERANCE_ON_AXIS, "not available: not valid from 4 kHz to 5.5 kHz", True),
    ((15_900.0, 16_000.0), FigureName.IN_ROOM_SMOOTHNESS, "not available: not valid at 16 kHz", True),
    ((10_050.0, 21_000.0), FigureName.TOLERANCE_ON_AXIS, "not available: the smoothing reaches", False),
    ((9_900.0, 21_000.0), FigureName.TOLERANCE_ON_AXIS, "not available: valid up to 9.8", False),
    ((10.0, 99.0), FigureName.TOLERANCE_ON_AXIS, "not available: the smoothing reaches", False),
    ((900.0, 1100.0), FigureName.SENSITIVITY, "not available: not valid from 9", True),
]


@pytest.mark.parametrize(("invalid_hz", "name", "reason", "is_hole"), HOLES)
def test_a_hole_is_named_and_no_limit_is_made_of_it(
    invalid_hz: tuple[float, float], name: FigureName, reason: str, is_hole: bool
) -> None:
    responses = closed_forms.responses(closed_forms.omni)
    hole = (invalid_hz[0] <= GRID) & (invalid_hz[1] >= GRID)
    responses.valid[:, hole] = False
    value = by_name(derive(responses, FACTS))[name].value
    assert isinstance(value, NotAvailable)
    assert value.reason.startswith(reason)
    assert value.valid_from_hz is None
    expected = (float(GRID[hole][0]), float(GRID[hole][-1])) if is_hole else None
    assert value.invalid_band_hz == expected


def test_a_search_for_f3_ends_at_a_hole() -> None:
    level = 86.0 - 10 * np.log10(1 + (60.0 / GRID) ** 8)
    responses = closed_forms.responses(closed_forms.omni, on_axis_db=level)
    hole = (GRID > 90.0) & (GRID < 110.0)
    responses.valid[:, hole] = False
    value = by_name(derive(responses, FACTS))[FigureName.F3].value
    assert isinstance(value, NotAvailable)
    assert value.invalid_band_hz == (float(GRID[hole][0]), float(GRID[hole][-1]))
    assert value.reason == "not available: not valid from 90.3 Hz to 110 Hz"
