"""The cap on a sphere against FACTS §9 (computed there), Keele's limits (FACTS §8, recalled), and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import spherical_jn, spherical_yn

from earwitness.acoustics import radiation
from earwitness.acoustics.radiation import Cap, far_over_near


# FACTS §9: th0 = 20°, dB re on axis; Morse and Ingard 7.2, computed, to four decimals
@pytest.mark.parametrize(
    ("ka", "levels"),
    [
        (1.0, (-0.3850, -1.5953, -3.4187, -4.2155, -3.1891, -2.5397)),
        (2.0, (-0.5241, -1.8475, -3.4809, -7.0536, -6.5778, -3.8972)),
        (5.0, (-0.9757, -3.7215, -7.4493, -11.6177, -15.2679, -8.2801)),
        (10.0, (-3.4464, -12.8600, -22.9934, -27.2139, -32.2474, -22.7901)),
    ],
)
def test_directivity_of_a_cap_far_away(ka: float, levels: tuple[float, ...]) -> None:
    cap = Cap(0.14, 0.14 * np.sin(np.deg2rad(20.0)), 0.007)
    angle = np.deg2rad(np.arange(0.0, 181.0, 30.0))
    # at 10⁷ radii the field is the far field to better than 10⁻⁴ dB
    ratio = far_over_near(np.array([ka / 0.14]), cap, np.full(7, 0.14e7), angle)[:, 0]
    found = 20.0 * np.log10(np.abs(ratio / ratio[0]))
    assert found[1:] == pytest.approx(levels, abs=2e-4)


# FACTS §8, Keele JAES 22 (1974) 154 (recalled): a/(2r) is −27.959 dB for a = .08 m at 1 m in half space. What
# the near pressure 2ρcv·sin(ka/2) makes of it (computed): the estimate is off by −.0907, −.3650, −1.4992 dB
@pytest.mark.parametrize(("ka", "off_db"), [(0.5, -0.0907), (1.0, -0.3650), (2.0, -1.4992)])
def test_keele_in_half_space(ka: float, off_db: float) -> None:
    # a sphere of 8 m is a baffle to within 0.03 dB; at 1 m the far field is short of a/(2r) by up to 0.03 dB
    ratio = far_over_near(np.array([ka / 0.08]), Cap(8.0, 0.08, 0.0), np.array([9.0]), np.zeros(1))
    assert 20.0 * np.log10(np.abs(ratio[0, 0])) == pytest.approx(-27.959 - off_db, abs=0.06)


def test_keele_in_full_space() -> None:
    # FACTS §8: another factor of two, −33.979 dB; near a sphere of a metres the cap's own field is smaller by
    # about a_cap/a, so the limit is met from above
    off = []
    for sphere in (1.0, 2.0, 4.0):
        ratio = far_over_near(
            np.array([1e-4]), Cap(sphere, 0.08, 0.0), np.array([100.0 * sphere]), np.zeros(1)
        )
        off.append(20.0 * np.log10(np.abs(ratio[0, 0]) * 100.0 * sphere) + 33.979)
    assert off[0] > off[1] > off[2] > 0.0
    assert off[2] < 0.4


@pytest.mark.parametrize("gap_m", [0.0])
@pytest.mark.parametrize(("sphere", "rim"), [(0.14, 0.0525), (0.3, 0.1)])
def test_static_limit(gap_m: float, sphere: float, rim: float) -> None:
    # at 0 Hz the surface pressure is a convolution with 1/s − ln(1 + 1/s), s = sin(γ/2): the generating
    # functions of Legendre polynomials, ΣP_n = 1/2s and ΣP_n/(n+1) = ln(1 + 1/s)
    edge = np.arcsin(rim / sphere)

    def kernel(angle: float) -> float:
        s = np.sin(angle / 2.0)
        return float((1.0 / s - np.log(1.0 + 1.0 / s)) * np.sin(angle))

    near = 0.5 * sphere * quad(kernel, 0.0, edge)[0]
    far = 0.5 * (1.0 - np.cos(edge)) * sphere**2 / 1_000.0
    ratio = far_over_near(np.array([1e-6]), Cap(sphere, rim, gap_m), np.array([1_000.0]), np.array([1.0]))
    assert np.abs(ratio[0, 0]) == pytest.approx(far / near, rel=1e-3)


def test_step_from_full_to_half_space_is_six_decibels() -> None:
    # a small cap on axis, re the near field's own behaviour in a baffle, from 0 Hz to a short wavelength
    cap = Cap(0.14, 0.01, 0.0)
    low, high = np.abs(far_over_near(np.array([0.01, 140.0]), cap, np.array([100.0]), np.zeros(1))[0])
    # the near field of the cap itself changes by its own sin(ka/2)/(ka/2) and the sphere's nearness: 0.3 dB
    own = 20.0 * np.log10(np.sin(0.7) / 0.7)
    assert 20.0 * np.log10(high / low) + own == pytest.approx(6.02, abs=0.6)


@pytest.mark.parametrize(("ka", "kr"), [(0.5, 0.9), (3.0, 3.1), (8.0, 60.0)])
def test_radial_ratios_against_scipy(ka: float, kr: float) -> None:
    def hankel(n: int, x: float, derivative: bool = False) -> complex:
        return complex(spherical_jn(n, x, derivative) - 1j * spherical_yn(n, x, derivative))

    found = radiation.radial_ratios(np.array(ka), np.array(kr), 12)
    expected = [hankel(n, kr) / hankel(n, ka, derivative=True) for n in range(12)]
    assert found == pytest.approx(np.array(expected), rel=1e-10)


def test_high_orders_neither_overflow_nor_vanish_near_by() -> None:
    ratios = radiation.radial_ratios(np.array([0.02]), np.array([0.021]), 600)
    assert np.isfinite(ratios).all()
    # far above ka the radial function is −ka/(n+1)·(a/r)^(n+1)
    n = np.arange(300, 600)
    expected = 0.02 / (n + 1) * (0.02 / 0.021) ** (n + 1)
    assert np.abs(ratios[300:, 0]) == pytest.approx(expected, rel=1e-4)


def test_more_orders_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    cap = Cap(0.14, 0.0525, 0.007)
    k = np.geomspace(0.4, 20.0, 20)
    place = np.array([0.5, 2.14, 2.2]), np.array([0.2, 1.0, 3.0])
    usual = far_over_near(k, cap, *place)
    monkeypatch.setattr(radiation, "PRECISION", 1e-13)
    assert np.max(np.abs(far_over_near(k, cap, *place) / usual - 1.0)) < 1e-4


def test_power_is_kept_over_distance() -> None:
    # mean r²p·conj(u) isn't at hand, but far away r²⟨|p|²⟩ doesn't depend on r
    cap = Cap(0.14, 0.05, 0.005)
    x, weight = np.polynomial.legendre.leggauss(40)
    power = []
    for r in (200.0, 400.0):
        ratio = far_over_near(np.array([5.0 / 0.14]), cap, np.full(40, r), np.arccos(x))[:, 0]
        power.append(r**2 * np.sum(weight * np.abs(ratio) ** 2))
    assert power[0] == pytest.approx(power[1], rel=1e-5)
