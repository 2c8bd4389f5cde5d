"""Driver, crossover, stimulus and air against published values."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.fft
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from earwitness.virtual.air import Air
from earwitness.virtual.crossover import Branch, Shelf, high_pass, low_pass
from earwitness.virtual.parts import Driver
from earwitness.virtual.stimulus import Sweep

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)
AIR = Air(20.0)
FREQUENCIES = np.geomspace(10.0, 40_000.0, 500)


def driver_with(total_q: float, resonance_hz: float) -> Driver:
    """A driver whose box is three quarters of the stiffness, and whose losses are mostly electrical."""
    mass, damping, resistance, diameter = 0.01, 0.4, 5.8, 0.12
    omega = 2.0 * np.pi * resonance_hz
    stiffness = mass * omega**2
    area = np.pi * diameter**2 / 4.0
    volume = AIR.density * AIR.speed**2 * area**2 / (0.75 * stiffness)
    force_factor = float(np.sqrt((mass * omega / total_q - damping) * resistance))
    return Driver(resistance, force_factor, mass, 0.25 * stiffness, damping, diameter, volume)


def level(driver: Driver, frequency_hz: float) -> float:
    """Level of the acceleration of air re its value far above resonance, dB."""
    frequencies = np.array([frequency_hz, 1e6])
    acceleration = np.abs(frequencies * driver.volume_velocity(frequencies, AIR))
    return float(20.0 * np.log10(acceleration[0] / acceleration[1]))


@pytest.mark.parametrize("row", REFERENCE["air"]["rows"], ids=lambda row: f"{row['temperature_c']}C")
def test_air(row: dict[str, Any]) -> None:
    air = Air(row["temperature_c"])
    assert air.speed == pytest.approx(row["speed"], abs=5e-5)
    assert air.density == pytest.approx(row["density"], abs=5e-6)


@pytest.mark.parametrize("row", REFERENCE["sealed_box"]["rows"], ids=lambda row: f"Q{row['q']}")
def test_corners_of_a_sealed_box(row: dict[str, Any]) -> None:
    driver = driver_with(row["q"], 60.0)
    assert driver.resonance_hz(AIR) == pytest.approx(60.0, rel=1e-12)
    assert driver.total_q(AIR) == pytest.approx(row["q"], rel=1e-12)
    for name, fall in (("f3", 3.0), ("f6", 6.0), ("f10", 10.0)):
        corner = brentq(lambda f, fall=fall: level(driver, f) + fall, 15.0, 150.0)
        assert corner / 60.0 == pytest.approx(row[name], abs=1e-5)


def test_the_peak_of_a_sealed_box() -> None:
    driver = driver_with(1.0, 60.0)
    peak = minimize_scalar(lambda f: -level(driver, f), bounds=(50.0, 200.0), method="bounded")
    assert -peak.fun == pytest.approx(REFERENCE["sealed_box"]["peak_db"], abs=1e-4)
    assert peak.x / 60.0 == pytest.approx(REFERENCE["sealed_box"]["peak_at"], abs=1e-3)


def test_impedance_at_resonance_is_the_coil_and_the_losses() -> None:
    driver = driver_with(0.8, 60.0)
    assert driver.impedance(np.array([60.0]), AIR)[0] == pytest.approx(
        driver.resistance_ohm + driver.force_factor**2 / driver.damping, rel=1e-12
    )
    assert driver.impedance(np.array([1e-6, 1e7]), AIR).real == pytest.approx(5.8, rel=1e-6)


def test_power_into_a_driver_is_lost_in_it() -> None:
    """Energy is kept: what the source gives goes into the coil's resistance and the mechanical damping."""
    driver = driver_with(0.7, 55.0)
    current = 1.0 / driver.impedance(FREQUENCIES, AIR)
    velocity = driver.volume_velocity(FREQUENCIES, AIR) / driver.area_m2
    lost = driver.resistance_ohm * np.abs(current) ** 2 + driver.damping * np.abs(velocity) ** 2
    np.testing.assert_allclose(lost, current.real, rtol=1e-9)


@given(st.floats(100.0, 10_000.0))
def test_a_fourth_order_crossover_sums_to_an_all_pass(corner_hz: float) -> None:
    low, high = low_pass(FREQUENCIES, corner_hz), high_pass(FREQUENCIES, corner_hz)
    np.testing.assert_allclose(np.abs(low + high), 1.0, rtol=1e-12)
    np.testing.assert_allclose(np.sin(np.angle(low / high)), 0.0, atol=1e-9)
    assert np.abs(low_pass(np.array([corner_hz]), corner_hz))[0] == pytest.approx(0.5, rel=1e-12)


def test_slopes_of_a_fourth_order_crossover() -> None:
    high = np.abs(high_pass(np.array([10.0, 20.0]), 10_000.0))
    assert 20.0 * np.log10(high[1] / high[0]) == pytest.approx(24.0824, abs=1e-3)


def test_a_branch_pads_delays_and_inverts() -> None:
    plain = Branch("high", 2000.0).transfer(FREQUENCIES)
    other = Branch("high", 2000.0, pad_db=6.0, delay_s=1e-4, polarity=-1).transfer(FREQUENCIES)
    expected = -(10.0 ** (-6.0 / 20.0)) * np.exp(-2j * np.pi * FREQUENCIES * 1e-4)
    np.testing.assert_allclose(other / plain, expected, rtol=1e-9)


def test_a_shelf_falls_by_its_depth_and_half_of_it_at_its_centre() -> None:
    shelf = np.abs(Shelf(400.0, 5.0).transfer(np.array([0.01, 400.0, 1e7])))
    np.testing.assert_allclose(20.0 * np.log10(shelf), [0.0, -2.5, -5.0], atol=1e-6)


@pytest.mark.parametrize("row", REFERENCE["sweep"]["rows"], ids=lambda row: f"{row['wanted_s']}s")
def test_rates_and_leads_of_the_sweep(row: dict[str, Any]) -> None:
    sweep = Sweep(row["first_hz"], row["last_hz"], row["wanted_s"], 0.5, 48_000)
    assert sweep.rate_s == pytest.approx(row["rate_s"], abs=1e-9)
    assert sweep.duration_s == pytest.approx(row["duration_s"], abs=5e-7)
    np.testing.assert_allclose([sweep.lead_s(n) for n in range(2, 7)], row["leads_s"], atol=5e-7)


@pytest.mark.parametrize("order", [2, 3])
def test_harmonics_of_the_samples_lead_as_the_table_says(order: int) -> None:
    """A power of the sweep holds its harmonic, whose response comes earlier by the table's lead."""
    row, rate = REFERENCE["sweep"]["rows"][1], 96_000
    samples = Sweep(row["first_hz"], row["last_hz"], row["wanted_s"], 1.0, rate).samples()
    size = scipy.fft.next_fast_len(2 * len(samples))
    spectrum = scipy.fft.rfft(samples, size)
    bent = scipy.fft.rfft(samples**order, size)
    inside = np.abs(np.fft.rfftfreq(size, 1.0 / rate) - 9000.0) < 8000.0
    response = np.abs(scipy.fft.irfft(np.where(inside, bent / spectrum, 0.0), size))
    expected = row["leads_s"][order - 2]
    early = round((expected + 0.05) * rate)
    lead = early - int(np.argmax(response[size - early : size - early + round(0.1 * rate)]))
    assert lead / rate == pytest.approx(expected, abs=2.5 / rate)


def test_the_sweep_starts_and_ends_softly_and_keeps_its_peak() -> None:
    samples = Sweep(10.0, 22_000.0, 1.0, 0.5, 48_000).samples()
    assert samples[0] == 0.0
    assert samples[-1] == 0.0
    assert np.max(np.abs(samples)) == pytest.approx(0.5, rel=1e-4)


def test_a_sweep_without_a_whole_first_cycle_is_refused() -> None:
    with pytest.raises(ValueError, match="too short"):
        Sweep(10.0, 22_000.0, 0.1, 0.5, 48_000).samples()
