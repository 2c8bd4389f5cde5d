"""Spherical harmonics against closed forms, and what samples on a sphere support."""

from __future__ import annotations

import numpy as np
import pytest
from aes69_files import grid, vectors

from earwitness.acoustics.spherical import HarmonicFit, cover, harmonics, supported_hz, unit_vectors

DIRECTIONS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.48, 0.6, 0.64]])


def test_unit_vectors_follow_aes69() -> None:
    # FACTS §19: azimuth counter-clockwise from +x, +90 = +y (left); elevation up
    assert unit_vectors([0.0, 90.0, 0.0], [0.0, 0.0, 90.0]) == pytest.approx(np.eye(3), abs=1e-15)
    assert unit_vectors(30.0, 60.0) == pytest.approx([np.sqrt(3.0) / 4.0, 0.25, np.sqrt(3.0) / 2.0])


def test_the_lowest_harmonics_in_closed_form() -> None:
    # real harmonics of order 0 and 1: √(1/4π), √(3/4π)·(y, z, x) but for the sign of odd degrees
    found = harmonics(2, DIRECTIONS)
    x, y, z = DIRECTIONS.T
    assert found[:, 0] == pytest.approx(np.full(4, 0.28209479177387814))
    for column, shape in ((1, y), (2, z), (3, x)):
        assert np.abs(found[:, column]) == pytest.approx(0.4886025119029199 * np.abs(shape), abs=1e-15)
    # of order 2 the middle one: √(5/16π)·(3z² − 1)
    assert found[:, 6] == pytest.approx(0.31539156525252005 * (3.0 * z**2 - 1.0))


def test_addition_theorem() -> None:
    # Σ over an order of Y(a)·Y(b) is (2n+1)/4π·Pn(a·b); P3(x) = (5x³ − 3x)/2
    third = harmonics(3, DIRECTIONS)[:, 9:]
    cosine = DIRECTIONS @ DIRECTIONS.T
    assert third @ third.T == pytest.approx(7.0 / (4.0 * np.pi) * (5.0 * cosine**3 - 3.0 * cosine) / 2.0)


@pytest.mark.parametrize(("step", "order", "count"), [(5.0, 35, 2522), (10.0, 17, 614), (15.0, 11, 266)])
def test_order_that_steps_support(step: float, order: int, count: int) -> None:
    # half a wave of order N is 180°/(N + 1): steps of 5° support 35
    found = cover(vectors(grid(step)))
    assert found.area_sr.size == count
    assert found.area_sr.sum() == pytest.approx(4.0 * np.pi)
    assert found.order == order


def test_a_hole_lowers_the_order() -> None:
    whole = grid(10.0)
    assert cover(vectors(whole[whole[:, 1] > -45.0])).order <= 2


def test_few_directions_support_fewer_terms_than_there_are() -> None:
    found = cover(vectors(grid(60.0)))
    assert (found.order + 1) ** 2 <= 0.7 * found.area_sr.size


@pytest.fixture(scope="module")
def fit() -> HarmonicFit:
    directions = vectors(grid(15.0))
    return HarmonicFit.over(directions, cover(directions).area_sr, 11)


def test_a_field_within_the_order_is_found_exactly(fit: HarmonicFit) -> None:
    # of e^{jkr cos} at kr = 1.5 what lies above order 11 is (2n+1)·j12(1.5), under 1e-11
    samples = np.exp(1.5j * vectors(grid(15.0))[:, [0]])
    found = fit.weights(DIRECTIONS) @ samples
    assert found[:, 0] == pytest.approx(np.exp(1.5j * DIRECTIONS[:, 0]), abs=1e-9)
    assert fit.left_out(samples)[0] < 1e-8


def test_left_out_is_what_leaving_out_finds() -> None:
    directions, random = vectors(grid(30.0)), np.random.default_rng(5)
    area, count = cover(directions).area_sr, len(directions)
    samples = random.standard_normal((count, 3)) + 1j * random.standard_normal((count, 3))
    missed = np.empty((count, 3), dtype=np.complex128)
    terms = harmonics(5, directions)
    for one in range(count):
        kept = np.arange(count) != one
        root = np.sqrt(area[kept])[:, None]
        solution, *_ = np.linalg.lstsq(terms[kept] * root, samples[kept] * root, rcond=None)
        missed[one] = samples[one] - terms[one] @ solution
    expected = np.sqrt(area @ np.abs(missed) ** 2 / (4.0 * np.pi))
    assert HarmonicFit.over(directions, area, 5).left_out(samples) == pytest.approx(expected)


def test_supported_frequency() -> None:
    # kr = N: 35 · 343.2 / (2π · 0.3) = 6372.6 Hz
    assert supported_hz(35, 0.3, 343.2) == pytest.approx(6372.6, abs=0.1)
