"""Two surfaces: a monopole over a floor by a table, an image-source room exactly, noise, what is refused."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.special import spherical_jn, spherical_yn

from earwitness.acoustics.separation import (
    Orders,
    Refusal,
    Separation,
    Surfaces,
    acoustic_centre,
    choose_orders,
    needed_order,
    outgoing_waves,
    separate,
    standing_waves,
)

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

SPEED_M_S = 343.2
SOURCE = np.array([0.08, 0.03, 0.10])
#: The mirror image in a floor at z = −1.2 m.
IMAGE = np.array([0.08, 0.03, -2.50])
RADII_M = (0.45, 0.52)


def spread(count: int) -> Float64s:
    """Unit vectors all round, by the golden angle."""
    place = np.arange(count) + 0.5
    z = 1.0 - 2.0 * place / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * place
    level = np.sqrt(1.0 - z**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), z], axis=-1)


SURFACES = Surfaces(np.concatenate([radius * spread(600) for radius in RADII_M]), np.zeros(3))
FAR = 2.0 * spread(200)


def monopole(wavenumber: Float64s, places: Float64s, source: Float64s) -> Complex128s:
    """e^(−jkr)/r, shape (D, F)."""
    distance = np.linalg.norm(places - source, axis=1)[:, None]
    return np.asarray(np.exp(-1j * wavenumber * distance) / distance)


def of_order(order: int, count: int = 1) -> Orders:
    same = np.full(count, order)
    return Orders(same, same, np.ones(count, dtype=np.bool_))


def over_floor(frequency_hz: float, order: int, noise_db: float | None = None, seed: int = 0) -> Separation:
    k = np.array([2.0 * np.pi * frequency_hz / SPEED_M_S])
    pressure = monopole(k, SURFACES.points_m, SOURCE) + monopole(k, SURFACES.points_m, IMAGE)
    if noise_db is not None:
        drawn = np.random.default_rng(seed).normal(size=(2, *pressure.shape))
        rms = np.sqrt(np.mean(np.abs(pressure) ** 2))
        pressure = pressure + rms * 10.0 ** (noise_db / 20.0) * (drawn[0] + 1j * drawn[1]) / np.sqrt(2.0)
    return separate(SURFACES, pressure, k, of_order(order), centre_m=np.zeros(3), targets_m=FAR)


def worst_db(found: Separation) -> float:
    exact = monopole(found.wavenumber, FAR, SOURCE)
    return float(np.abs(20.0 * np.log10(np.abs(found.pressure / exact))).max())


# FACTS §21 (computed there apart from this package): 600 points on each sphere, the worst of 200 directions
# at 2 m. The points of that computation are others than these, so its last digit may differ.
@pytest.mark.parametrize(
    ("frequency_hz", "order", "condition", "error_db"),
    [
        (100.0, 2, 24.3, 0.0106),
        (200.0, 2, 15.5, 0.0587),
        (200.0, 4, 15.5, 0.0003),
        (500.0, 4, 8.09, 0.0180),
        (500.0, 6, 8.09, 0.0003),
        (1000.0, 4, 3.4, 0.5603),
        (1000.0, 6, None, 0.0258),
        (1000.0, 10, 5.1, 0.0021),
        (2000.0, 8, 5.78, 0.1113),
        (2000.0, 10, 5.78, 0.0237),
        (2400.0, 12, 48.0, 0.0485),
        (2451.4, 12, 1.1e5, 1.29),
        (3000.0, 14, 39.0, 0.0194),
    ],
)
def test_table_of_a_monopole_over_a_floor(
    frequency_hz: float, order: int, condition: float | None, error_db: float
) -> None:
    found = over_floor(frequency_hz, order)
    # as many digits as the table has
    assert worst_db(found) == pytest.approx(error_db, rel=0.01, abs=0.00006)
    if condition is not None:
        assert found.condition[0] == pytest.approx(condition, rel=0.02)


# FACTS §21: one draw of noise each; ours are others, of which the worst direction lies within a factor of 2.5
@pytest.mark.parametrize(
    ("frequency_hz", "order", "noise_db", "error_db"),
    [
        (100.0, 4, -60.0, 0.0021),
        (500.0, 6, -60.0, 0.0058),
        (1000.0, 10, -60.0, 0.0080),
        (100.0, 4, -40.0, 0.0205),
        (200.0, 4, -40.0, 0.0490),
        (500.0, 6, -40.0, 0.0588),
        (1000.0, 10, -40.0, 0.0831),
    ],
)
def test_noise(frequency_hz: float, order: int, noise_db: float, error_db: float) -> None:
    worst = np.median([worst_db(over_floor(frequency_hz, order, noise_db, seed)) for seed in range(5)])
    assert error_db / 2.5 < worst < 2.5 * error_db


def test_gain_of_noise_is_what_draws_show() -> None:
    quiet = over_floor(500.0, 6)
    drawn = np.stack([over_floor(500.0, 6, -40.0, seed).pressure[:, 0] for seed in range(40)])
    k = quiet.wavenumber
    pressure = monopole(k, SURFACES.points_m, SOURCE) + monopole(k, SURFACES.points_m, IMAGE)
    expected = np.sqrt(np.mean(np.abs(pressure) ** 2) * 1e-4 * quiet.variance_gain[:, 0].mean())
    shown = np.sqrt(np.mean(np.abs(drawn - quiet.pressure[:, 0]) ** 2))
    # 40 draws of 49 terms: 2 %, and three times that
    assert shown == pytest.approx(expected, rel=0.06)


def test_a_room_of_six_mirrors_exactly() -> None:
    # images of first order are exact solutions wherever they aren't; no function of the package makes them
    k = 2.0 * np.pi * np.array([60.0, 150.0, 300.0]) / SPEED_M_S
    walls = ((0, 3.1), (0, -2.2), (1, 1.9), (1, -2.4), (2, 1.3), (2, -1.2))
    pressure = monopole(k, SURFACES.points_m, SOURCE)
    for axis, place in walls:
        image = SOURCE.copy()
        image[axis] = 2.0 * place - image[axis]
        pressure = pressure + 0.95 * monopole(k, SURFACES.points_m, image)
    orders = choose_orders(k, len(SURFACES.points_m), float(np.linalg.norm(SOURCE)), RADII_M[1])
    found = separate(SURFACES, pressure, k, orders, centre_m=np.zeros(3), targets_m=FAR)
    assert found.accepted.all()
    assert np.abs(found.pressure / monopole(k, FAR, SOURCE) - 1.0).max() < 5e-4
    assert np.abs(found.at(FAR) - found.pressure).max() < 1e-12


def test_waves_against_their_closed_forms() -> None:
    # h₀⁽²⁾ = j·e^(−jx)/x and j₀ = sin x/x; h₁⁽²⁾ = (j/x − 1)·e^(−jx)/x; Y₀₀ = √(1/4π), Y₁ = √(3/4π)·z/r
    k, place = np.array([3.0]), np.array([[0.0, 0.0, 0.7]])
    x = 2.1
    outgoing, standing = outgoing_waves(2, k, place)[0, 0], standing_waves(2, k, place)[0, 0]
    assert outgoing[0] == pytest.approx(1j * np.exp(-1j * x) / x * np.sqrt(0.25 / np.pi))
    assert standing[0] == pytest.approx(np.sin(x) / x * np.sqrt(0.25 / np.pi))
    assert outgoing[2] == pytest.approx((1j / x - 1.0) * np.exp(-1j * x) / x * np.sqrt(0.75 / np.pi))
    assert outgoing[6] == pytest.approx(
        (spherical_jn(2, x) - 1j * spherical_yn(2, x)) * np.sqrt(1.25 / np.pi), rel=1e-12
    )


def test_the_acoustic_centre_of_a_monopole_is_where_it_stands() -> None:
    found = over_floor(200.0, 4)
    # the order left out moves it by micrometres
    assert acoustic_centre(found, np.array([True])) == pytest.approx(SOURCE, abs=1e-5)


def test_about_its_centre_a_monopole_needs_no_order() -> None:
    k = 2.0 * np.pi * np.array([500.0]) / SPEED_M_S
    pressure = monopole(k, SURFACES.points_m, SOURCE) + monopole(k, SURFACES.points_m, IMAGE)
    orders = Orders(np.array([0]), np.array([8]), np.array([True]))
    found = separate(SURFACES, pressure, k, orders, centre_m=SOURCE, targets_m=FAR)
    assert worst_db(found) < 0.001
    # the other way round: about the surfaces' centre, order 0 is off by what the table has for little
    assert worst_db(separate(SURFACES, pressure, k, orders, centre_m=np.zeros(3), targets_m=FAR)) > 1.0


# FACTS §21: the smallest order of a monopole d off the centre for 0.1 dB, computed there
@pytest.mark.parametrize(("kd", "order"), [(0.5, 2), (1.0, 3), (2.0, 5), (5.0, 9), (10.0, 14), (12.0, 16)])
def test_order_that_a_source_needs(kd: float, order: int) -> None:
    assert needed_order(kd) == order


def test_why_a_frequency_is_refused() -> None:
    frequencies = np.array([10.0, 500.0, 2451.4, 2560.0, 3000.0])
    k = 2.0 * np.pi * frequencies / SPEED_M_S
    pressure = monopole(k, SURFACES.points_m, SOURCE)
    found = separate(SURFACES, pressure, k, of_order(12, 5), centre_m=np.zeros(3), targets_m=FAR)
    assert [Refusal(int(reason)) for reason in found.refusal] == [
        Refusal.SURFACES_TOO_CLOSE,
        Refusal.ACCEPTED,
        Refusal.HALF_WAVELENGTHS_APART,
        Refusal.ILL_CONDITIONED,
        Refusal.ACCEPTED,
    ]


def test_what_isnt_such_a_field_leaves_a_residual() -> None:
    k = 2.0 * np.pi * np.array([500.0]) / SPEED_M_S
    drawn = np.random.default_rng(3).normal(size=(2, len(SURFACES.points_m), 1))
    found = separate(SURFACES, drawn[0] + 1j * drawn[1], k, of_order(6), centre_m=np.zeros(3), targets_m=FAR)
    assert found.refusal[0] == Refusal.RESIDUAL
    # 98 of 1200 degrees of freedom are fitted away
    assert found.residual[0] == pytest.approx(np.sqrt(1.0 - 98.0 / 1200.0), rel=0.02)


def test_too_few_points() -> None:
    # order 4 takes 2·(4 + 1)² terms and 1.4 times as many points
    k = np.array([5.0])
    enough, few = (choose_orders(k, points, 0.2, 0.5) for points in (72, 36))
    assert (enough.outgoing[0], bool(enough.enough[0])) == (4, True)
    assert not few.enough[0]
    assert 2 * (few.outgoing[0] + 1) ** 2 <= 36


def test_radii_are_told_from_the_points() -> None:
    assert SURFACES.radii_m == pytest.approx(RADII_M)
    assert SURFACES.outer.sum() == 600
