"""Diffraction by the edges of a rigid convex body: sources along the edges, and sources of those sources.

The field of a source on a rigid wedge is its field on an endless plane, where it can be seen, and an integral
along the edge (Svensson, Fred, Vanderkooy, JASA 106 (5), 1999, from Biot and Tolstoy's exact solution;
recalled):

    p = −(ν/4π) ∫ e^(−jk(m + l))/(m l) Σ βᵢ dz,   βᵢ = sin νφᵢ/(cosh νη − cos νφᵢ),   φᵢ = π ± θ_S ± θ_R

for a source whose free field is e^(−jkr)/r, ν = π over the wedge's opening, m and l the ways from the
source to the place z on the edge and from there to the listener.

With u = asinh((z − z_S)/r_S) for the source and v likewise for the listener, η = u + v: nothing but sums.
Close to the plane that parts what is seen from what isn't, one β becomes a peak of the width νφ in x = νη,
which nodes along the edge may miss. What they miss is known, ∫β dx = 2 atan(tanh(x/2)/tan(νφ/2)), and is
put back at the peak's place, on what the rest of the integrand is there (by the polynomial through the
nodes).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.polyhedron import Edge

#: Nodes on an edge beyond those that its length in wavelengths asks for.
FEWEST_NODES = 16
#: Nodes to a radian of kL; an edge wave and its way on turn by up to twice that phase.
NODES_PER_RADIAN = 0.42
#: Angles below it (times ν) from the limit of what is seen make a peak that nodes may miss.
PEAKED = 0.4
#: Steps of an even grid that share a factor, and by how much its steps may differ.
FINE_STEPS, EVEN = 8, 1e-6
#: A listener is never nearer to that limit: on it, half the source is seen.
TINY = 1e-9


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

    `side` (I,) is the face along which each comes, `lean` (N, I) its variable u, `slope` (N, I) how fast
    that grows along the edge, `amplitude` (N, I, C, F) that of a source with the free field e^(−jkr)/r,
    phase at the node.
    """

    nodes: Nodes
    side: npt.NDArray[np.integer]
    lean: Floats
    slope: Floats
    amplitude: Complexes

    def joined(self, other: Arrivals) -> Arrivals:
        """These and others at the same nodes: summed where they come from the same places, else in a row."""
        if np.array_equal(self.lean, other.lean):
            return replace(self, amplitude=self.amplitude + other.amplitude)
        return Arrivals(
            self.nodes,
            np.concatenate([self.side, other.side]),
            np.concatenate([self.lean, other.lean], axis=1),
            np.concatenate([self.slope, other.slope], axis=1),
            np.concatenate([self.amplitude, other.amplitude], axis=1),
        )

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
            beta[np.ix_(np.arange(len(beta)), seen, np.flatnonzero(these))] = listener_beta(
                nodes, lean, slope, angles[seen]
            )
        field = _weighted(beta, self.amplitude)
        scale = -1.0 / (4.0 * nodes.edge.opening) * nodes.weights[:, None] / distance
        field *= turned(scale, distance - flight, wavenumbers)[:, :, None]
        return np.asarray(field.sum(axis=0).swapaxes(0, 1))


def turned(scale: Floats, lengths: Floats, wavenumbers: Floats) -> Complexes:
    """Scale times e^(−jk length), both of the shape (...), for sorted wavenumbers (F,), in single precision.

    On an even grid it is the product of a few coarse and a few fine steps.
    """
    count = len(wavenumbers)
    steps = np.diff(wavenumbers)
    if count <= FINE_STEPS or np.ptp(steps) > EVEN * steps[0]:
        return np.asarray(
            (scale[..., None] * np.exp(-1j * lengths[..., None] * wavenumbers)).astype(np.complex64)
        )
    coarse = scale[..., None] * np.exp(-1j * lengths[..., None] * wavenumbers[::FINE_STEPS])
    fine = np.exp(-1j * lengths[..., None] * (wavenumbers[:FINE_STEPS] - wavenumbers[0]))
    product = coarse[..., None].astype(np.complex64) * fine[..., None, :].astype(np.complex64)
    return np.asarray(product.reshape(*lengths.shape, -1)[..., :count])


def _weighted(beta: Floats, amplitude: Complexes) -> Complexes:
    """Sum over arrivals of real weights (N, O, I) times amplitudes (N, I, C, F), shape (N, O, C, F)."""
    count, _, radiators, frequencies = amplitude.shape
    flat = np.ascontiguousarray(amplitude).reshape(count, -1, radiators * frequencies).view(np.float32)
    summed = np.matmul(beta.astype(np.float32), flat).view(np.complex64)
    return np.asarray(summed.reshape(count, -1, radiators, frequencies))


def listener_beta(nodes: Nodes, lean: Floats, slope: Floats, angles: Floats) -> Floats:
    """Sum of the four β for sources on the face from which angles (D,) are measured.

    `lean` is u + v and `slope` its growth along the edge, both (N, D, I). The denominators are written as
    cosh x − cos w = 2 sinh²(x/2) + 2 sin²(w/2), which doesn't cancel.
    """
    order = np.pi / nodes.edge.opening
    plus, minus = order * (np.pi + angles[:, None]), order * (np.pi - angles[:, None])
    minus = np.where(np.abs(minus) < TINY, TINY, minus)
    rise = np.exp((order * lean).astype(np.float32))
    steep = (rise + 1.0 / rise) / 4.0 - np.float32(0.5)
    beta = np.zeros_like(steep)
    for width in (plus, minus):
        sine, floor = np.sin(width).astype(np.float32), np.sin(width / 2.0).astype(np.float32) ** 2
        beta += sine / (steep + np.maximum(floor, np.float32(TINY)))
    (peaked,) = np.nonzero(np.abs(minus[:, 0]) < PEAKED)
    if len(peaked):
        x, width = order * lean[:, peaked], minus[peaked]
        beta[:, peaked] = 2.0 * (wedge_beta(x, plus[peaked]) + wedge_beta(x, width))
        beta[:, peaked] += 2.0 * missed_peak(nodes, x, order * slope[:, peaked], width)
    return beta


def wedge_beta(x: Floats, width: Floats) -> Floats:
    """The quotient sin w/(cosh x − cos w) for w (D, 1) and x (N, D, I)."""
    return np.asarray(np.sin(width) / (2.0 * (np.sinh(x / 2.0) ** 2 + np.sin(width / 2.0) ** 2)))


def missed_peak(nodes: Nodes, x: Floats, slope: Floats, width: Floats) -> Floats:
    """What must be added to sin w/(cosh x − cos w) so that the nodes' sum holds the whole peak.

    `x` and `slope` (N, D, I) are the variable and its growth along the edge, `width` (D, 1) is w.
    """
    steps = nodes.weights[:, None, None] * slope
    ends = (
        np.stack([-nodes.along[0] * slope[0], (nodes.edge.length_m - nodes.along[-1]) * slope[-1]])
        + x[[0, -1]]
    )
    whole = 2.0 * np.arctan(np.tanh(ends / 2.0) / np.tan(width / 2.0))
    with_nodes = np.sum(steps * wedge_beta(x, width), axis=0)
    missed = whole[1] - whole[0] - with_nodes
    after = np.clip(np.sum(x < 0.0, axis=0), 1, len(x) - 1)[None]
    high, low = np.take_along_axis(x, after, 0)[0], np.take_along_axis(x, after - 1, 0)[0]
    here, before = nodes.along[after[0]], nodes.along[after[0] - 1]
    place = np.clip(before - low * (here - before) / (high - low), 0.0, nodes.edge.length_m)
    return np.asarray(nodes.cardinal(place) * missed / steps)
