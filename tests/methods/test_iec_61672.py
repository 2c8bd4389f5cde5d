"""The weightings against the standard's table of design goals."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.methods.iec_61672 import a_weighting_db, c_weighting_db

#: IEC 61672-1:2013, table 3: nominal frequency, A, C in dB (recalled; given to a tenth).
TABLE = """
10 -70.4 -14.3 | 12.5 -63.4 -11.2 | 16 -56.7 -8.5 | 20 -50.5 -6.2 | 25 -44.7 -4.4 | 31.5 -39.4 -3.0
40 -34.6 -2.0 | 50 -30.2 -1.3 | 63 -26.2 -0.8 | 80 -22.5 -0.5 | 100 -19.1 -0.3 | 125 -16.1 -0.2
160 -13.4 -0.1 | 200 -10.9 0.0 | 250 -8.6 0.0 | 315 -6.6 0.0 | 400 -4.8 0.0 | 500 -3.2 0.0 | 630 -1.9 0.0
800 -0.8 0.0 | 1000 0.0 0.0 | 1250 0.6 0.0 | 1600 1.0 -0.1 | 2000 1.2 -0.2 | 2500 1.3 -0.3 | 3150 1.2 -0.5
4000 1.0 -0.8 | 5000 0.5 -1.3 | 6300 -0.1 -2.0 | 8000 -1.1 -3.0 | 10000 -2.5 -4.4 | 12500 -4.3 -6.2
16000 -6.6 -8.5 | 20000 -9.3 -11.2
"""
ROWS = [tuple(float(x) for x in row.split()) for row in TABLE.replace("\n", "|").split("|") if row.strip()]


@pytest.mark.parametrize(("nominal_hz", "a_db", "c_db"), ROWS)
def test_the_table(nominal_hz: float, a_db: float, c_db: float) -> None:
    # the table's values are of the exact frequencies, 10^(n/10) Hz
    exact = 10.0 ** (round(10.0 * np.log10(nominal_hz)) / 10.0)
    assert float(a_weighting_db(exact)) == pytest.approx(a_db, abs=0.051)
    assert float(c_weighting_db(exact)) == pytest.approx(c_db, abs=0.051)
