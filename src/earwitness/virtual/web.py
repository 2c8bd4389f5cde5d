"""All edges of a body together: what each sends along the faces to the others, order by order.

What arrives at another edge over a face is diffracted anew, with half the strength, since a wave along a
face is its own reflection. Summed over all orders that is exact for a convex body to within numerics
(Asheim & Svensson, JASA 133 (6), 2013; recalled): at low frequencies the orders add up to a source in free
space on every side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.edges import Arrivals, Nodes, turned
from earwitness.virtual.piston import rays_needed, rays_to
from earwitness.virtual.polyhedron import Edge, Polyhedron


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

    def neighbours(self, edge: int) -> list[tuple[int, int]]:
        """Edges that share a face with an edge, each with the side (0 or 1) on which that face lies."""
        faces = self.nodes[edge].edge.faces
        return [
            (other, side)
            for side, face in enumerate(faces)
            for other, nodes in enumerate(self.nodes)
            if other != edge and face in nodes.edge.faces
        ]

    def waves_held(self, orders: int) -> int:
        """Pairs of nodes between which waves are held at once: of one edge, or of all beyond two orders."""
        count = [len(nodes.weights) for nodes in self.nodes]
        pairs = [
            own * sum(count[other] for other, _ in self.neighbours(edge)) for edge, own in enumerate(count)
        ]
        return max(pairs) if orders <= 2 else sum(pairs)

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

    def onward(self, edge: int, to: int, wavenumbers: Floats) -> Complexes:
        """What becomes of a wave on its way from an edge to another's nodes, (N here, O there, F)."""
        here = self.nodes[edge]
        distance = here.distance(self.nodes[to].places)
        return turned(here.weights[:, None] / (2.0 * distance), distance, wavenumbers)

    def sent(self, waves: Arrivals, edge: int, to: int, onward: Complexes) -> Complexes:
        """What an edge sends on to a neighbour: amplitudes there, (N here, O there, C, F)."""
        places = self.nodes[to].places
        side = np.full(len(places), dict(self.neighbours(edge))[to])
        return waves.towards_faces(side, self.nodes[edge].lean(places), onward)

    def gathered(self, edge: int, sent: Mapping[int, Complexes]) -> Arrivals:
        """What other edges have sent to one, `sent` by their numbers, as arrivals there."""
        here, sides = self.nodes[edge], dict(self.neighbours(edge))
        places = np.concatenate([self.nodes[other].places for other in sent])
        side = np.concatenate([np.full(len(self.nodes[other].places), sides[other]) for other in sent])
        amplitude = np.concatenate(list(sent.values()), axis=1)
        return Arrivals(here, side, here.lean(places), 1.0 / here.distance(places), amplitude)


def gap_m(edge: Edge, edges: Sequence[Edge]) -> float:
    """How near another edge of its faces comes to an edge with its farther end, along the face."""
    ends = [
        np.stack([other.start, other.start + other.length_m * other.along])
        for other in edges
        if set(other.faces) & set(edge.faces) and other is not edge
    ]
    return min(float(edge.across(end)[1].max()) for end in ends)


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

    def second(
        self, edge: int, straight: Sequence[Mapping[int, Arrivals]], *, everywhere: bool
    ) -> Arrivals | None:
        """What comes to an edge by way of one other, of the discs that are followed.

        With `everywhere` it holds silence from those neighbours that no disc reaches.
        """
        found: dict[int, Complexes] = {}
        here, reached = len(self.web.nodes[edge].weights), False
        for other, _ in self.web.neighbours(edge):
            lit = [number for number in self.followed if number in straight[other]]
            reached = reached or bool(lit)
            if not lit and not everywhere:
                continue
            onward = self.web.onward(other, edge, self.wavenumbers)
            shape = (here, len(onward), len(self.followed), len(self.wavenumbers))
            found[other] = np.zeros(shape, dtype=np.complex64)
            for number in lit:
                sent = self.web.sent(straight[other][number], other, edge, onward)
                found[other][:, :, self.followed.index(number)] = sent[:, :, 0].swapaxes(0, 1)
        return self.web.gathered(edge, found) if reached else None

    def later(self, orders: int, straight: Sequence[Mapping[int, Arrivals]]) -> Iterator[Arrivals]:
        """What comes to each edge by way of others, all orders from the second together."""
        edges = range(len(self.web.nodes))
        more = orders > 2
        firsts = ((edge, self.second(edge, straight, everywhere=more)) for edge in edges)
        if not more:
            yield from (waves for _, waves in firsts if waves is not None)
            return
        latest = {edge: waves for edge, waves in firsts if waves is not None}
        total = dict(latest)
        for _ in range(3, orders + 1):
            latest = {edge: self._next(edge, latest) for edge in edges}
            for edge, waves in latest.items():
                total[edge] = waves.added_to(total[edge]) if edge in total else waves
        yield from total.values()

    def _next(self, edge: int, latest: Mapping[int, Arrivals]) -> Arrivals:
        """What comes to an edge from its neighbours of what has last come to those."""
        found = {}
        for other, _ in self.web.neighbours(edge):
            onward = self.web.onward(other, edge, self.wavenumbers)
            if other in latest:
                found[other] = self.web.sent(latest[other], other, edge, onward).swapaxes(0, 1)
            else:
                shape = (len(self.web.nodes[edge].weights), len(onward), len(self.followed), onward.shape[-1])
                found[other] = np.zeros(shape, dtype=np.complex64)
        return self.web.gathered(edge, found)


def diffracted(
    web: Web,
    discs: Sequence[Disc],
    points: Floats,
    wavenumbers: Floats,
    flight: Floats,
    *,
    orders: int,
    followed: Sequence[int],
    shaded: npt.NDArray[np.bool_],
) -> Complexes:
    """What the edges add to the mean of e^(−jk(R − flight))/R over each disc; (C, D, F).

    Up to `orders` edges on the way to the points that are `shaded` (D,); one to the others, and for discs
    that aren't `followed`.
    """
    field = np.zeros((len(discs), len(points), len(wavenumbers)), dtype=np.complex128)
    cascade = Cascade(web, tuple(discs), wavenumbers, followed)
    straight = [cascade.first(edge) for edge in range(len(web.nodes))]
    for lit in straight:
        for number, waves in lit.items():
            field[number] += waves.towards(points, wavenumbers, flight)[0]
    if orders > 1 and followed and shaded.any():
        these = np.ix_(np.array(followed), np.flatnonzero(shaded))
        for waves in cascade.later(orders, straight):
            field[these] += waves.towards(points[shaded], wavenumbers, flight[shaded])
    return field
