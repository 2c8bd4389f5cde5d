"""How a radiator in a cabinet sounds far away, from how it sounds close by.

A cap on a rigid sphere: P. M. Morse and K. U. Ingard, Theoretical Acoustics, section 7.2 (recalled), in the
convention e^(+jωt). The cabinet's step from half to full space and its shadow are in the series.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Terms of the series that are left out are below this part of the first.
PRECISION: Final = 1e-7
MOST_ORDERS: Final = 1_500


@dataclass(frozen=True, slots=True)
class Cap:
    """A radiator in a spherical cabinet: radii of the sphere and of the cap's rim, and the microphone's gap.

    `gap_m` is from the cap's centre to the microphone; 0 is on the cap.
    """

    sphere_radius_m: float
    rim_radius_m: float
    gap_m: float


def far_over_near(wavenumber: Float64s, cap: Cap, distance_m: Float64s, angle_rad: Float64s) -> Complex128s:
    """Pressure at D places over the pressure close in front of the cap's centre, shape (D, F).

    Parameters
    ----------
    wavenumber
        Shape (F,), rad/m.
    distance_m, angle_rad
        Shape (D,): distance from the sphere's centre, and angle from the cap's axis.

    Notes
    -----
    Exact at any finite distance for a cap that moves as one. Where the sphere is large against the wavelength
    and the cap small, the ratio becomes Keele's a/(2r); where the wavelength is large, a/(4r).
    """
    sphere = cap.sphere_radius_m
    ka = wavenumber * sphere
    near_radius = sphere + cap.gap_m
    near_orders = _orders(float(ka.max()), near_radius / sphere)
    far_orders = _orders(float(ka.max()), float(distance_m.min()) / sphere)
    rim = np.cos(np.arcsin(cap.rim_radius_m / sphere))
    shape = cap_shape(rim, max(near_orders, far_orders))
    near = shape[:near_orders] @ radial_ratios(ka, wavenumber * near_radius, near_orders)
    far = radial_ratios(ka, np.multiply.outer(distance_m, wavenumber), far_orders)
    spread = shape[:far_orders, None] * legendre(np.cos(angle_rad), far_orders)
    return np.asarray(np.einsum("nd,ndf->df", spread, far) / near)


def _orders(ka: float, radius_ratio: float) -> int:
    """How many orders it takes until those left out are below `PRECISION`."""
    evanescent = -np.log(PRECISION) / np.log(radius_ratio) if radius_ratio > 1.0 else np.inf
    return int(min(np.ceil(ka + 4.0 * np.cbrt(ka) + evanescent) + 12, MOST_ORDERS))


def legendre(x: npt.ArrayLike, orders: int) -> Float64s:
    """P_0(x) … P_(orders−1)(x), shape (orders, ...)."""
    x = np.asarray(x, dtype=np.float64)
    table = np.ones((max(orders, 2), *x.shape))
    table[1] = x
    for n in range(2, orders):
        table[n] = ((2 * n - 1) * x * table[n - 1] - (n - 1) * table[n - 2]) / n
    return table[:orders]


def cap_shape(rim_cosine: float, orders: int) -> Float64s:
    """Legendre coefficients of a velocity that is 1 on the cap and 0 elsewhere, shape (orders,)."""
    p = legendre(np.float64(rim_cosine), orders + 1)
    shape = np.empty(orders)
    shape[0] = 0.5 * (1.0 - rim_cosine)
    shape[1:] = 0.5 * (p[: orders - 1] - p[2 : orders + 1])
    return shape


def radial_ratios(ka: Float64s, kr: Float64s, orders: int) -> Complex128s:
    """h_n(kr)/h_n'(ka) for n = 0 … orders−1, shape (orders, *kr.shape), h of the second kind.

    By the ratios h_n/h_(n−1), which are stable upward and neither overflow nor vanish at any order.
    """
    ratios = np.empty((orders, *kr.shape), dtype=np.complex128)
    growth = (ka / kr) * np.exp(-1j * (kr - ka))
    step_a, step_r = 1.0 / ka + 1j, 1.0 / kr + 1j
    ratios[0] = -growth / step_a
    for n in range(1, orders):
        growth = growth * (step_r / step_a)
        ratios[n] = growth / (1.0 / step_a - (n + 1) / ka)
        step_a = (2 * n + 1) / ka - 1.0 / step_a
        step_r = (2 * n + 1) / kr - 1.0 / step_r
    return ratios
