"""dBu against the voltage of one milliwatt in 600 ohms."""

from __future__ import annotations

import pytest

from earwitness.methods.line_level import ZERO_DBU_V, dbu_of_volts, volts_of_dbu


def test_zero_is_a_milliwatt_in_600_ohms() -> None:
    assert pytest.approx(1e-3, rel=1e-12) == ZERO_DBU_V**2 / 600.0


@pytest.mark.parametrize(("level", "volts"), [(0.0, 0.774597), (4.0, 1.227653), (-20.0, 0.0774597)])
def test_volts_of_levels(level: float, volts: float) -> None:
    assert volts_of_dbu(level) == pytest.approx(volts, rel=1e-5)
    assert dbu_of_volts(volts) == pytest.approx(level, abs=1e-5)


def test_one_volt() -> None:
    # 0 dBV is 20 lg(1/√0.6) = 2.218 dBu
    assert dbu_of_volts(1.0) == pytest.approx(2.21849, abs=1e-5)
