"""What is wrong with levels over the angle, on fields of closed form; the pace of a sweep by its law."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import numpy.typing as npt
import pytest

from earwitness.measurement.quality_angles import (
    Foretold,
    axis_of_symmetry,
    disorder,
    meeting,
)
from earwitness.measurement.quality_pace import slopes_s
from earwitness.records.responses import Responses

Floats = npt.NDArray[np.float64]

ANGLES: Floats = np.arange(-170.0, 190.0, 10.0)
#: Orders up to that of ka = 3, which few bands need: a source whose level turns with frequency.
BANDS: Floats = np.linspace(0.2, 1.0, 12)


def field(angle_deg: Floats, lopsided: float = 0.3) -> Floats:
    """Levels (N, 12) of p = 1 + b·(cos θ + cos 2θ/2 + q·sin θ), dB; alike on both sides for q = 0."""
    turn = np.radians(angle_deg)[:, None]
    shape = np.cos(turn) + 0.25 * np.cos(2.0 * turn) + lopsided * np.sin(turn)
    return np.asarray(20.0 * np.log10(2.0 + BANDS * shape))


def test_a_cubic_is_foretold_exactly_in_uneven_steps() -> None:
    angles = np.array([-60.0, -50.0, -35.0, -20.0, -10.0, 0.0, 10.0, 15.0, 30.0, 40.0, 60.0])
    x = angles / 60.0
    levels = (x**3 - 2.0 * x**2 + x)[None, :]
    foretold = Foretold.on(angles)
    assert foretold.tells
    assert np.max(np.abs(levels @ foretold.misses.T)) < 1e-12
    assert not Foretold.on(angles[:6]).tells


def test_the_field_as_it_is_has_nothing_wrong() -> None:
    found = disorder(ANGLES, field(ANGLES))
    assert found is not None
    assert found.tells_level
    assert not found.out_of_level
    assert found.swap is None


@pytest.mark.parametrize("db", [0.6, -0.6, 1.0, 2.0])
def test_a_gain_is_found_with_its_size(db: float) -> None:
    levels = field(ANGLES)
    levels[7] += db
    found = disorder(ANGLES, levels)
    assert found is not None
    assert [p.place for p in found.out_of_level] == [7]
    assert found.out_of_level[0].louder_db == pytest.approx(db, abs=0.05)
    assert found.swap is None


def test_an_error_of_the_angle_is_no_gain() -> None:
    """Three degrees at 90°, where a beam of 30 dB from front to rear falls by up to 0.26 dB a degree."""

    def beam(angle_deg: Floats) -> Floats:
        return np.asarray(-15.0 * np.linspace(0.3, 1.0, 12) * (1.0 - np.cos(np.radians(angle_deg)))[:, None])

    wrong = ANGLES.copy()
    wrong[26] += 3.0
    found = disorder(ANGLES, beam(wrong))
    assert found is not None
    assert not found.out_of_level
    gained = beam(ANGLES)
    gained[26] -= 0.5
    found = disorder(ANGLES, gained)
    assert found is not None
    assert [p.place for p in found.out_of_level] == [26]


@pytest.mark.parametrize("pair", [(20, 22), (20, 21), (5, 30), (14, 20)])
def test_swaps_are_found_also_of_neighbours_and_of_mirror_images(pair: tuple[int, int]) -> None:
    levels = field(ANGLES)
    levels[list(pair)] = levels[list(pair)[::-1]]
    found = disorder(ANGLES, levels)
    assert found is not None
    assert found.swap is not None
    assert (found.swap.one, found.swap.other) == pair
    assert not found.out_of_level


@pytest.mark.parametrize("turned_deg", [10.0, -10.0, 5.0, 20.0])
def test_the_axis_of_symmetry_lies_where_the_orbit_was_turned_to(turned_deg: float) -> None:
    """What is stated as θ was measured at θ + t, so the axis is seen at −t."""
    found = axis_of_symmetry(ANGLES, field(ANGLES + turned_deg, 0.0))
    assert found is not None
    assert found.axis_deg == pytest.approx(-turned_deg, abs=0.5)
    assert found.about_axis_db < 0.01
    assert found.about_zero_db > 0.1


def test_an_orbit_with_gaps_has_no_axis_and_one_alike_has_it_at_zero() -> None:
    assert axis_of_symmetry(ANGLES[:-3], field(ANGLES[:-3])) is None
    whole = axis_of_symmetry(ANGLES, field(ANGLES, 0.0))
    assert whole is not None
    assert whole.axis_deg == pytest.approx(0.0, abs=1e-6)


def test_where_an_orbit_meets_the_other_axis() -> None:
    true = field(np.array([0.0]))[0]
    right, turned = meeting(ANGLES, field(ANGLES), true), meeting(ANGLES, field(ANGLES + 10.0), true)
    assert right is not None
    assert turned is not None
    assert right.angle_deg == 0.0
    assert turned.angle_deg == -10.0
    assert turned.there_db < 1e-9
    assert meeting(ANGLES[:10], field(ANGLES[:10]), true) is None


def clocked(ppm: float, rate_s: float) -> Responses:
    """A flat source's takes by a clock that is fast: the sweep's law has f later by ε·L·ln f."""
    made = closed_forms.responses(closed_forms.omni)
    f = np.asarray(made.frequency_hz)
    phase = -2.0 * np.pi * 1e-6 * ppm * rate_s * f * (np.log(f / f[0]) - 1.0)
    pressure = (np.abs(made.pressure) * np.exp(1j * phase)).astype(np.complex64)
    return replace(made, pressure=pressure, has_phase=np.ones(len(made.takes), dtype=bool))


@pytest.mark.parametrize("ppm", [-400.0, 0.0, 100.0, 200.0])
def test_the_slope_of_the_worked_number(ppm: float) -> None:
    """200 parts in a million of L = 0.4 s are 80 µs; steps are 4 µs."""
    assert slopes_s(clocked(ppm, 0.4), [0, 1]) == pytest.approx([0.4e-6 * ppm] * 2, abs=4.1e-6)


def test_without_phase_no_pace_is_told() -> None:
    made = clocked(200.0, 0.4)
    silent = replace(made, has_phase=np.zeros(len(made.takes), dtype=bool))
    assert np.isnan(slopes_s(silent, [0])).all()
