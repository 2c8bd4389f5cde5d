"""A convex body with flat faces, and the edges between them.

Angles round an edge are measured through the air from one of its two faces: 0 on that face, the opening on
the other. They are greater than the opening for points that the body hides from the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Floats

#: What left and right change places by.
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True, slots=True)
class Edge:
    """A straight edge from `start` along the unit vector `along`.

    `faces` are the numbers of the faces that meet in it, `inward` (2, 3) the directions that lead from the
    edge into each, `normals` (2, 3) theirs, pointing out of the body.
    """

    start: Floats
    along: Floats
    length_m: float
    faces: tuple[int, int]
    inward: Floats
    normals: Floats

    @property
    def opening(self) -> float:
        """The angle of the air round the edge, in radians: 3π/2 for a box."""
        return float(np.pi + np.arccos(np.clip(self.normals[0] @ self.normals[1], -1.0, 1.0)))

    def angle(self, points: Floats, side: int) -> Floats:
        """Angles (D,) of points (D, 3) round the edge, from face `side`, 0 to 2π."""
        sight = points - self.start
        angle = np.arctan2(sight @ self.normals[side], sight @ self.inward[side])
        return np.asarray(np.mod(angle, 2.0 * np.pi))

    def across(self, points: Floats) -> tuple[Floats, Floats]:
        """Places along the edge of points (..., 3), and their distances from its line; each (...)."""
        sight = points - self.start
        place = sight @ self.along
        return place, np.linalg.norm(sight - place[..., None] * self.along, axis=-1)

    def mirrors(self, other: Edge) -> bool:
        """Whether it is the other's image left for right (y), from its start to its faces."""
        one, two = (np.vstack([e.start, e.start + e.length_m * e.along, e.inward]) for e in (self, other))
        return bool(np.allclose(one, two * MIRROR, atol=1e-9))


@dataclass(frozen=True, slots=True)
class Polyhedron:
    """A convex body: corners (V, 3), and each face's corners in order about it."""

    corners: Floats
    faces: tuple[tuple[int, ...], ...]

    def normal(self, face: int) -> Floats:
        """Unit vector out of a face, shape (3,)."""
        corners = self.corners[list(self.faces[face])]
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        normal = normal / np.linalg.norm(normal)
        outward = np.sign(normal @ (corners[0] - self.corners.mean(axis=0)))
        return np.asarray(normal * outward)

    def height(self, face: int, points: Floats) -> Floats:
        """How far points (..., 3) lie in front of a face's plane."""
        return np.asarray((points - self.corners[self.faces[face][0]]) @ self.normal(face))

    def edges(self) -> tuple[Edge, ...]:
        """All edges."""
        found: dict[tuple[int, int], list[int]] = {}
        for face, ring in enumerate(self.faces):
            for pair in zip(ring, (*ring[1:], ring[0]), strict=True):
                found.setdefault((min(pair), max(pair)), []).append(face)
        return tuple(self._edge(pair, faces) for pair, faces in found.items())

    def _edge(self, pair: tuple[int, int], faces: Sequence[int]) -> Edge:
        start, end = self.corners[list(pair)]
        length = float(np.linalg.norm(end - start))
        along = (end - start) / length
        normals = np.stack([self.normal(face) for face in faces])
        middles = np.stack([self.corners[list(self.faces[face])].mean(axis=0) for face in faces]) - start
        inward = np.cross(normals, along)
        inward *= np.sign(np.sum(inward * middles, axis=1))[:, None]
        return Edge(start, along, length, (faces[0], faces[1]), inward, normals)


def cuboid(low: Floats, high: Floats) -> Polyhedron:
    """A box between two corners; its faces are −x, +x, −y, +y, −z, +z."""
    corners = np.array(
        [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )
    faces = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
    return Polyhedron(corners, faces)


def bevelled(low: Floats, high: Floats, leg_m: float) -> Polyhedron:
    """The same with its +x face's edges cut off at 45°, `leg_m` from each; the four cuts are its last faces.

    They lie beside −y, +y, −z and +z.
    """
    back, waist, front = (
        [[x, y, z] for y, z in ((a[1], a[2]), (b[1], a[2]), (b[1], b[2]), (a[1], b[2]))]
        for x, a, b in (
            (low[0], low, high),
            (high[0] - leg_m, low, high),
            (high[0], low + leg_m, high - leg_m),
        )
    )
    faces = ((0, 1, 2, 3), (8, 9, 10, 11), (0, 3, 7, 4), (1, 2, 6, 5), (0, 1, 5, 4), (2, 3, 7, 6))
    cuts = ((4, 7, 11, 8), (5, 6, 10, 9), (4, 5, 9, 8), (6, 7, 11, 10))
    return Polyhedron(np.array(back + waist + front), faces + cuts)
