"""Times against the published table (NIOSH column: read)."""

import numpy as np
import pytest

from earwitness.methods.hearing_exposure import niosh_hours_a_day

LEVEL_DB = np.array([85.0, 94.0, 97.0, 100.0, 102.0, 106.0])


def test_niosh_halves_every_three_decibels() -> None:
    # NIOSH 98-126 (read): 85 dB 8 h, 94 dB 60 min, 97 dB 30 min, 100 dB 15 min; the rest by the formula.
    minutes = niosh_hours_a_day(LEVEL_DB) * 60
    assert minutes == pytest.approx([480, 60, 30, 15, 9.449, 3.750], abs=0.001)


def test_shape_is_kept() -> None:
    assert niosh_hours_a_day(np.zeros((2, 3))).shape == (2, 3)
