"""Diffraction by the edges of a rigid convex body: sources along the edges, and sources of those sources.

The field of a source on a rigid wedge is its field on an endless plane, where it can be seen, and an integral
along the edge (Svensson, Fred, Vanderkooy, JASA 106 (5), 1999, from Biot and Tolstoy's exact solution;
recalled):

    p = −(ν/4π) ∫ e^(−jk(m + l))/(m l) Σ βᵢ dz,   βᵢ = sin νφᵢ/(cosh νη − cos νφᵢ),   φᵢ = π ± θ_S ± θ_R

for a source whose free field is e^(−jkr)/r, ν = π over the wedge's opening, m and l the ways from the source to
the place z on the edge and from there to the listener. What arrives at another edge over a face is diffracted
anew, with half the strength, since a wave along a face is its own reflection; summed over all orders that is
exact for a convex body to within numerics (Asheim & Svensson, JASA 133 (6), 2013; recalled).

With u = asinh((z − z_S)/r_S) for the source and v likewise for the listener, η = u + v: nothing but sums.
Close to the plane that parts what is seen from what isn't, one β becomes a peak of the width νφ in x = νη, which
nodes along the edge may miss. What they miss is known, ∫β dx = 2 atan(tanh(x/2)/tan(νφ/2)), and is put back at
the peak's place, on what the rest of the integrand is there (by the polynomial through the nodes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.piston import rays_needed, rays_to
from earwitness.virtual.polyhedron import Edge, Polyhedron

#: Nodes on an edge beyond those that its length in wavelengths asks for.
FEWEST_NODES = 8
#: Nodes to a radian of kL; an edge wave and its way on turn by up to twice that phase.
NODES_PER_RADIAN = 0.55
#: Angles below it (times ν) from the limit of what is seen make a peak that nodes may miss.
PEAKED = 0.4
#: Steps of an even grid that share a factor, and by how much its steps may differ.
FINE_STEPS, EVEN = 8, 1e-6
#: A listener is never nearer to that limit: on it, half the source is seen.
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Disc:
    """A round piston flush with a face: its centre (3,), its radius and the face's number."""

    centre: Floats
    radius_m: float
    face: int


@dataclass(frozen=True, slots=True)
class Nodes:
    """Places on an edge: how far along it (N,), where (N, 3), and their weights in metres (N,)."""

    edge: Edge
    along: Floats
    places: Floats
    weights: Floats

    @classmethod
    def on(cls, edge: Edge, wavenumber: float, density: float) -> Nodes:
        """Gauss and Legendre's nodes, enough for a wavenumber; `density` times as many as usual."""
        count = int(np.ceil(density * (FEWEST_NODES + NODES_PER_RADIAN * wavenumber * edge.length_m)))
        nodes, weights = np.polynomial.legendre.leggauss(count)
        along = edge.length_m / 2.0 * (1.0 + nodes)
        return cls(edge, along, edge.start + along[:, None] * edge.along, edge.length_m / 2.0 * weights)

    def lean(self, points: Floats) -> Floats:
        """The variable u or v of points (M, 3) as seen from each node, shape (N, M)."""
        place, away = self.edge.across(points)
        return np.arcsinh((self.along[:, None] - place) / away)

    def cardinal(self, along: Floats) -> Floats:
        """Lagrange's polynomials through the nodes at places (...) along the edge, shape (N, ...)."""
        centred = 2.0 * self.along / self.edge.length_m - 1.0
        signs = (-1.0) ** np.arange(len(centred))
        shares = signs * np.sqrt((1.0 - centred**2) * self.weights)
        gap = along - self.along.reshape(-1, *np.ones(along.ndim, dtype=int))
        gap = np.where(np.abs(gap) < TINY * self.edge.length_m, TINY * self.edge.length_m, gap)
        parts = shares.reshape(-1, *np.ones(along.ndim, dtype=int)) / gap
        return np.asarray(parts / parts.sum(axis=0))

    def distance(self, points: Floats) -> Floats:
        """Distances (N, M) to points (M, 3)."""
        place, away = self.edge.across(points)
        return np.hypot(self.along[:, None] - place, away)


@dataclass(frozen=True, slots=True)
class Arrivals:
    """Waves that arrive at the nodes of one edge.

    `side` (I,) is the face along which each comes, `lean` (N, I) its variable u, `slope` (N, I) how fast that
    grows along the edge, `amplitude` (N, I, C, F) that of a source with the free field e^(−jkr)/r, phase at the
    node.
    """

    nodes: Nodes
    side: npt.NDArray[np.integer]
    lean: Floats
    slope: Floats
    amplitude: Complexes

    def towards_faces(self, side: npt.NDArray[np.integer], lean: Floats) -> Complexes:
        """Diffracted along the faces, towards places of `side` (O,) and `lean` (N, O); (N, O, C, F)."""
        order = np.pi / self.nodes.edge.opening
        sine, cosine = np.sin(order * np.pi), np.cos(order * np.pi)
        steep = np.cosh(order * (self.lean[:, None, :] + lean[:, :, None]))
        sign = np.where(self.side == side[:, None], 1.0, -1.0)
        beta = 4.0 * sine * sign / (steep - sign * cosine)
        return _weighted(beta, self.amplitude) * np.float32(-order / (4.0 * np.pi))

    def towards(self, points: Floats, wavenumbers: Floats, flight: Floats) -> Complexes:
        """Diffracted to points (D, 3), time of flight (D,) in metres taken out; (C, D, F)."""
        nodes = self.nodes
        distance = nodes.distance(points)
        beta = np.zeros((len(distance), len(points), len(self.side)), dtype=np.float32)
        for side in np.unique(self.side):
            angles = nodes.edge.angle(points, side)
            (seen,) = np.nonzero(angles <= nodes.edge.opening)
            these = self.side == side
            lean = self.lean[:, None, these] + nodes.lean(points[seen])[:, :, None]
            slope = self.slope[:, None, these] + 1.0 / distance[:, seen, None]
            beta[np.ix_(range(len(beta)), seen, these)] = listener_beta(nodes, lean, slope, angles[seen])
        field = _weighted(beta, self.amplitude)
        scale = -1.0 / (4.0 * nodes.edge.opening) * nodes.weights[:, None] / distance
        field *= turned(scale, distance - flight, wavenumbers)[:, :, None]
        return np.asarray(field.sum(axis=0).swapaxes(0, 1))


def turned(scale: Floats, lengths: Floats, wavenumbers: Floats) -> Complexes:
    """Scale times e^(−jk length), both of the same shape (...), for sorted wavenumbers (F,); single precision.

    On an even grid it is the product of a few coarse and a few fine steps.
    """
    count = len(wavenumbers)
    steps = np.diff(wavenumbers)
    if count <= FINE_STEPS or np.ptp(steps) > EVEN * steps[0]:
        return np.asarray((scale[..., None] * np.exp(-1j * lengths[..., None] * wavenumbers)).astype(np.complex64))
    coarse = scale[..., None] * np.exp(-1j * lengths[..., None] * wavenumbers[::FINE_STEPS])
    fine = np.exp(-1j * lengths[..., None] * (wavenumbers[:FINE_STEPS] - wavenumbers[0]))
    product = coarse[..., None].astype(np.complex64) * fine[..., None, :].astype(np.complex64)
    return product.reshape(*lengths.shape, -1)[..., :count]


def _weighted(beta: Floats, amplitude: Complexes) -> Complexes:
    """Sum over arrivals of real weights (N, O, I) times amplitudes (N, I, C, F), shape (N, O, C, F)."""
    count, _, radiators, frequencies = amplitude.shape
    flat = np.ascontiguousarray(amplitude).reshape(count, -1, radiators * frequencies).view(np.float32)
    summed = np.matmul(beta.astype(np.float32), flat).view(np.complex64)
    return np.asarray(summed.reshape(count, -1, radiators, frequencies))


def listener_beta(nodes: Nodes, lean: Floats, slope: Floats, angles: Floats) -> Floats:
    """Sum of the four β for sources on the face from which angles (D,) are measured.

    `lean` is u + v and `slope` its growth along the edge, both (N, D, I).
    """
    order = np.pi / nodes.edge.opening
    plus, minus = order * (np.pi + angles[:, None]), order * (np.pi - angles[:, None])
    minus = np.where(np.abs(minus) < TINY, TINY, minus)
    steep = np.cosh(order * lean)
    beta = np.sin(plus) / (steep - np.cos(plus)) + np.sin(minus) / (steep - np.cos(minus))
    (peaked,) = np.nonzero(np.abs(minus[:, 0]) < PEAKED)
    if len(peaked):
        beta[:, peaked] += missed_peak(nodes, order * lean[:, peaked], order * slope[:, peaked], minus[peaked])
    return np.asarray(2.0 * beta)


def missed_peak(nodes: Nodes, x: Floats, slope: Floats, width: Floats) -> Floats:
    """What must be added to sin w/(cosh x − cos w) so that the nodes' sum holds the whole peak.

    `x` and `slope` (N, D, I) are the variable and its growth along the edge, `width` (D, 1) is w.
    """
    steps = nodes.weights[:, None, None] * slope
    ends = np.stack([-nodes.along[0] * slope[0], (nodes.edge.length_m - nodes.along[-1]) * slope[-1]]) + x[[0, -1]]
    whole = 2.0 * np.arctan(np.tanh(ends / 2.0) / np.tan(width / 2.0))
    with_nodes = np.sum(steps * np.sin(width) / (np.cosh(x) - np.cos(width)), axis=0)
    missed = whole[1] - whole[0] - with_nodes
    after = np.clip(np.sum(x < 0.0, axis=0), 1, len(x) - 1)[None]
    high, low = np.take_along_axis(x, after, 0)[0], np.take_along_axis(x, after - 1, 0)[0]
    here, before = nodes.along[after[0]], nodes.along[after[0] - 1]
    place = np.clip(before - low * (here - before) / (high - low), 0.0, nodes.edge.length_m)
    return np.asarray(nodes.cardinal(place) * missed / steps)


@dataclass(frozen=True, slots=True)
class Web:
    """Nodes on all edges of a body, and which see each other along its faces, for one range of wavenumbers."""

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

    def onward(self, edge: int, came: Complexes, wavenumbers: Floats) -> dict[int, Complexes]:
        """What gets from an edge to its neighbours, where `came` (N, O, C, F) is diffracted along its faces.

        Amplitudes (N there, N here, C, F) by the neighbour's number.
        """
        here = self.nodes[edge]
        places, _, ends = self.outlook(edge)
        distance = here.distance(places)
        came *= turned(here.weights[:, None] / (2.0 * distance), distance, wavenumbers)[:, :, None]
        parts = np.split(came, ends, axis=1)
        return {other: part.swapaxes(0, 1) for (other, _), part in zip(self.neighbours(edge), parts, strict=True)}

    def outlook(self, edge: int) -> tuple[Floats, npt.NDArray[np.integer], npt.NDArray[np.integer]]:
        """All nodes of an edge's neighbours: places (O, 3), sides (O,), and where each but the first begins."""
        neighbours = self.neighbours(edge)
        counts = [len(self.nodes[other].places) for other, _ in neighbours]
        places = np.concatenate([self.nodes[other].places for other, _ in neighbours])
        return places, np.repeat([side for _, side in neighbours], counts), np.cumsum(counts)[:-1]

    def along_faces(self, waves: Arrivals, edge: int) -> Complexes:
        """Waves at an edge, diffracted towards all nodes of its neighbours: (N, O, C, F)."""
        places, side, _ = self.outlook(edge)
        return waves.towards_faces(side, self.nodes[edge].lean(places))

    def gathered(self, edge: int, sent: dict[int, dict[int, Complexes]]) -> Arrivals | None:
        """Everything in `sent` (from, to) that arrives at an edge."""
        here = self.nodes[edge]
        sources = [(other, side) for other, side in self.neighbours(edge) if edge in sent.get(other, {})]
        if not sources:
            return None
        places = np.concatenate([self.nodes[other].places for other, _ in sources])
        side = np.concatenate([np.full(len(self.nodes[other].places), face) for other, face in sources])
        amplitude = np.concatenate([sent[other][edge] for other, _ in sources], axis=1)
        return Arrivals(here, side, here.lean(places), 1.0 / here.distance(places), amplitude)


def arrivals(web: Web, discs: Sequence[Disc], wavenumbers: Floats, orders: int) -> list[tuple[int, Arrivals]]:
    """Everything that arrives at edges, up to an order of diffraction.

    The first of each pair is the number of the radiator where the arrivals are one radiator's alone (C = 1), and
    −1 where they are those of all.
    """
    straight: list[tuple[int, Arrivals]] = []
    sent: dict[int, dict[int, Complexes]] = {}
    for edge, nodes in enumerate(web.nodes):
        lit = [number for number, disc in enumerate(discs) if disc.face in nodes.edge.faces]
        direct = [web.from_disc(edge, discs[number], wavenumbers) for number in lit]
        straight += zip(lit, direct, strict=True)
        if lit and orders > 1:
            came = np.zeros((len(nodes.places), len(web.outlook(edge)[1]), len(discs), len(wavenumbers)), np.complex64)
            for number, waves in zip(lit, direct, strict=True):
                came[:, :, number] = web.along_faces(waves, edge)[:, :, 0]
            sent[edge] = web.onward(edge, came, wavenumbers)
    total = {here: dict(there) for here, there in sent.items()}
    for _ in range(3, orders + 1):
        waves = {edge: web.gathered(edge, sent) for edge in range(len(web.nodes))}
        sent = {
            edge: web.onward(edge, web.along_faces(came, edge), wavenumbers)
            for edge, came in waves.items()
            if came is not None
        }
        for here, there in sent.items():
            before = total.setdefault(here, {})
            for other, part in there.items():
                before[other] = before[other] + part if other in before else part
    joined = [web.gathered(edge, total) for edge in range(len(web.nodes))]
    return [*straight, *((-1, waves) for waves in joined if waves is not None)]


def diffracted(
    body: Polyhedron,
    discs: Sequence[Disc],
    points: Floats,
    wavenumbers: Floats,
    flight: Floats,
    orders: int,
    density: float = 1.0,
) -> Complexes:
    """What the edges add to the mean of e^(−jk(R − flight))/R over each disc's free field; (C, D, F)."""
    web = Web.on(body, float(wavenumbers.max()), density)
    field = np.zeros((len(discs), len(points), len(wavenumbers)), dtype=np.complex128)
    for number, waves in arrivals(web, discs, wavenumbers, orders):
        part = waves.towards(points, wavenumbers, flight)
        if number < 0:
            field += part
        else:
            field[number] += part[0]
    return field
