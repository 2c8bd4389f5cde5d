"""A second estimate of sound power, separable in direction cosines: how far two orbits can be trusted.

Two orbits see nothing of the diagonals. Where a source is wide in one plane, its narrow lobe lies on one
orbit alone, and the weights of the standard give it a quarter of the sphere that it doesn't fill. This
estimate fills the sphere by a model instead: p²(n) ≈ B(α)·g_y(n_y)·g_z(n_z), with n = (x, y, z) the
direction, x forward, and α its angle from the axis.

B is the body, which treats all sides alike: at each α the wider of the two orbits, each the mean of its two
sides. g_y is what the horizontal orbit shows beyond the body, g_z the vertical one, as functions of the
direction cosine, which is what interference along y or z depends on. The front half of each orbit gives g
before the loudspeaker, the rear half behind it: at α = 0 and 180° both are one, so that neither half is
referred to the other's pole. With a body that is alike in all directions, B(α) = P_axis, it is the plain
product P_axis·g_y·g_z. It is exact (but for the steps between directions) for a source that is symmetric
about its axis, and for one times an array along y or z.

Between the directions each factor runs straight over the orbit angle, in mean square pressure: straight in dB
would make every lobe too thin. Source: defined here.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.methods.cta_2034 import STEP_DEG
from earwitness.records.grid import Floats
from earwitness.records.responses import Directivity
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Direction, Orbit

#: A difference between the two estimates above this calls for a warning, dB.
SAMPLING_WARNING_DB: Final = 0.5

SOURCE: Final = Source("Earwitness", "", "second estimate of sound power", Standing.OWN)

#: Gauss-Legendre nodes in cos α, and points round the axis.
_RINGS: Final = 40
_AROUND: Final = 32
#: A body below this share of its greatest power counts as this share, since g is referred to it.
_FLOOR: Final = 1e-9


def separable_sound_power(field: Directivity) -> Floats:
    """Mean square pressure over the sphere by the separable model, shape (F,).

    `field` must hold all directions of the two orbits; the value is meaningful where all of them are valid.
    """
    angles = np.arange(0.0, 181.0, STEP_DEG)
    power = {}
    for orbit in Orbit:
        for sign in (1.0, -1.0):
            wanted = tuple(Direction(orbit, float(sign * a) if a < 180.0 else 180.0).shared for a in angles)
            power[orbit, sign] = field.power[field.rows(wanted)]
    sides = [0.5 * (power[orbit, 1.0] + power[orbit, -1.0]) for orbit in Orbit]
    body = np.maximum(*sides)
    least = _FLOOR * body.max(axis=0)
    return _integrate(body, {key: value / np.maximum(body, least) for key, value in power.items()})


def _integrate(body: Floats, beyond: dict[tuple[Orbit, float], Floats]) -> Floats:
    """Mean of body times beyond over the sphere; all arguments have shape (angle, F)."""
    cosine, weight = np.polynomial.legendre.leggauss(_RINGS)
    around = 2 * np.pi * (np.arange(_AROUND) + 0.5) / _AROUND
    sine = np.sqrt(1.0 - cosine**2)
    total = np.zeros(body.shape[-1])
    angle = np.rad2deg(np.arccos(cosine))
    for ring in range(_RINGS):
        value = np.broadcast_to(_interpolation(angle[ring : ring + 1]) @ body, (_AROUND, body.shape[-1]))
        for orbit, part in ((Orbit.HORIZONTAL, np.cos(around)), (Orbit.VERTICAL, np.sin(around))):
            elevation = np.rad2deg(np.arcsin(sine[ring] * np.abs(part)))
            weights = _interpolation(elevation if cosine[ring] >= 0 else 180.0 - elevation)
            left = (part >= 0)[:, None]
            value = value * ((weights * left) @ beyond[orbit, 1.0] + (weights * ~left) @ beyond[orbit, -1.0])
        total += 0.5 * weight[ring] * value.mean(axis=0)
    return total


def _interpolation(angle_deg: Floats) -> Floats:
    """Weights, shape (Q, 19), that interpolate linearly between 0, 10 … 180°."""
    place = angle_deg / STEP_DEG
    return np.asarray(
        np.clip(1.0 - np.abs(place[:, None] - np.arange(round(180.0 / STEP_DEG) + 1)), 0.0, 1.0)
    )
