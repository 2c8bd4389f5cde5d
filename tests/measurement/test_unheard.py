"""Ports without a near field: told by the cone's notch in vented cabinets, and in no closed one."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from accuracy.against_truth import Region, corner_errors, errors
from accuracy.bench import ON_AXIS_ALONE, measure, record
from accuracy.loudspeakers import MADE

from earwitness.measurement.unheard import NOTCH, Unheard, unheard
from earwitness.records.facts import Radiator
from earwitness.records.figures import FigureName
from earwitness.records.grid import derived_grid
from earwitness.records.uncertainty import ComponentName

GRID = derived_grid()
VALID = GRID < 700.0
CONE, PORT = Radiator("cone", 0.11), Radiator("port", 0.05)
#: Butterworth of the fourth order at 45 Hz (Thiele 1971, recalled): one denominator for all.
S = 1j * GRID / 45.0
WHOLE = S**4 / (S**4 + 2.6131 * S**3 + 3.4142 * S**2 + 2.6131 * S + 1.0)
#: Losses of the box, Q 10: the cone's part is (s² + s/Q + 1)/s² of the whole, the port's the rest.
CONES = WHOLE * (S**2 + S / 10.0 + 1.0) / S**2


def test_a_cone_s_notch_tells_of_a_port() -> None:
    found = unheard([CONE], CONES[None], GRID, VALID)
    assert found is not None
    assert found.tuning_hz == pytest.approx(45.0, rel=0.03)
    assert "cone" in found.note
    # what a port without losses adds: all over cone is 1/(1 − (f_b/f)²), 0.354 dB at five times the tuning
    at = int(np.searchsorted(GRID, 5.02 * found.tuning_hz))
    assert found.half_width_db(GRID)[at] == pytest.approx(0.354, abs=0.01)
    assert not found.said(GRID)[at - 10]


def test_a_port_that_was_heard_isn_t_missing() -> None:
    # pressures go as volume velocity over diameter
    both = np.stack([CONES, (WHOLE - CONES) * 0.11 / 0.05])
    assert unheard([CONE, PORT], both, GRID, VALID) is None
    assert unheard([PORT, CONE], both[::-1], GRID, VALID) is None
    assert unheard([CONE, CONE], np.stack([CONES, CONES]), GRID, VALID) is not None


@pytest.mark.parametrize("quality", [0.5, 0.707, 1.2])
def test_a_closed_cabinet_has_no_notch(quality: float) -> None:
    closed = S**2 / (S**2 + S / quality + 1.0)
    assert unheard([CONE], np.asarray(closed[None], dtype=np.complex128), GRID, VALID) is None


def test_a_narrow_dip_of_some_decibels_is_none() -> None:
    dip = 1.0 - 0.6 / (1.0 + (20.0 * np.log2(GRID / 60.0)) ** 2)
    assert unheard([CONE], dip[None].astype(np.complex128), GRID, VALID) is None


def test_what_is_said_without_the_port_s_near_field_is_true(tmp_path: Path) -> None:
    recorded = record(MADE["vented ball"](), tmp_path, ON_AXIS_ALONE)
    takes = tuple(take for take in recorded.takes if take.key.radiator != "port")
    measured = measure(dataclasses.replace(recorded, takes=takes))
    assert any(NOTCH in note for note in measured.responses.notes)
    found = errors(measured)
    near = found.regions[Region.NEAR][0]
    assert found.frequency_hz[near].min() > 4.0 * 45.0
    unsure_db = measured.responses.components[ComponentName.SPLICE][0, ::4]
    assert np.abs(found.error_db[0][near]).max() < 0.7
    assert np.mean(np.abs(found.error_db[0][near]) <= 1.96 * unsure_db[near]) > 0.9
    assert np.isnan(corner_errors(measured)[FigureName.F6])
    assert not any(NOTCH in note for note in measure(recorded).responses.notes)


def test_the_uncertainty_falls_with_frequency() -> None:
    half_width = Unheard(40.0, CONE).half_width_db(GRID)
    said = half_width[half_width > 0.0]
    assert np.all(np.diff(said) < 0.0)
