"""Smooth responses from a few wavenumbers: where to compute them, and what lies between.

The response of something real at −k is the conjugate of that at k, so n places up to a wavenumber K are 2n
from −K to K. Polynomials through Chebyshev's places converge geometrically for what has no resonance close
to the axis; a response that answers within ± l of path, its middle divided out, needs n a little over K·l/2
(J. P. Boyd, Chebyshev and Fourier Spectral Methods, 2001, chapter 2; recalled).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]


def places(highest: float, count: int) -> Float64s:
    """The n positive ones of Chebyshev's 2n places from −`highest` to `highest`, the highest first: (n,)."""
    return np.asarray(highest * np.cos(_angles(count)[:count]))


def between(values: Complex128s, highest: float, wanted: Float64s) -> Complex128s:
    """Values (..., n) at `places`, interpolated at the wavenumbers `wanted` (F,) up to `highest`: (..., F).

    In the barycentric form (J.-P. Berrut and L. N. Trefethen, SIAM Review 46 (3), 2004, eq. 4.2; recalled).
    """
    count = values.shape[-1]
    angle = _angles(count)
    share = (-1.0) ** np.arange(2 * count) * np.sin(angle)
    apart = wanted[:, None] / highest - np.cos(angle)
    # on a place itself its own share is all that counts
    share = share / np.where(apart == 0.0, np.finfo(float).tiny ** 0.5, apart)
    share /= share.sum(axis=-1, keepdims=True)
    below = share[:, : count - 1 : -1]
    return np.asarray(values @ share[:, :count].T + values.conj() @ below.T)


def _angles(count: int) -> Float64s:
    return np.asarray((2.0 * np.arange(2 * count) + 1.0) * np.pi / (4.0 * count))
