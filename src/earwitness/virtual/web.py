"""All edges of a body together: what each sends along the faces to the others, order by order.

What arrives at another edge over a face is diffracted anew, with half the strength, since a wave along a
face is its own reflection. Summed over all orders that is exact for a convex body to within numerics
(Asheim & Svensson, JASA 133 (6), 2013; recalled): at low frequencies the orders add up to a source in free
space on every side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Floats
from earwitness.virtual.edges import Arrivals, Nodes, along_faces, turned
from earwitness.virtual.piston import rays_needed, rays_to
from earwitness.virtual.polyhedron import Edge, Polyhedron

#: Metres to which places agree.
SAME = 1e-9


@dataclass(frozen=True, slots=True)
class Disc:
    """A round piston flush with a face: its centre (3,), its radius and the face's number."""

    centre: Floats
    radius_m: float
    face: int


@dataclass(frozen=True, slots=True)
class Web:
    """Nodes on all edges of a body, fine enough for some wavenumbers, and which see each other."""

    body: Polyhedron
    nodes: tuple[Nodes, ...]

    @classmethod
    def on(cls, body: Polyhedron, wavenumber: float, density: float = 1.0) -> Web:
        """A web fine enough for a wavenumber."""
        edges = body.edges()
        return cls(body, tuple(Nodes.on(edge, gap_m(edge, edges), wavenumber, density) for edge in edges))

    def ways(self, to: int) -> list[Way]:
        """The ways along the faces from all other edges to an edge."""
        there = self.nodes[to]
        found = []
        for number, here in enumerate(self.nodes):
            for face in set(here.edge.faces) & set(there.edge.faces):
                if number != to:
                    leaves, arrives = here.edge.faces.index(face), there.edge.faces.index(face)
                    found.append(Way(number, to, here, there, leaves, arrives, here.distance(there.places)))
        return found

    def pairs(self) -> list[int]:
        """By edge, how many pairs of nodes there are between it and others."""
        return [sum(way.distance.size for way in self.ways(edge)) for edge in range(len(self.nodes))]

    def twins(self, discs: Sequence[Disc]) -> dict[int, int]:
        """Edges to the left and their mirror images to the right, where the discs stand in the middle.

        What comes to one comes to the other: the numbers of their nodes and sides agree.
        """
        if any(abs(disc.centre[1]) > SAME or self.body.normal(disc.face)[1] != 0.0 for disc in discs):
            return {}
        found = {}
        for right, there in enumerate(self.nodes):
            for left, here in enumerate(self.nodes):
                if left != right and right not in found and here.edge.mirrors(there.edge):
                    found[left] = right
        return found

    def from_disc(self, edge: int, disc: Disc, wavenumbers: Floats) -> Arrivals:
        """What a disc sends straight to an edge of its face."""
        nodes = self.nodes[edge]
        side = nodes.edge.faces.index(disc.face)
        count = rays_needed(disc.radius_m, float(wavenumbers.max()))
        sight = disc.centre - nodes.places
        aside = np.linalg.norm(sight, axis=1)
        rays = rays_to(disc.radius_m, aside, np.zeros_like(aside), count)
        along, inward = -sight @ nodes.edge.along, sight @ nodes.edge.inward[side]
        course = np.arctan2(along, inward)[:, None] + rays.turn
        turning = (inward[:, None] - along[:, None] * np.tan(rays.turn)) / aside[:, None] ** 2
        half = (rays.far - rays.near) / 2.0
        share = 2.0 * rays.weight * half / (np.pi * disc.radius_m**2)
        amplitude = turned(share, rays.near + half, wavenumbers)
        turn = (half[:, :, None] * wavenumbers).astype(np.float32)
        amplitude *= np.divide(np.sin(turn), turn, out=np.ones_like(turn), where=turn > 0.0)
        lean, slope = np.arcsinh(np.tan(course)), turning / np.cos(course)
        return Arrivals(nodes, np.full(count, side), lean, slope, amplitude[:, :, None])


@dataclass(frozen=True, slots=True)
class Way:
    """The way along a face from the nodes of edge `number` to those of edge `to`, `distance` (N, O) apart.

    `leaves` and `arrives` are the sides (0 or 1) on which the face lies, seen from either edge.
    """

    number: int
    to: int
    here: Nodes
    there: Nodes
    leaves: int
    arrives: int
    distance: Floats

    def beta(self, came: npt.NDArray[np.integer], lean: Floats) -> Floats:
        """What becomes of waves that came along the faces `came` (I,) with `lean` (N, I), but for phase.

        Shape (N, O, I).
        """
        beta = along_faces(self.here, came, lean, self.leaves, self.here.lean(self.there.places))
        beta *= (self.here.weights[:, None] / (2.0 * self.distance)).astype(np.float32)[..., None]
        return beta


def gap_m(edge: Edge, edges: Sequence[Edge]) -> float:
    """How near another edge of its faces comes to an edge with its farther end, along the face."""
    ends = [
        np.stack([other.start, other.start + other.length_m * other.along])
        for other in edges
        if set(other.faces) & set(edge.faces) and other is not edge
    ]
    return min(float(edge.across(end)[1].max()) for end in ends)
