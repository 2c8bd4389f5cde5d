"""A sweep that is too fast for a vented box: off by ten decibels and more about its tuning, and noticed.

The truth is that of steady tones; the seed is another than those with which the limits were chosen.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from accuracy.distortion import harmonics, record, varied

from earwitness.measurement.levels import UNSETTLED

pytestmark = pytest.mark.slow
FAST_S = 3.0


def test_harmonics_that_a_fast_sweep_spoils_are_less_sure_or_not_told(tmp_path: Path) -> None:
    """What is told as clear is within half a decibel or its noise, the rest within what is stated."""
    one = record(varied("ladle", 12), tmp_path, FAST_S)
    assert UNSETTLED in one.series.notes
    found = harmonics(one)
    clear, error = found.clear, np.abs(found.error_db)
    assert clear.sum() > 20
    assert np.all(error[clear] <= np.maximum(0.5, 3.0 * found.uncertainty_db[clear]))
    assert np.mean(error <= 2.0 * found.uncertainty_db) > 0.88
