"""All edges of a body together: what each sends along the faces to the others, order by order.

What arrives at another edge over a face is diffracted anew, with half the strength, since a wave along a
face is its own reflection. Summed over all orders that is exact for a convex body to within numerics
(Asheim & Svensson, JASA 133 (6), 2013; recalled): at low frequencies the orders add up to a source in free
space on every side.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.edges import Arrivals, Nodes, turned
from earwitness.virtual.piston import rays_needed, rays_to
from earwitness.virtual.polyhedron import Polyhedron


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
        return cls(body, tuple(Nodes.on(edge, wavenumber, density) for edge in body.edges()))

    def neighbours(self, edge: int) -> list[tuple[int, int]]:
        """Edges that share a face with an edge, each with the side (0 or 1) on which that face lies."""
        faces = self.nodes[edge].edge.faces
        return [
            (other, side)
            for side, face in enumerate(faces)
            for other, nodes in enumerate(self.nodes)
            if other != edge and face in nodes.edge.faces
        ]

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
        strength = rays.strength(wavenumbers, np.zeros_like(aside)) / (np.pi * disc.radius_m**2)
        amplitude = strength[:, :, None, :].astype(np.complex64)
        lean, slope = np.arcsinh(np.tan(course)), turning / np.cos(course)
        return Arrivals(nodes, np.full(count, side), lean, slope, amplitude)

    def onward(self, edge: int, wavenumbers: Floats) -> Complexes:
        """What becomes of a wave on its way from an edge to its neighbours' nodes, (N here, O there, F)."""
        here = self.nodes[edge]
        distance = here.distance(self.places_of(edge))
        return turned(here.weights[:, None] / (2.0 * distance), distance, wavenumbers)

    def places_of(self, edge: int) -> Floats:
        """The nodes of all an edge's neighbours, one after the other, (O, 3)."""
        return np.concatenate([self.nodes[other].places for other, _ in self.neighbours(edge)])

    def sent(self, waves: Arrivals, edge: int, onward: Complexes) -> Complexes:
        """What an edge sends on to its neighbours: amplitudes there, (N here, O there, C, F)."""
        here = self.nodes[edge]
        side = np.repeat(
            [side for _, side in self.neighbours(edge)],
            [len(self.nodes[other].weights) for other, _ in self.neighbours(edge)],
        )
        return waves.towards_faces(side, here.lean(self.places_of(edge)), onward)

    def shared(self, edge: int, sent: Complexes) -> dict[int, Complexes]:
        """The same by the neighbour's number, (N there, N here, C, F)."""
        others = [other for other, _ in self.neighbours(edge)]
        ends = np.cumsum([len(self.nodes[other].weights) for other in others])
        parts = np.split(sent, ends[:-1], axis=1)
        return {other: part.swapaxes(0, 1) for other, part in zip(others, parts, strict=True)}

    def gathered(self, edge: int, sent: Mapping[int, Complexes]) -> Arrivals:
        """What other edges have sent to one, `sent` by their numbers, as arrivals there."""
        here, sides = self.nodes[edge], dict(self.neighbours(edge))
        places = np.concatenate([self.nodes[other].places for other in sent])
        side = np.concatenate([np.full(len(self.nodes[other].places), sides[other]) for other in sent])
        amplitude = np.concatenate(list(sent.values()), axis=1)
        return Arrivals(here, side, here.lean(places), 1.0 / here.distance(places), amplitude)


#: Waves at edges, by the edge's number.
Latest = dict[int, Arrivals]


@dataclass(frozen=True, slots=True)
class Cascade:
    """Waves of several discs on a web, order by order, at sorted wavenumbers (F,).

    Those of `followed`, numbers of discs in rising order, are followed beyond the first edge.
    """

    web: Web
    discs: tuple[Disc, ...]
    wavenumbers: Floats
    followed: Sequence[int]

    def first(self, edge: int) -> dict[int, Arrivals]:
        """What comes straight to an edge, by the disc's number."""
        faces = self.web.nodes[edge].edge.faces
        return {
            number: self.web.from_disc(edge, disc, self.wavenumbers)
            for number, disc in enumerate(self.discs)
            if disc.face in faces
        }

    def second(self, straight: Sequence[Mapping[int, Arrivals]], ways: Sequence[Complexes]) -> Latest:
        """What comes to each edge by way of one other, of the discs that are followed."""
        found: dict[int, dict[int, Complexes]] = {}
        for edge, lit in enumerate(straight):
            if not any(number in lit for number in self.followed):
                continue
            both = (len(self.followed), len(self.wavenumbers))
            sent = np.zeros((*ways[edge].shape[:2], *both), dtype=np.complex64)
            for place, number in enumerate(self.followed):
                if number in lit:
                    sent[:, :, place] = self.web.sent(lit[number], edge, ways[edge])[:, :, 0]
            found[edge] = self.web.shared(edge, sent)
        return self._gathered(found)

    def later(self, orders: int, straight: Sequence[Mapping[int, Arrivals]]) -> Iterable[Arrivals]:
        """What comes to each edge by way of others, all orders from the second together."""
        ways = [self.web.onward(edge, self.wavenumbers) for edge in range(len(self.web.nodes))]
        latest = self.second(straight, ways)
        total = dict(latest)
        for _ in range(3, orders + 1):
            latest = self._gathered(
                {
                    edge: self.web.shared(edge, self.web.sent(waves, edge, ways[edge]))
                    for edge, waves in latest.items()
                }
            )
            total = {
                edge: waves.joined(total[edge]) if edge in total else waves for edge, waves in latest.items()
            }
        return total.values()

    def _gathered(self, sent: Mapping[int, Mapping[int, Complexes]]) -> Latest:
        """Arrivals by edge, from what edges have sent to others."""
        gathered: Latest = {}
        for edge in range(len(self.web.nodes)):
            senders = [other for other, _ in self.web.neighbours(edge) if other in sent]
            if senders:
                gathered[edge] = self.web.gathered(edge, {other: sent[other][edge] for other in senders})
        return gathered


def diffracted(
    web: Web,
    discs: Sequence[Disc],
    points: Floats,
    wavenumbers: Floats,
    flight: Floats,
    *,
    orders: int,
    followed: Sequence[int],
) -> Complexes:
    """What the edges add to the mean of e^(−jk(R − flight))/R over each disc; (C, D, F).

    Up to `orders` edges on the way, for discs that aren't `followed` one edge.
    """
    field = np.zeros((len(discs), len(points), len(wavenumbers)), dtype=np.complex128)
    cascade = Cascade(web, tuple(discs), wavenumbers, followed)
    straight = [cascade.first(edge) for edge in range(len(web.nodes))]
    for lit in straight:
        for number, waves in lit.items():
            field[number] += waves.towards(points, wavenumbers, flight)[0]
    if orders > 1 and followed:
        for waves in cascade.later(orders, straight):
            field[list(followed)] += waves.towards(points, wavenumbers, flight)
    return field
