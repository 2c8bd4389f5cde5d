"""Times against the published table (NIOSH and OSHA columns: read) and equal energy (computed apart)."""

import numpy as np
import pytest

from earwitness.methods.hearing_exposure import (
    eu_hours_a_day,
    niosh_hours_a_day,
    osha_hours_a_day,
    who_adult_hours_a_week,
)

LEVEL_DB = np.array([85.0, 94.0, 97.0, 100.0, 102.0, 106.0])


def test_niosh_halves_every_three_decibels() -> None:
    # NIOSH 98-126 (read): 85 dB 8 h, 94 dB 60 min, 97 dB 30 min, 100 dB 15 min; the rest by the formula.
    minutes = niosh_hours_a_day(LEVEL_DB) * 60
    assert minutes == pytest.approx([480, 60, 30, 15, 9.449, 3.750], abs=0.001)


def test_osha_halves_every_five_decibels() -> None:
    # 29 CFR 1910.95 table G-16 (read in part): 85 dB 16 h, 90 dB 8 h, 100 dB 2 h.
    minutes = osha_hours_a_day(LEVEL_DB) * 60
    assert minutes == pytest.approx([960, 275.688, 181.886, 120, 90.943, 52.233], abs=0.001)


def test_equal_energy_limits() -> None:
    # ITU-T H.870 adults and Directive 2003/10/EC art. 3 (second-hand; computed with 10 lg).
    assert who_adult_hours_a_week(LEVEL_DB) * 60 == pytest.approx(
        [758.947, 95.546, 47.886, 24.000, 15.143, 6.029], abs=0.001
    )
    assert eu_hours_a_day(LEVEL_DB) * 60 == pytest.approx(
        [760.75, 95.77, 48.00, 24.06, 15.18, 6.04], abs=0.006
    )


def test_shape_is_kept() -> None:
    assert niosh_hours_a_day(np.zeros((2, 3))).shape == (2, 3)
