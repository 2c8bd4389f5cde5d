from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.derive.formatting import (
    angle_text,
    decimals_for,
    frequency_text,
    number_text,
    value_text,
)
from earwitness.derive.numerals import measured


@pytest.mark.parametrize(
    ("uncertainty", "decimals"),
    [
        (0.5, 1),
        (0.14, 2),
        (0.19, 2),
        (0.196, 1),
        (0.96, 1),
        (0.999, 1),
        (3.0, 0),
        (14.0, 0),
        (30.0, -1),
        (0.05, 2),
    ],
)
def test_decimals(uncertainty: float, decimals: int) -> None:
    assert decimals_for(uncertainty) == decimals


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (86.4321, 0.52, "dB", "86.4 ± 0.5 dB"),
        (86.4321, 0.14, "dB", "86.43 ± 0.14 dB"),
        (47.4, 2.2, "Hz", "47 ± 2 Hz"),
        (1234.0, 41.0, "Hz", "1.23 ± 0.04 kHz"),
        (-0.954, 0.052, "dB/octave", "−0.95 ± 0.05 dB/octave"),
        (86.4321, None, "dB", "86.4 dB"),
        (86.4321, 0.0, "dB", "86.4 dB"),
        (86.4321, 1.1e-14, "dB", "86.4 dB"),
    ],
)
def test_values_with_their_uncertainty(value: float, uncertainty: float | None, unit: str, text: str) -> None:
    assert str(measured(value, uncertainty, unit, "figure:f3")) == text


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (47.3, "47 Hz"),
        (303.8, "300 Hz"),
        (996.0, "1 kHz"),
        (1215.0, "1.2 kHz"),
        (9010.0, "9 kHz"),
        (16_000.0, "16 kHz"),
    ],
)
def test_frequencies(hz: float, text: str) -> None:
    assert frequency_text(hz) == text


def test_frequency_digits() -> None:
    assert frequency_text(554.9, 3) == "555 Hz"
    assert frequency_text(1234.0, 3) == "1.23 kHz"


def test_signs_and_angles() -> None:
    assert number_text(-3.25, 1) == "−3.2"
    assert number_text(2.9, 1, signed=True) == "+2.9"
    assert number_text(-0.01, 1, signed=True) == "0.0"
    assert value_text(48.2, "°", 0) == "48°"
    assert angle_text(48.2) == "48°"


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e3))
def test_what_is_printed_lies_within_the_uncertainty(value: float, uncertainty: float) -> None:
    text = str(measured(value, uncertainty, "dB", "figure:f3"))
    shown, spread = text.removesuffix(" dB").replace("−", "-").split(" ± ")
    assert abs(float(shown) - value) <= 0.53 * uncertainty
    assert float(spread) == pytest.approx(uncertainty, rel=0.34)
    assert "-" not in text
