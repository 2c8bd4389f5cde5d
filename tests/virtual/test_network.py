"""Crossovers and ladders of parts against filter theory, with scipy.signal as an independent hand."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from earwitness.virtual.ladder import Ladder, Step
from earwitness.virtual.network import AllPass, Bell, Branch, Cut, Shelf

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_drivers.toml").read_text(encoding="utf-8")
)
FREQUENCIES = np.geomspace(10.0, 40_000.0, 300)
Side = Literal["low", "high"]
SIDES: tuple[Side, Side] = ("low", "high")


@pytest.mark.parametrize("order", range(1, 7))
@pytest.mark.parametrize("passes", ["low", "high"])
def test_butterworth_filters_are_scipys(order: int, passes: Side) -> None:
    oracle = scipy.signal.freqs(*scipy.signal.butter(order, 1800.0, passes, analog=True), FREQUENCIES)[1]
    np.testing.assert_allclose(
        Cut(passes, "butterworth", order, 1800.0).transfer(FREQUENCIES), oracle, rtol=1e-9
    )


@pytest.mark.parametrize("order", [2, 4, 6, 8])
@pytest.mark.parametrize("passes", ["low", "high"])
def test_linkwitz_riley_filters_are_butterworth_filters_twice(order: int, passes: Side) -> None:
    once = scipy.signal.freqs(*scipy.signal.butter(order // 2, 1800.0, passes, analog=True), FREQUENCIES)[1]
    found = Cut(passes, "linkwitz_riley", order, 1800.0)
    np.testing.assert_allclose(found.transfer(FREQUENCIES), once**2, rtol=1e-9)
    assert np.abs(found.transfer(np.array([1800.0])))[0] == pytest.approx(0.5, rel=1e-12)


def test_a_shelf_falls_by_its_depth_and_half_of_it_at_its_centre() -> None:
    shelf = np.abs(Shelf(400.0, 5.0).transfer(np.array([0.01, 400.0, 1e7])))
    np.testing.assert_allclose(20.0 * np.log10(shelf), [0.0, -2.5, -5.0], atol=1e-6)


SUMS: list[tuple[Literal["butterworth", "linkwitz_riley"], int, int]] = [
    ("linkwitz_riley", 2, -1),
    ("linkwitz_riley", 4, 1),
    ("linkwitz_riley", 6, -1),
    ("linkwitz_riley", 8, 1),
    ("butterworth", 1, 1),
    ("butterworth", 1, -1),
    ("butterworth", 3, 1),
    ("butterworth", 3, -1),
    ("butterworth", 5, 1),
]


@pytest.mark.parametrize(("family", "order", "polarity"), SUMS)
def test_low_and_high_pass_sum_to_an_all_pass(
    family: Literal["butterworth", "linkwitz_riley"], order: int, polarity: Literal[1, -1]
) -> None:
    low = Branch(("woofer",), (Cut("low", family, order, 900.0),))
    high = Branch(("tweeter",), (Cut("high", family, order, 900.0),), polarity=polarity)
    total = low.transfer(FREQUENCIES) + high.transfer(FREQUENCIES)
    np.testing.assert_allclose(np.abs(total), 1.0, rtol=1e-9)


def test_the_wrong_polarity_of_a_second_order_leaves_a_hole_and_of_butterworth_a_peak() -> None:
    """At the corner: LR2 in phase cancels; a second-order Butterworth pair, inverted, is up 3.01 dB
    (textbook)."""
    at = np.array([900.0])
    hole = sum(Cut(side, "linkwitz_riley", 2, 900.0).transfer(at) for side in SIDES)
    assert np.abs(hole)[0] < 1e-12
    low, high = (Cut(side, "butterworth", 2, 900.0).transfer(at) for side in SIDES)
    assert 20.0 * np.log10(np.abs(low - high))[0] == pytest.approx(3.0103, abs=1e-4)


def test_three_ways_are_flat_once_the_lowest_is_turned_like_the_others() -> None:
    """A fourth-order Linkwitz-Riley pair turns as an all-pass of the second order with Q 0.7071 (Linkwitz
    1976)."""
    low, high = 350.0, 2800.0
    bass = Branch(("bass",), (Cut("low", "linkwitz_riley", 4, low), AllPass(high, math.sqrt(0.5))))
    middle = Branch(
        ("middle",), (Cut("high", "linkwitz_riley", 4, low), Cut("low", "linkwitz_riley", 4, high))
    )
    treble = Branch(
        ("treble",), (Cut("high", "linkwitz_riley", 4, low), Cut("high", "linkwitz_riley", 4, high))
    )
    total = sum(branch.transfer(FREQUENCIES) for branch in (bass, middle, treble))
    np.testing.assert_allclose(np.abs(total), 1.0, rtol=1e-9)


@settings(deadline=None)
@given(st.floats(50.0, 15_000.0), st.none() | st.floats(0.3, 5.0))
def test_all_passes_only_turn(centre_hz: float, q: float | None) -> None:
    filtered = AllPass(centre_hz, q)
    np.testing.assert_allclose(np.abs(filtered.transfer(FREQUENCIES)), 1.0, rtol=1e-9)
    assert filtered.transfer(np.array([centre_hz]))[0] == pytest.approx(-1j if q is None else -1.0, rel=1e-9)


@pytest.mark.parametrize(
    "row", REFERENCE["bell"]["rows"], ids=lambda row: f"{row['gain_db']:g}dB_Q{row['q']:g}"
)
def test_height_and_width_of_a_bell(row: dict[str, Any]) -> None:
    bell = Bell(1000.0, row["gain_db"], row["q"])

    def level(octaves: float) -> float:
        return float(20.0 * np.log10(np.abs(bell.transfer(np.array([1000.0 * 2.0**octaves]))[0])))

    assert level(0.0) == pytest.approx(row["gain_db"], rel=1e-12)
    half = brentq(lambda octaves: level(octaves) - row["gain_db"] / 2.0, 1e-5, 3.0)
    assert 2.0 * half == pytest.approx(row["octaves"], abs=5e-6)
    assert level(8.0) == pytest.approx(0.0, abs=1e-3)


def test_a_notch_goes_down() -> None:
    assert np.abs(Bell(1000.0, -12.0, 4.0).transfer(np.array([1000.0])))[0] == pytest.approx(
        10 ** (-0.6), rel=1e-12
    )


def test_a_branch_pads_delays_inverts_and_takes_any_section() -> None:
    branch = Branch(("tweeter",), (Shelf(400.0, 5.0),), pad_db=6.0, delay_s=1e-4, polarity=-1)
    expected = -(10.0 ** (-6.0 / 20.0)) * np.exp(-2j * np.pi * FREQUENCIES * 1e-4)
    shelf = Shelf(400.0, 5.0).transfer(FREQUENCIES)
    np.testing.assert_allclose(branch.transfer(FREQUENCIES) / shelf, expected, rtol=1e-9)
    assert branch.ideal
    assert not Branch(("tweeter",), polarity=-1).ideal


def test_odd_linkwitz_riley_orders_are_refused() -> None:
    with pytest.raises(
        ValueError, match="no linkwitz_riley filter of order 3; Linkwitz-Riley orders are even"
    ):
        Cut("low", "linkwitz_riley", 3, 900.0)
    with pytest.raises(ValueError, match="no butterworth filter of order 0"):
        Cut("low", "butterworth", 0, 900.0)


def butterworth_ladder(passes: Side, values: list[float], corner_hz: float, load_ohm: float) -> Ladder:
    """Coils in series and capacitors across, in turns; a high pass has the one for the other, and 1/value."""
    omega = 2.0 * math.pi * corner_hz
    steps = []
    for position, value in enumerate(values):
        if passes == "low" and position % 2 == 0:
            steps.append(Step("series", inductance_h=value * load_ohm / omega))
        elif passes == "low":
            steps.append(Step("across", capacitance_f=value / (load_ohm * omega)))
        elif position % 2 == 0:
            steps.append(Step("series", capacitance_f=1.0 / (value * load_ohm * omega)))
        else:
            steps.append(Step("across", inductance_h=load_ohm / (value * omega)))
    return Ladder(tuple(steps))


def into(ladder: Ladder, load_ohm: float) -> tuple[Any, Any]:
    """Voltage at a resistor for each volt, and current from the amplifier."""
    chain = ladder.chain(FREQUENCIES)
    ahead = chain[:, 0, 0] + chain[:, 0, 1] / load_ohm
    return 1.0 / ahead, (chain[:, 1, 0] + chain[:, 1, 1] / load_ohm) / ahead


@pytest.mark.parametrize("values", REFERENCE["ladder"]["rows"], ids=lambda values: f"order {len(values)}")
def test_ladders_of_the_textbook_are_butterworth_filters_and_a_constant_load(values: list[float]) -> None:
    """The two ladders in parallel draw what a resistor would (complementary networks; textbook)."""
    load, total = 6.0, np.zeros(len(FREQUENCIES), dtype=np.complex128)
    for passes in SIDES:
        voltage, current = into(butterworth_ladder(passes, values, 2000.0, load), load)
        order = len(values)
        oracle = scipy.signal.freqs(*scipy.signal.butter(order, 2000.0, passes, analog=True), FREQUENCIES)[1]
        np.testing.assert_allclose(voltage, oracle, rtol=1e-6)
        total += current
    np.testing.assert_allclose(1.0 / total, load, rtol=1e-6)


@settings(deadline=None)
@given(
    st.lists(
        st.builds(
            Step,
            placed=st.sampled_from(["series", "across"]),
            resistance_ohm=st.floats(0.05, 50.0),
            inductance_h=st.just(0.0) | st.floats(1e-5, 1e-2),
            capacitance_f=st.just(0.0) | st.floats(1e-6, 1e-4),
            beside_ohm=st.just(0.0) | st.floats(1.0, 100.0),
        ),
        max_size=5,
    )
)
def test_ladders_are_reciprocal_and_passive(steps: list[Step]) -> None:
    """The determinant of a reciprocal network's chain matrix is 1; no power comes out of resistors."""
    ladder = Ladder(tuple(steps))
    np.testing.assert_allclose(np.linalg.det(ladder.chain(FREQUENCIES)), 1.0, rtol=1e-5)
    voltage, current = into(ladder, 8.0)
    assert np.all(current.real >= np.abs(voltage) ** 2 / 8.0 * (1.0 - 1e-9))


def test_steps_of_a_ladder() -> None:
    """Two resistors divide; a resistor beside a coil takes over high up (Ohm)."""
    pad = Ladder((Step("series", 4.0), Step("across", 12.0)))
    voltage, current = into(pad, 6.0)
    np.testing.assert_allclose(voltage, 0.5, rtol=1e-12)
    np.testing.assert_allclose(1.0 / current, 8.0, rtol=1e-12)
    trap = Step("series", inductance_h=1e-3, beside_ohm=5.0)
    assert trap.impedance(np.array([1e7]))[0] == pytest.approx(5.0, rel=1e-3)
    assert trap.impedance(np.array([1.0]))[0] == pytest.approx(2e-3j * math.pi, rel=2e-3)
    series = Step("across", 2.0, 1e-3, 1e-5)
    resonance = 1.0 / (2.0 * math.pi * math.sqrt(1e-8))
    assert series.impedance(np.array([resonance]))[0] == pytest.approx(2.0, rel=1e-9)
    with pytest.raises(ValueError, match="needs a resistance, an inductance or a capacitance"):
        Step("series")
