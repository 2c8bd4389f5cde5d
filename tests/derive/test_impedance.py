"""What follows from an impedance, for virtual loudspeakers that were recorded and for closed forms."""

from __future__ import annotations

import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from earwitness.derive.impedance import derive_impedance
from earwitness.derive.impedance_figures import impedance_figures
from earwitness.measurement.electrical import measured_impedance
from earwitness.records.facts import StatedUncertainty, Unit
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity
from earwitness.records.grid import derived_grid
from earwitness.records.impedance import Impedance, MeasuredImpedance
from earwitness.records.takes import Drive, ReadOption, Take, TakeId, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName
from earwitness.virtual.electrical import Circuit, Meter
from earwitness.virtual.scenario import load

GRID = derived_grid()
FINE = np.geomspace(20.0, 20_000.0, 60_001)
UNIT = Unit("Cobble", rated_impedance_ohm=6.0)
Complexes = npt.NDArray[np.complex128]
READ: tuple[tuple[str, ReadOption], ...] = (
    ("current", 2),
    ("current_full_scale_v", 0.25),
    ("sense_ohm", 0.5),
    ("voltage", 1),
    ("voltage_full_scale_v", 2.0),
)


@cache
def recorded(name: str) -> MeasuredImpedance:
    """A scenario's impedance through a meter with noise and a cable, by its rig's sweep of some seconds."""
    scenario = load(name)
    sweep = scenario.session.sweep
    meter = Meter(0.5, 2.0, 0.25, 0.5, noise_v=2e-5)
    chain = replace(scenario.session.workshop.chain, output_ohm=0.2)
    circuit = Circuit(meter, chain, scenario.session.tail_s, zlib.crc32(name.encode()))
    with TemporaryDirectory() as temporary:
        folder = Path(temporary)
        soundfile.write(folder / "stimulus.wav", sweep.samples(), sweep.sample_rate_hz, subtype="PCM_24")
        heard = circuit.loudspeaker(scenario.loudspeaker, scenario.air, sweep, "impedance.wav")
        circuit.write(folder / "impedance.wav", heard)
        key = TakeKey(TakeKind.IMPEDANCE, drive=Drive(0.5))
        take = Take("impedance.wav", key, stimulus="stimulus.wav", read=READ)
        played = Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))
        found = measured_impedance(folder, [take], {"stimulus.wav": played})
    assert found is not None
    return found


def derived(name: str) -> Impedance:
    return derive_impedance(recorded(name), StatedUncertainty())


def of_ohms(ohms: Complexes, *, has_phase: bool = True, noise: float = 1e-4) -> MeasuredImpedance:
    return MeasuredImpedance(
        takes=(TakeId("impedance.wav"),),
        drive="0.5 V",
        ohms=ohms if has_phase else np.abs(ohms).astype(np.complex128),
        valid=np.ones(GRID.shape, dtype=np.bool_),
        has_phase=has_phase,
        noise_ohm=noise * np.abs(ohms),
    )


def figure(found: Impedance, name: FigureName, unit: Unit = UNIT) -> Figure:
    return {f.name: f for f in impedance_figures(found, unit)}[name]


def truth_of(name: str) -> Complexes:
    scenario = load(name)
    return np.asarray(scenario.loudspeaker.impedance(FINE, scenario.air), dtype=np.complex128)


def turns(magnitude: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Where a curve on the fine grid turns."""
    rises = np.diff(magnitude) > 0.0
    return np.asarray(FINE[1:-1][rises[1:] != rises[:-1]])


@pytest.mark.parametrize("name", ["flute", "crook", "trestle", "gatepost"])
def test_minimum_and_turning_points_of_recordings(name: str) -> None:
    found, truth = derived(name), np.abs(truth_of(name))
    least = figure(found, FigureName.IMPEDANCE_MINIMUM)
    assert isinstance(least.value, Quantity)
    assert least.value.value == pytest.approx(truth.min(), rel=5e-3)
    assert least.also["frequency"] == pytest.approx(FINE[np.argmin(truth)], rel=0.01)
    true_turns = turns(truth)
    assert found.minima
    assert found.maxima
    for one in (*found.minima, *found.maxima):
        nearest = true_turns[np.argmin(np.abs(np.log(true_turns / one.frequency_hz)))]
        assert one.frequency_hz == pytest.approx(nearest, rel=0.01)
        assert one.ohms == pytest.approx(np.interp(nearest, FINE, truth), rel=5e-3)


@pytest.mark.parametrize(
    ("name", "tuning_hz"),
    # by the parts in the scenario's file: (K + ρc²S²/V)/M of a sealed box, the stated tuning of a vented one
    [
        ("crook", 75.59),
        ("dewdrop", 91.48),
        ("dice", 97.81),
        ("tallboy", 60.34),
        ("thimble", 90.64),
        ("flute", 46.0),
    ],
)
def test_box_tuning_of_recordings(name: str, tuning_hz: float) -> None:
    tuning = figure(derived(name), FigureName.BOX_TUNING)
    assert isinstance(tuning.value, Quantity)
    assert tuning.value.value == pytest.approx(tuning_hz, rel=0.02)
    assert tuning.components[ComponentName.FIT] is not None
    assert tuning.reading == ("vented box" if name == "flute" else "sealed box")


@pytest.mark.parametrize(("name", "fault"), [("bellows", "terminal recess"), ("tallboy", "side wall")])
def test_wrinkles_of_recordings_are_what_rings(name: str, fault: str) -> None:
    scenario = load(name)
    hertz, q = scenario.loudspeaker.source.ringing(fault, scenario.air)
    (wrinkle,) = derived(name).wrinkles
    assert wrinkle.frequency_hz == pytest.approx(hertz, rel=0.01)
    assert wrinkle.q == pytest.approx(q, rel=0.15)


def test_no_wrinkle_without_a_fault() -> None:
    assert derived("crook").wrinkles == ()


def test_the_least_of_a_closed_form() -> None:
    """6 Ω with 20 Ω more at 100 Hz (Q 4) and 0.3 mH: between them it is hardly more than 6 Ω."""
    ratio = GRID / 100.0 - 100.0 / GRID
    ohms = 6.0 + 0j + 20.0 / (1.0 + 4j * ratio) + 2j * np.pi * GRID * 3e-4
    found = derive_impedance(of_ohms(ohms), StatedUncertainty(impedance_percent=2.0))
    fine = 6.0 + 20.0 / (1.0 + 4j * (FINE / 100.0 - 100.0 / FINE)) + 2j * np.pi * FINE * 3e-4
    least = figure(found, FigureName.IMPEDANCE_MINIMUM)
    assert isinstance(least.value, Quantity)
    assert least.value.value == pytest.approx(np.abs(fine).min(), rel=1e-5)
    assert least.also["frequency"] == pytest.approx(FINE[np.argmin(np.abs(fine))], rel=1e-3)
    at = int(np.argmin(np.abs(GRID - least.also["frequency"])))
    assert least.also["phase"] == pytest.approx(np.rad2deg(np.angle(ohms[at])), abs=0.01)
    # two per cent of it, and a ten-thousandth of noise
    assert least.uncertainty == pytest.approx(0.02 * least.value.value, rel=2e-3)
    assert least.components[ComponentName.LEVEL] == pytest.approx(0.02 * least.value.value, rel=1e-3)


def test_what_nobody_stated_is_not_stated() -> None:
    found = derive_impedance(of_ohms(np.full(GRID.shape, 8.0 + 0.0j)), StatedUncertainty())
    assert figure(found, FigureName.IMPEDANCE_MINIMUM).components[ComponentName.LEVEL] is None


@pytest.mark.parametrize(("rated", "percent"), [(8.0, 80.0), (6.0, 320.0 / 3.0), (4.0, 160.0)])
def test_rating(rated: float, percent: float) -> None:
    """IEC 60268-5, clause 16 (recalled): 80 % of 8 Ω is 6.4 Ω."""
    found = derive_impedance(of_ohms(np.full(GRID.shape, 6.4 + 0.0j)), StatedUncertainty())
    rating = figure(found, FigureName.IMPEDANCE_RATING, Unit("Cobble", rated_impedance_ohm=rated))
    assert isinstance(rating.value, Quantity)
    assert rating.value.value == pytest.approx(percent, rel=1e-9)


def test_rated_range() -> None:
    """A dip to 3 Ω at 50 Hz lies outside of what is rated from 100 Hz on."""
    ohms = np.asarray(8.0 - 5.0 / (1.0 + 8j * (GRID / 50.0 - 50.0 / GRID)), dtype=np.complex128)
    found = derive_impedance(of_ohms(ohms), StatedUncertainty())
    unit = Unit("Cobble", rated_impedance_ohm=8.0, rated_band_hz=(100.0, 20_000.0))
    rating, least = (
        figure(found, n, unit) for n in (FigureName.IMPEDANCE_RATING, FigureName.IMPEDANCE_MINIMUM)
    )
    assert isinstance(rating.value, Quantity)
    assert isinstance(least.value, Quantity)
    assert rating.value.value > 90.0
    assert least.value.value == pytest.approx(3.0, rel=1e-3)
    assert "in the rated range" in str(rating.conditions)


def test_load_on_an_amplifier() -> None:
    """8 Ω at 45°: 0.353553 of it (closed form; tests of the method)."""
    found = derive_impedance(of_ohms(np.full(GRID.shape, 8.0 * np.exp(0.25j * np.pi))), StatedUncertainty())
    load_ohm = figure(found, FigureName.AMPLIFIER_LOAD)
    assert isinstance(load_ohm.value, Quantity)
    assert load_ohm.value.value == pytest.approx(8.0 * 0.353553, rel=1e-5)


def test_magnitudes_alone() -> None:
    """A sealed box by the formula: fc and Q are found without a phase; the load isn't."""
    ratio = GRID / 60.0 - 60.0 / GRID
    ohms = 6.0 + 0.02 * np.sqrt(2j * np.pi * GRID) + 30.0 / (1.0 + 4.2j * ratio)
    found = derive_impedance(of_ohms(ohms, has_phase=False), StatedUncertainty())
    tuning, total = (figure(found, n) for n in (FigureName.BOX_TUNING, FigureName.TOTAL_Q))
    assert isinstance(tuning.value, Quantity)
    assert isinstance(total.value, Quantity)
    assert tuning.value.value == pytest.approx(60.0, rel=2e-3)
    assert total.value.value == pytest.approx(4.2 * 6.0 / 36.0, rel=0.01)
    assert isinstance(figure(found, FigureName.AMPLIFIER_LOAD).value, NotAvailable)
    assert "phase" not in figure(found, FigureName.IMPEDANCE_MINIMUM).also
    assert found.wrinkles == ()


def test_a_falling_curve_that_ends_gives_a_bound() -> None:
    measured = of_ohms(np.asarray(8.0 * (GRID / 1000.0) ** -0.1, dtype=np.complex128))
    measured = replace(measured, valid=GRID < 5000.0)
    least = figure(derive_impedance(measured, StatedUncertainty()), FigureName.IMPEDANCE_MINIMUM)
    assert isinstance(least.value, Bound)
    assert least.value.sense == "at most"


def test_another_kind_of_box_is_not_fitted() -> None:
    """Two peaks close together that no port makes: what is left is too much."""
    ohms = (
        6.0
        + 30.0 / (1.0 + 9j * (GRID / 60.0 - 60.0 / GRID))
        + 60.0 / (1.0 + 40j * (GRID / 90.0 - 90.0 / GRID))
    )
    found = derive_impedance(of_ohms(ohms), StatedUncertainty())
    assert isinstance(figure(found, FigureName.BOX_TUNING).value, NotAvailable)


def test_no_figure_without_an_impedance() -> None:
    assert impedance_figures(None, UNIT) == ()
