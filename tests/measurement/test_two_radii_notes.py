"""How what two surfaces tell is said."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.measurement.two_radii_notes import _bands, _orders


@pytest.mark.parametrize(
    ("frequency_hz", "text"), [([21.6, 22.3], "at 22 Hz"), ([300.0, 400.0], "from 300 Hz to 400 Hz")]
)
def test_a_band_that_rounds_to_one_frequency_is_one(frequency_hz: list[float], text: str) -> None:
    assert _bands(np.array([10.0, *frequency_hz, 900.0]), np.array([False, True, True, False])) == text


@pytest.mark.parametrize(("orders", "text"), [((5, 5), "order 5"), ((4, 6), "orders 4 to 6")])
def test_one_order_is_said_once(orders: tuple[int, int], text: str) -> None:
    assert _orders(*orders) == text
