"""Heat against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.heating import COLD, Heating

HEATING = Heating(5.0, 2.0, 3.0, 400.0)
RATE = 1000.0


def test_resistance_of_copper_and_aluminium() -> None:
    """Handbook coefficients: 100 K make copper 1.3930 times its resistance, aluminium 1.4030."""
    assert HEATING.resistance_share(100.0) == pytest.approx(1.3930, abs=1e-6)
    aluminium = Heating(5.0, 2.0, 3.0, 400.0, "aluminium")
    assert aluminium.resistance_share(np.array([100.0])) == pytest.approx([1.4030], abs=1e-6)


def test_both_rise_with_their_time_constants() -> None:
    """A current so small that resistance hardly changes: R_th P (1 − e^(−t/τ)) each, and cooling e^(−t/τ)."""
    current = np.full(8000, 0.01)
    whole, (coil, magnet) = HEATING.rises(current, 6.0, RATE, COLD)
    watts = 0.01**2 * 6.0
    expected = [5.0 * watts * (1.0 - np.exp(-4.0)), 3.0 * watts * (1.0 - np.exp(-8.0 / 400.0))]
    assert [coil, magnet] == pytest.approx(expected, rel=1e-4)
    assert whole[2000] == pytest.approx(
        5.0 * watts * (1.0 - np.exp(-1.0)) + 3.0 * watts * (1.0 - np.exp(-0.005)), rel=1e-4
    )
    assert HEATING.cooled((10.0, 10.0), 2.0) == pytest.approx((10.0 * np.exp(-1.0), 10.0 * np.exp(-0.005)))


def test_it_settles_where_power_and_rise_agree() -> None:
    """From the equations' own fixed point, T = R_th I²R(1 + αT): held by an unchanging current."""
    settled = HEATING.settled(1.0, 6.0)
    assert settled == pytest.approx(8.0 * 1.0 * 6.0 * (1.0 + 0.00393 * settled), rel=1e-9)
    _, (coil, magnet) = HEATING.rises(np.full(36_000, 1.0), 6.0, 10.0, COLD)
    assert coil + magnet == pytest.approx(settled, rel=1e-3)
    with pytest.raises(ValueError, match="without end"):
        HEATING.settled(9.0, 6.0)


def test_impossible_time_constants_are_refused() -> None:
    with pytest.raises(ValueError, match="less than magnet_s"):
        Heating(5.0, 500.0, 3.0, 400.0)
