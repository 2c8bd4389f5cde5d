"""Times against the published tables (NIOSH 98-126 and Directive 2003/10/EC: read; FACTS §16)."""

import numpy as np
import pytest

from earwitness.methods.hearing_exposure import (
    EU_LOWER_ACTION_PEAK_PA,
    daily_exposure_level_db,
    eu_hours_a_day,
    niosh_dose,
    niosh_hours_a_day,
)

LEVEL_DB = np.array([85.0, 94.0, 97.0, 100.0, 102.0, 106.0])


def test_niosh_halves_every_three_decibels() -> None:
    # NIOSH 98-126 (read): 85 dB 8 h, 94 dB 60 min, 97 dB 30 min, 100 dB 15 min; the rest by the formula.
    minutes = niosh_hours_a_day(LEVEL_DB) * 60
    assert minutes == pytest.approx([480, 60, 30, 15, 9.449, 3.750], abs=0.001)


def test_shape_is_kept() -> None:
    assert niosh_hours_a_day(np.zeros((2, 3))).shape == (2, 3)


def test_the_directive_counts_equal_energy() -> None:
    # FACTS §16, column EU 87 min/day (computed)
    minutes = eu_hours_a_day(LEVEL_DB) * 60
    assert minutes == pytest.approx([760.75, 95.77, 48.00, 24.06, 15.18, 6.04], abs=0.005)
    # the directive's footnote: 112 Pa are 135 dB re 20 µPa (FACTS §16: 134.964)
    assert 20.0 * np.log10(EU_LOWER_ACTION_PEAK_PA / 20e-6) == pytest.approx(134.964, abs=5e-4)


def test_doses_add_up() -> None:
    # by the table: half of the hour at 94 dB and half of the 15 min at 100 dB make one whole day's
    assert niosh_dose([94.0, 100.0], [0.5, 7.5 / 60.0]) == pytest.approx(1.0, rel=1e-9)
    assert niosh_dose([85.0], [8.0]) == pytest.approx(1.0)
    assert niosh_dose([], []) == 0.0


def test_the_daily_exposure_level_of_a_steady_day_is_its_level() -> None:
    assert daily_exposure_level_db([87.0], [8.0]) == pytest.approx(87.0)
    # closed form: ten times the time is 10 dB; two like ones in a row are one of twice the time, 3.01 dB
    assert daily_exposure_level_db([97.0], [0.8]) == pytest.approx(87.0)
    assert daily_exposure_level_db([90.0, 90.0], [4.0, 4.0]) == pytest.approx(90.0)
    assert daily_exposure_level_db(90.0, eu_hours_a_day(90.0)) == pytest.approx(87.0)
