"""C = d̄²/(d̄² + s²) against closed forms: what all directions share, what one plane shares, and noise."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.derive import correctability as module
from earwitness.derive.correctability import deviation
from earwitness.methods import cta_2034
from earwitness.records.correctability import Deviation
from earwitness.records.grid import Floats
from earwitness.records.takes import Orbit

#: A twelfth of an octave apart, 200 Hz to 12.7 kHz.
HZ = 200.0 * 2.0 ** (np.arange(73) / 12.0)
DIRECTIONS = cta_2034.DIRECTIONS
ANGLE = np.deg2rad([d.angle_deg for d in DIRECTIONS])
HORIZONTAL, VERTICAL = (module._orbit_weights(orbit) for orbit in Orbit)
C_AIR = 343.2
#: Areas of CTA-2034-A's patches by angle, 0 … 90° (recalled; the same behind): a tip for the poles.
AREAS = (
    0.000604486, 0.004730189, 0.008955027, 0.012387354, 0.014989611,
    0.016868154, 0.018165962, 0.019006744, 0.019477787, 0.019629373,
)  # fmt: skip


def exactly(level: Floats, weights: Floats) -> Deviation:
    """Without any error: draws that all are the level itself."""
    return deviation(level, np.broadcast_to(level, (3, *level.shape)), weights)


def along(orbit: Orbit) -> Floats:
    """Sine of the elevation along one orbit, 0 on the other, for each direction."""
    return np.where([d.orbit is orbit for d in DIRECTIONS], np.sin(ANGLE), 0.0)


def test_weights_are_areas_of_the_sphere_with_two_tips_at_each_pole() -> None:
    area = dict(zip(range(0, 91, 10), AREAS, strict=True))
    for orbit, weights in ((Orbit.HORIZONTAL, HORIZONTAL), (Orbit.VERTICAL, VERTICAL)):
        expected = []
        for d in DIRECTIONS:
            angle = round(abs(d.angle_deg))
            tips = 2.0 if angle in (0, 180) else 1.0 if d.orbit is orbit else 0.0
            expected.append(tips * area[min(angle, 180 - angle)])
        # One orbit's part is half of the sphere.
        assert sum(expected) == pytest.approx(0.5, abs=1e-7)
        np.testing.assert_allclose(weights, np.array(expected) / 0.5, rtol=2e-6)


def test_a_resonance_common_to_all_directions_is_wholly_mended() -> None:
    s = 1j * HZ / 1500.0
    gain, q = 10.0 ** (5.0 / 20.0), 6.0
    peak = 20.0 * np.log10(np.abs((s * s + gain * s / q + 1.0) / (s * s + s / q + 1.0)))
    # Whatever a direction's own level and slope are.
    level = peak + 3.0 * np.cos(ANGLE)[:, None] - 4.0 * (np.sin(ANGLE) ** 2)[:, None] * np.log2(HZ / 1000.0)
    for weights in (HORIZONTAL, VERTICAL, module._window_weights()):
        found = exactly(level, weights)
        np.testing.assert_allclose(found.part, 1.0, rtol=0, atol=1e-9)
        np.testing.assert_allclose(found.uncertainty, 0.0, atol=1e-9)


def test_a_ripple_of_which_each_direction_has_its_share() -> None:
    # d = a(θ)·g(f): C = ā²/(ā² + var a) at every frequency, here with a = 1 + 2 cos θ.
    ripple = np.sin(2.0 * np.pi * np.log2(HZ / 1000.0) * 3.0)
    share = 1.0 + 2.0 * np.cos(ANGLE)
    folded = np.deg2rad(np.arange(0.0, 181.0, 10.0))
    half = np.array([*AREAS, *AREAS[-2::-1]])
    mean = np.average(1.0 + 2.0 * np.cos(folded), weights=half)
    square = np.average((1.0 + 2.0 * np.cos(folded)) ** 2, weights=half)
    found = exactly(share[:, None] * ripple, HORIZONTAL)
    np.testing.assert_allclose(found.part, mean**2 / square, rtol=1e-6)


def test_its_size_is_the_deviations_own() -> None:
    # A ripple three to the octave passes a course of half an octave whole: 2 dB of it is √2 dB r.m.s.
    ripple = 2.0 * np.sin(2.0 * np.pi * np.log2(HZ / 1000.0) * 3.0)
    found = exactly(np.broadcast_to(ripple, (70, HZ.size)), VERTICAL)
    assert found.size_db[12:-12] == pytest.approx(np.sqrt(2.0), rel=0.02)
    # A straight line deviates nowhere, at the ends neither.
    slope = np.broadcast_to(-3.0 * np.log2(HZ / 1000.0), (70, HZ.size))
    np.testing.assert_allclose(exactly(slope, VERTICAL).size_db, 0.0, atol=1e-6)


def test_a_crossover_misaligned_upward_is_common_to_one_plane_only() -> None:
    # Two drivers 0.16 m apart, one above the other, crossed at 2 kHz in fourth order; one is 0.12 ms late.
    w = HZ / 2000.0
    low = 1.0 / (1.0 - w**2 + 1j * np.sqrt(2.0) * w) ** 2
    delay = 0.12e-3 - 0.16 * along(Orbit.VERTICAL)[:, None] / C_AIR
    total = low + low * w**4 * np.exp(-2j * np.pi * HZ * delay)
    level = 20.0 * np.log10(np.abs(total))
    at = int(np.argmin(np.abs(HZ - 2000.0)))
    horizontal, vertical = (exactly(level, weights) for weights in (HORIZONTAL, VERTICAL))
    assert horizontal.size_db[at] > 0.5
    assert horizontal.part[at] == pytest.approx(1.0, abs=1e-9)
    # In the other plane the null moves with the angle; little of it is left in the mean.
    assert vertical.part[at] < 0.3


def test_an_edge_is_common_to_no_plane() -> None:
    # An inverted wave of a third from an edge 0.15 m to the left, whose path to each direction differs.
    delay = 0.15 * (1.0 - along(Orbit.HORIZONTAL)) / C_AIR
    level = 20.0 * np.log10(np.abs(1.0 - np.exp(-2j * np.pi * HZ * delay[:, None]) / 3.0))
    horizontal, vertical = (exactly(level, weights) for weights in (HORIZONTAL, VERTICAL))
    above = np.s_[24:-6]
    assert horizontal.part[above].max() < 0.5
    # Along the edge all directions of this model have the same path.
    np.testing.assert_allclose(vertical.part, 1.0, atol=1e-9)


def test_noise_alone_has_nothing_in_common_and_its_size_is_taken_off() -> None:
    random = np.random.default_rng(71)
    sigma = 0.8
    level = sigma * random.standard_normal((70, HZ.size))
    drawn = level + sigma * random.standard_normal((128, 70, HZ.size))
    noisy = deviation(level, drawn, HORIZONTAL)
    plain = exactly(level, HORIZONTAL)
    # Of independent errors the mean keeps Σw² of the variance.
    assert np.median(plain.part) == pytest.approx(float(np.sum(HORIZONTAL**2)), rel=0.35)
    assert np.median(plain.size_db) > 0.7
    assert np.median(noisy.size_db) < 0.35


def test_uncertainty_is_what_repeated_measurements_scatter_by() -> None:
    random = np.random.default_rng(72)
    ripple = 1.5 * np.sin(2.0 * np.pi * np.log2(HZ / 1000.0) * 2.0)
    truth = (1.0 + 0.5 * np.sin(ANGLE))[:, None] * ripple
    sigma = 0.7

    def measured() -> Floats:
        return np.asarray(truth + sigma * random.standard_normal(truth.shape))

    many = np.stack([exactly(measured(), HORIZONTAL).part for _ in range(200)])
    level = measured()
    told = deviation(level, level + sigma * random.standard_normal((128, *truth.shape)), HORIZONTAL)
    middle = np.s_[12:-12]
    ratio = told.uncertainty[middle] / many.std(axis=0, ddof=1)[middle]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.3)
    # Noise makes plain C too small; taken off once, it comes near to what is true without noise.
    true = exactly(truth, HORIZONTAL).part[middle]
    assert np.median(many.mean(axis=0)[middle] - true) < -0.1
    assert abs(np.median(told.part[middle] - true)) < 0.04
