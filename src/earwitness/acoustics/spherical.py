"""Fields on a sphere of directions: spherical harmonics fitted to samples, and what the samples support.

A field that a source within the radius r makes far away has next to nothing above the order kr about that
source's centre: pressure, that is; its square reaches twice as far. A sphere of samples supports the order at
which half a wavelength is one step of the samples: 5° steps support 35.

Sources: expansion in outgoing waves (Williams, Fourier Acoustics, chapter 6: recalled); leave-one-out
residual of a linear fit (Allen, Technometrics 16, 125: recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial import ConvexHull, SphericalVoronoi
from scipy.special import sph_harm_y_all

Float64s = npt.NDArray[np.float64]

#: More terms than this part of the samples fit their noise.
FULLEST: Final = 0.7
#: Unit vectors nearer to each other than this are the same one.
SAME: Final = 1e-6
ROUNDING: Final = 1e-6


def unit_vectors(azimuth_deg: npt.ArrayLike, elevation_deg: npt.ArrayLike) -> Float64s:
    """Unit vectors (..., 3) of AES69 directions: x forward, y left, z up."""
    azimuth, elevation = np.deg2rad(azimuth_deg), np.deg2rad(elevation_deg)
    level = np.cos(elevation)
    return np.stack(
        np.broadcast_arrays(level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)), axis=-1
    )


def harmonics(order: int, directions: Float64s) -> Float64s:
    """Real spherical harmonics up to `order`, orthonormal over the sphere, shape (D, (order + 1)²).

    Parameters
    ----------
    directions
        Unit vectors, shape (D, 3).
    """
    polar = np.arccos(np.clip(directions[:, 2], -1.0, 1.0))
    turn = np.arctan2(directions[:, 1], directions[:, 0])
    every = sph_harm_y_all(order, order, polar, turn)
    columns = []
    for n in range(order + 1):
        columns += [np.sqrt(2.0) * every[n, m].imag for m in range(n, 0, -1)]
        columns += [every[n, 0].real]
        columns += [np.sqrt(2.0) * every[n, m].real for m in range(1, n + 1)]
    return np.stack(columns, axis=-1)


@dataclass(frozen=True)
class Cover:
    """How directions cover the sphere: the solid angle of each (D,), and how far off the next can be."""

    area_sr: Float64s
    radius_rad: float

    @property
    def order(self) -> int:
        """The highest order that the samples support.

        A square of four samples in steps s has its middle s/√2 from each; half a wave of order N is π/(N+1).
        """
        stepped = int(np.pi / (np.sqrt(2.0) * self.radius_rad) - 1.0 + ROUNDING)
        return max(0, min(stepped, int(np.sqrt(FULLEST * self.area_sr.size)) - 1))


def cover(directions: Float64s) -> Cover:
    """How unit vectors, shape (D, 3), cover the sphere.

    Raises
    ------
    ValueError
        Two of them are the same, or all lie in one plane through the centre.
    """
    # the plane of each face of the hull lies the cosine of its corners' distance from the centre
    nearest = float(-ConvexHull(directions).equations[:, 3].max())
    areas = SphericalVoronoi(directions, threshold=SAME).calculate_areas()
    return Cover(np.asarray(areas), float(np.arccos(np.clip(nearest, -1.0, 1.0))))


@dataclass(frozen=True)
class HarmonicFit:
    """Spherical harmonics fitted by least squares to samples in D directions, weighted by their solid angle.

    Attributes
    ----------
    terms
        Shape (D, K): the harmonics in the directions of the samples.
    solution
        Shape (K, D): from samples to coefficients.
    """

    order: int
    area_sr: Float64s
    terms: Float64s
    solution: Float64s

    @classmethod
    def over(cls, directions: Float64s, area_sr: Float64s, order: int) -> HarmonicFit:
        """The fit of one order to samples in `directions` (D, 3)."""
        terms = harmonics(order, directions)
        weighted = terms.T * area_sr
        return cls(order, area_sr, terms, np.asarray(cho_solve(cho_factor(weighted @ terms), weighted)))

    def weights(self, directions: Float64s) -> Float64s:
        """Weights of the samples, shape (W, D), that give the fitted field in other directions (W, 3)."""
        return np.asarray(harmonics(self.order, directions) @ self.solution)

    def left_out(self, samples: npt.NDArray[np.inexact]) -> Float64s:
        """How far the fit to all other samples misses each, root mean square over the sphere.

        Parameters
        ----------
        samples
            Shape (D, F), real or complex.

        Returns
        -------
        array
            Shape (F,), in the samples' unit. A linear fit tells it without being repeated: a residual over
            one less the sample's own weight in its fit.
        """
        own = np.einsum("dk,kd->d", self.terms, self.solution)
        missed = (samples - self.terms @ (self.solution @ samples)) / (1.0 - own)[:, None]
        mean = self.area_sr @ (missed.real**2 + missed.imag**2) / self.area_sr.sum()
        return np.asarray(np.sqrt(mean), dtype=np.float64)


def supported_hz(order: int, radius_m: float, speed_m_s: float) -> float:
    """Up to where `order` holds the pressure of a source within `radius_m`: kr = order.

    Order 35 and a radius of 0.3 m at 343.2 m/s: 6.37 kHz.
    """
    return order * speed_m_s / (2.0 * np.pi * radius_m)
