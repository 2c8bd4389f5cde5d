"""Boundary elements: the sound of a closed rigid surface that moves in places, without any series or edge.

A second way to the same numbers, slow and for few frequencies, against which the others are held. With
G = e^(−jkr)/(4πr), normals out of the body and e^(+jωt), the surface pressure obeys (Helmholtz and Kirchhoff;
any textbook)

    ½p(x) − ∫ p ∂G/∂n dS = jωρ ∫ G v dS

Flat triangles, pressure and velocity constant on each, collocation at their middles. The equation alone
fails at the resonances of the body's inside; points in there, where the same sum must vanish, keep it
honest (Schenck, JASA 44 (1), 1968; recalled). What touches is integrated on finer triangles, and a
triangle's own ∫G dS exactly along the radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve as solve_positive
from scipy.spatial import ConvexHull, Delaunay

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.polyhedron import Polyhedron
from earwitness.virtual.web import Disc

#: Seven points on a triangle, exact to the fifth degree (Radon 1948; Cowper 1973; recalled): barycentric,
#: weight.
_A, _B = (6.0 - 15.0**0.5) / 21.0, (6.0 + 15.0**0.5) / 21.0
_WA, _WB = (155.0 - 15.0**0.5) / 1200.0, (155.0 + 15.0**0.5) / 1200.0
PLACES = np.array(
    [[1 / 3, 1 / 3, 1 / 3]]
    + [np.roll([1.0 - 2.0 * s, s, s], turn).tolist() for s in (_A, _B) for turn in range(3)]
)
SHARES = np.array([9.0 / 40.0] + [_WA] * 3 + [_WB] * 3)
#: Triangles nearer than this, in their own sizes, are cut into so many quarters of quarters.
NEAR, CUTS = 2.5, 2
#: Places of collocation handled at once.
BLOCK = 64


@dataclass(frozen=True, slots=True)
class Surface:
    """A closed surface of triangles (T, 3, 3), each with its normal (T, 3) out of the body."""

    triangles: Floats
    normals: Floats

    @property
    def middles(self) -> Floats:
        """Middles of the triangles, shape (T, 3)."""
        return np.asarray(self.triangles.mean(axis=1))

    @property
    def areas(self) -> Floats:
        """Shape (T,), m²."""
        return np.asarray(np.linalg.norm(_twice_area(self.triangles), axis=1) / 2.0)

    def layers(self, points: Floats, wavenumber: float) -> tuple[Complexes, Complexes]:
        """Integrals of G and of ∂G/∂n over each triangle from points (P, 3) off it; both (P, T)."""
        single = np.empty((len(points), len(self.triangles)), dtype=np.complex128)
        double = np.empty_like(single)
        size = np.sqrt(self.areas)
        for start in range(0, len(points), BLOCK):
            rows = slice(start, start + BLOCK)
            single[rows], double[rows] = _integrals(
                points[rows, None], self.triangles, self.normals, wavenumber
            )
            away = np.linalg.norm(points[rows, None] - self.middles, axis=-1)
            at, of = np.nonzero(away < NEAR * size)
            pieces = self.triangles[of]
            for _ in range(CUTS):
                pieces = _quartered(pieces)
            each = 4**CUTS
            here = np.repeat(points[rows][at], each, axis=0)
            parts = _integrals(here, pieces, np.repeat(self.normals[of], each, axis=0), wavenumber)
            single[rows][at, of], double[rows][at, of] = (
                part.reshape(-1, each).sum(axis=1) for part in parts
            )
        return single, double

    def own(self, wavenumber: float) -> Complexes:
        """∫G dS over each triangle from its own middle, (T,): (1 − e^(−jkR))/(4πjk) along each radius."""
        nodes, weights = np.polynomial.legendre.leggauss(12)
        total = np.zeros(len(self.triangles), dtype=np.complex128)
        for side in range(3):
            one = self.triangles[:, side] - self.middles
            two = self.triangles[:, (side + 1) % 3] - self.middles
            share = (nodes[:, None, None] + 1.0) / 2.0
            rim = one + share * (two - one)
            radius = np.linalg.norm(rim, axis=-1)
            turn = np.linalg.norm(np.cross(one, two), axis=-1) / radius**2
            inner = (1.0 - np.exp(-1j * wavenumber * radius)) / (1j * wavenumber)
            total += np.einsum("g,gt->t", weights / 2.0, inner * turn)
        return np.asarray(total / (4.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Solved:
    """The pressure on a surface, per unit of jωρ, for the normal velocity on it; both (T,)."""

    surface: Surface
    wavenumber: float
    velocity: Floats
    pressure: Complexes

    def at(self, points: Floats) -> Complexes:
        """Pressure per unit of jωρ at points (P, 3) in the air, shape (P,)."""
        single, double = self.surface.layers(points, self.wavenumber)
        return np.asarray(double @ self.pressure + single @ self.velocity)


def solve(surface: Surface, velocity: Floats, wavenumber: float, inside: Floats) -> Solved:
    """The sound of a surface that moves outward with `velocity` (T,); points `inside` keep it honest."""
    single, double = surface.layers(surface.middles, wavenumber)
    diagonal = np.arange(len(velocity))
    single[diagonal, diagonal], double[diagonal, diagonal] = surface.own(wavenumber), -0.5
    quiet_single, quiet_double = surface.layers(inside, wavenumber)
    matrix = -np.concatenate([double, quiet_double])
    right = np.concatenate([single @ velocity, quiet_single @ velocity])
    del single, double
    normal = matrix.conj().T
    pressure = solve_positive(normal @ matrix, normal @ right, assume_a="pos", overwrite_a=True)
    return Solved(surface, wavenumber, velocity, np.asarray(pressure))


def ball(radius_m: float, rim_deg: float, step_m: float) -> Surface:
    """A sphere round the origin, with a ring of corners at `rim_deg` from the x axis for a cap to end at."""
    rim = np.radians(rim_deg)
    front = np.linspace(0.0, rim, max(2, round(rim * radius_m / step_m) + 1))
    rest = np.linspace(rim, np.pi, round((np.pi - rim) * radius_m / step_m) + 1)[1:]
    rings = []
    for number, polar in enumerate(np.concatenate([front, rest])):
        count = max(1, round(2.0 * np.pi * np.sin(polar) * radius_m / step_m))
        turn = (np.arange(count) + 0.5 * (number % 2)) * 2.0 * np.pi / count
        around = np.sin(polar) * np.stack([np.cos(turn), np.sin(turn)])
        rings.append(np.column_stack([np.full(count, np.cos(polar)), *around]))
    corners = radius_m * np.concatenate(rings)
    return _oriented(corners[ConvexHull(corners).simplices], np.zeros(3))


def box(body: Polyhedron, disc: Disc, step_m: float) -> tuple[Surface, npt.NDArray[np.bool_]]:
    """A convex body with rings of corners for a disc in one face, and which triangles are the disc's (T,)."""
    parts, moving = [], []
    for face, ring in enumerate(body.faces):
        corners, normal = body.corners[list(ring)], body.normal(face)
        one = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
        plane = np.stack([one, np.cross(normal, one)], axis=1)
        flat = _spread((corners - corners[0]) @ plane, step_m)
        centre = (disc.centre - corners[0]) @ plane
        if face == disc.face:
            flat = _with_rings(flat, centre, disc.radius_m, step_m)
        triangles = flat[Delaunay(flat).simplices]
        whole = triangles @ plane.T + corners[0]
        wide = np.linalg.norm(_twice_area(whole), axis=1) > 1e-6 * step_m**2
        parts.append(whole[wide])
        aside = np.linalg.norm(triangles[wide].mean(axis=1) - centre, axis=1)
        moving.append((aside < disc.radius_m) & (face == disc.face))
    return _oriented(np.concatenate(parts), body.corners.mean(axis=0)), np.concatenate(moving)


def _spread(ring: Floats, step_m: float) -> Floats:
    """Corners of triangles over a convex face whose corners in its plane are `ring` (K, 2)."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    step_m = min(step_m, 2.0 * float(np.min(high - low)))
    lines = [_graded(a, b, step_m) for a, b in zip(low, high, strict=True)]
    inner = np.stack([part.ravel() for part in np.meshgrid(*lines, indexing="ij")], axis=1)
    rim = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        length = float(np.linalg.norm(end - start))
        share = _graded(0.0, length, step_m)[:-1, None] / length
        rim.append(start + share * (end - start))
        side = (end - start)[::-1] * [-1.0, 1.0] / length
        side *= np.sign(side @ (ring.mean(axis=0) - start))
        inner = inner[(inner - start) @ side > 0.1 * min(step_m, length)]
    return np.concatenate([inner, *rim])


def _graded(low: float, high: float, step_m: float) -> Floats:
    """Places from `low` to `high`, closer together at the ends, where the pressure bends sharply."""
    count = max(4, int(np.ceil((high - low) / step_m)) + 2)
    even = np.linspace(0.0, 1.0, count + 1)
    return low + (high - low) * (even - GRADING * np.sin(2.0 * np.pi * even) / (2.0 * np.pi))


#: How much closer together corners lie at a box's edges than in a face's middle.
GRADING = 0.4


def _with_rings(flat: Floats, centre: Floats, radius_m: float, step_m: float) -> Floats:
    """Corners of a face (N, 2) with those near a disc replaced by rings, one of them its rim."""
    inner = min(step_m, radius_m / 3.0)
    count = int(np.ceil(radius_m / inner))
    rings = [centre[None]]
    radii = [*(radius_m * np.arange(1, count + 1) / count), radius_m + inner]
    for number, radius in enumerate(radii):
        around = max(8, round(2.0 * np.pi * radius / inner))
        turn = (np.arange(around) + 0.5 * (number % 2)) * 2.0 * np.pi / around
        rings.append(centre + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    far = np.linalg.norm(flat - centre, axis=1) > radii[-1] + 0.5 * inner
    low, high = flat.min(axis=0), flat.max(axis=0)
    edge = np.any((flat - low < 1e-9) | (high - flat < 1e-9), axis=1)
    return np.concatenate([flat[far | edge], *rings])


def _oriented(triangles: Floats, centre: Floats) -> Surface:
    """A surface round a point, its normals outward."""
    normals = _twice_area(triangles)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    outward = np.sign(np.einsum("tx,tx->t", normals, triangles.mean(axis=1) - centre))
    return Surface(triangles, normals * outward[:, None])


def _twice_area(triangles: Floats) -> Floats:
    return np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])


def _quartered(triangles: Floats) -> Floats:
    """Each triangle as four, one after the other: (4T, 3, 3)."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    parts = [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
    return np.stack([np.stack(part, axis=1) for part in parts], axis=1).reshape(-1, 3, 3)


def _integrals(
    points: Floats, triangles: Floats, normals: Floats, wavenumber: float
) -> tuple[Complexes, Complexes]:
    """∫G dS and ∫∂G/∂n dS by seven places; `points` (..., 3) against triangles (T, 3, 3)."""
    areas = np.linalg.norm(_twice_area(triangles), axis=1) / 2.0
    single: Complexes = np.zeros(np.broadcast_shapes(points.shape[:-1], areas.shape), dtype=np.complex128)
    double = np.zeros_like(single)
    for place, share in zip(PLACES, SHARES, strict=True):
        sight = np.einsum("tvx,v->tx", triangles, place) - points
        distance = np.maximum(np.linalg.norm(sight, axis=-1), np.finfo(float).tiny ** 0.25)
        green = share * areas * np.exp(-1j * wavenumber * distance) / (4.0 * np.pi * distance)
        single += green
        double -= (
            green
            * (1.0 + 1j * wavenumber * distance)
            / distance**2
            * np.einsum("...x,...x->...", sight, normals)
        )
    return single, double
