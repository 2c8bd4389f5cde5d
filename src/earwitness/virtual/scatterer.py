"""A rigid ball that stands for whatever in the workshop throws sound back: a stand's head, a clamp, a rim.

A plane wave of amplitude 1 that meets a rigid sphere of radius a at its centre sends f(γ)·e^(−jkr)/r on, γ
being the angle by which it is turned aside (Morse & Ingard, *Theoretical Acoustics*, 8.2, there with
e^(−iωt); recalled):

    f(γ) = −(j/k) Σ (2n+1) jₙ'(ka)/hₙ'(ka) Pₙ(cos γ)

with spherical Hankel functions of the second kind. Small balls send (k²a³/3)(1 − (3/2) cos γ) back, with a
minus; large ones a/2 in every direction but the shadow. The ball is far away for this formula: from the
loudspeaker, whose sound arrives at it as a plane wave from the reference point, and from the microphone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import spherical_jn, spherical_yn

from earwitness.virtual.arrays import Complexes, Floats


@dataclass(frozen=True, slots=True)
class Scatterer:
    """A ball in the room.

    `place_m` is its centre in the room's coordinates (`room`) while the loudspeaker faces the microphone;
    with `turns` it turns with the loudspeaker, as what stands on the turntable does.
    """

    radius_m: float
    place_m: tuple[float, float, float]
    turns: bool = False


def scattered(radius_m: float, cosines: Floats, wavenumbers: Floats) -> Complexes:
    """The amplitude f in metres for cosines (D,) of γ and wavenumbers (F,), k > 0; shape (D, F)."""
    size = wavenumbers * radius_m
    highest = int(np.ceil(size.max() + 5.0 * np.cbrt(size.max()))) + 8
    before, here = np.zeros_like(cosines), np.ones_like(cosines)
    total = np.zeros((len(cosines), len(wavenumbers)), dtype=np.complex128)
    for n in range(highest):
        bessel = spherical_jn(n, size, derivative=True)
        neumann = spherical_yn(n, size, derivative=True)
        with np.errstate(over="ignore", invalid="ignore"):
            share = bessel / (bessel - 1j * neumann)
        total += (2 * n + 1) * here[:, None] * np.where(np.isfinite(neumann), share, 0.0)
        before, here = here, ((2 * n + 1) * cosines * here - n * before) / (n + 1)
    return np.asarray(-1j / wavenumbers * total)
