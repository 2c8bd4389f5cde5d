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

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.polyhedron import Edge

#: Nodes on an edge beyond those that its length in wavelengths asks for.
FEWEST_NODES = 16
#: Nodes to a radian of kL; an edge wave and its way on turn by up to twice that phase.
NODES_PER_RADIAN = 0.42
#: Nodes to each gap between two edges that face each other, on both sides of a narrow face.
NODES_PER_GAP = 3.0
#: Angles (times ν) from the limit of what is seen that make a peak which nodes may miss: so many steps of x
#: between them, those between the closest few waves and nodes (at the corners) left out, and no angle more.
PEAKED_STEPS, ALL_BUT, PEAKED = 2.0, 0.97, 0.5
#: Steps of an even grid that share a factor, and by how much its steps may differ.
FINE_STEPS, EVEN = 8, 1e-6
#: Numbers in an array that stays in the processor's cache.
BLOCK = 2**17
#: A listener is never nearer to that limit: on it, half the source is seen.
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Nodes:
    """Places on an edge: how far along it (N,), where (N, 3), and their weights in metres (N,).

    `gap_m` is how far the nearest edge lies that faces it.
    """

    edge: Edge
    gap_m: float
    along: Floats
    places: Floats
    weights: Floats

    @classmethod
    def on(cls, edge: Edge, gap_m: float, wavenumber: float, density: float) -> Nodes:
        """Gauss and Legendre's nodes, enough for a wavenumber; `density` times as many as usual."""
        waves, gaps = NODES_PER_RADIAN * wavenumber * edge.length_m, NODES_PER_GAP * edge.length_m / gap_m
        count = int(np.ceil(density * max(FEWEST_NODES + waves, gaps)))
        nodes, weights = np.polynomial.legendre.leggauss(count)
        along = edge.length_m / 2.0 * (1.0 + nodes)
        places = edge.start + along[:, None] * edge.along
        return cls(edge, gap_m, along, places, edge.length_m / 2.0 * weights)

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
    """Waves that arrive at the nodes of one edge, those along its first face before those along its second.

    `side` (I,) is the face along which each comes, `lean` (N, I) its variable u, `slope` (N, I) how fast
    that grows along the edge, `amplitude` (N, I, C, F) that of a source with the free field e^(−jkr)/r,
    phase at the node, in single precision.
    """

    nodes: Nodes
    side: npt.NDArray[np.integer]
    lean: Floats
    slope: Floats
    amplitude: Complexes

    def added_to(self, other: Arrivals) -> Arrivals:
        """These and others from the same places; the sum is written over the other's amplitudes."""
        return replace(self, amplitude=np.add(self.amplitude, other.amplitude, out=other.amplitude))

    def towards_faces(self, side: npt.NDArray[np.integer], lean: Floats, onward: Complexes) -> Complexes:
        """Diffracted along the faces, towards places of `side` (O,) and `lean` (N, O).

        `onward` (N, O, F) is what becomes of each on its way there. Shape (N, O, C, F).
        """
        order = np.pi / self.nodes.edge.opening
        sine, cosine = np.sin(order * np.pi), np.cos(order * np.pi)
        sign = np.where(self.side == side[:, None], 1.0, -1.0).astype(np.float32)
        scale, shift = sign * np.float32(-sine * order / np.pi), sign * np.float32(cosine)
        here, there = (_rises(order, one).astype(np.float32) for one in (self.lean, lean))
        flat = _flat(self.amplitude)
        sent = np.empty((*lean.shape, *self.amplitude.shape[2:]), dtype=np.complex64)
        for rows in _blocks(len(lean), lean.shape[1] * max(len(self.side), flat.shape[2])):
            beta = scale / (_steepness(here[:, rows], there[:, rows]) - shift)
            summed = np.matmul(beta, flat[rows]).view(np.complex64).reshape(-1, *sent.shape[1:])
            np.multiply(summed, onward[rows, :, None], out=sent[rows])
        return sent

    def towards(self, points: Floats, wavenumbers: Floats, flight: Floats) -> Complexes:
        """Diffracted to points (D, 3), time of flight (D,) in metres taken out; (C, D, F)."""
        nodes, edge = self.nodes, self.nodes.edge
        count, _, radiators, frequencies = self.amplitude.shape
        field = np.zeros((radiators, len(points), frequencies), dtype=np.complex64)
        angles = edge.angle(points, 0)
        (seen,) = np.nonzero(angles <= edge.opening)
        if not len(seen):
            return field
        distance, lean = nodes.distance(points[seen]), nodes.lean(points[seen])
        scale = -1.0 / (4.0 * edge.opening) * nodes.weights[:, None] / distance
        listener = Listeners(nodes, angles[seen], lean, distance)
        parts = [(cols, listener.fans(self, cols)) for cols in _sides(self.side)]
        flat, ways = _flat(self.amplitude), distance - flight[seen]
        total = np.zeros((len(seen), radiators, frequencies), dtype=np.complex64)
        for rows in _blocks(count, len(seen) * max(len(self.side), flat.shape[2])):
            beta = np.empty((len(ways[rows]), len(seen), len(self.side)), dtype=np.float32)
            for cols, fan in parts:
                fan.fill(beta[..., cols], rows)
            summed = np.matmul(beta, flat[rows]).view(np.complex64)
            summed = summed.reshape(*beta.shape[:2], radiators, frequencies)
            summed *= turned(scale[rows], ways[rows], wavenumbers)[:, :, None]
            total += summed.sum(axis=0)
        field[:, seen] = total.swapaxes(0, 1)
        return field


@dataclass(frozen=True, slots=True)
class Fan:
    """What of arrivals along one face goes to listeners: β by node, listener and arrival.

    `here` and `there` are e^(νu) and e^(νv) with their inverses, (2, N, I) and (2, N, D); `shape` (4, D)
    what β's closed form has of each listener's angle. `near` (N, P, I) replaces it for the listeners `peaked`
    (P,).
    """

    here: Floats
    there: Floats
    shape: Floats
    peaked: npt.NDArray[np.integer]
    near: Floats

    def fill(self, beta: Floats, rows: slice) -> None:
        """Write β of some nodes into an array (N, D, I)."""
        rise, level, first, second = self.shape[:, :, None]
        steep = _steepness(self.here[:, rows], self.there[:, rows])
        np.multiply(steep, rise, out=beta)
        beta -= level
        beta /= steep - first
        beta /= steep - second
        beta[:, self.peaked] = self.near[rows]


@dataclass(frozen=True, slots=True)
class Listeners:
    """Listeners as an edge sees them: `angles` (D,) from its first face, `lean` and `distance` (N, D)."""

    nodes: Nodes
    angles: Floats
    lean: Floats
    distance: Floats

    def fans(self, waves: Arrivals, cols: slice) -> Fan:
        """The way to them for those arrivals `cols` that come along one face."""
        opening = self.nodes.edge.opening
        angles = self.angles if waves.side[cols][0] == 0 else opening - self.angles
        order = np.pi / opening
        plus, minus = order * (np.pi + angles), order * (np.pi - angles)
        minus = np.where(np.abs(minus) < TINY, TINY, minus)
        (peaked,) = np.nonzero(np.abs(minus) < self._limits(waves, cols, order))
        near = np.empty((len(self.lean), len(peaked), cols.stop - cols.start), dtype=np.float32)
        for some in _blocks(len(peaked), near.shape[0] * near.shape[2]):
            near[:, some] = 2.0 * self._near(waves, cols, peaked[some], order * np.pi, minus[peaked[some]])
        shape = [
            2.0 * (np.sin(plus) + np.sin(minus)),
            2.0 * np.sin(plus + minus),
            np.cos(plus),
            np.cos(minus),
        ]
        shape[3][peaked] = -1.0
        return Fan(
            _rises(order, waves.lean[:, cols]).astype(np.float32),
            _rises(order, self.lean).astype(np.float32),
            np.stack(shape).astype(np.float32),
            peaked,
            near,
        )

    def _limits(self, waves: Arrivals, cols: slice, order: float) -> Floats:
        """Below which νφ each listener's peak may be missed, shape (D,)."""
        weights = order * self.nodes.weights[:, None]
        close = weights.max() / self.nodes.gap_m
        here = max(close, float(np.quantile(weights * waves.slope[:, cols], ALL_BUT)))
        there = np.max(weights / self.distance, axis=0)
        return np.asarray(np.minimum(PEAKED_STEPS * (here + there), PEAKED))

    def _near(
        self,
        waves: Arrivals,
        cols: slice,
        these: npt.NDArray[np.integer],
        limit: float,
        width: Floats,
    ) -> Floats:
        """Half of β for some listeners (P,) close to what is seen no more, the peak whole; (N, P, I)."""
        order = limit / np.pi
        lean, here = self.lean[:, these], waves.lean[:, cols]
        steep = np.maximum(_steepness(_rises(order, here), _rises(order, lean)) - 1.0, 0.0)
        other = 2.0 * limit - width[:, None]
        beta = np.sin(width[:, None]) / (steep + 2.0 * np.sin(width[:, None] / 2.0) ** 2)
        slope = order * (waves.slope[:, None, cols] + 1.0 / self.distance[:, these, None])
        x = order * (here[:, None, :] + lean[:, :, None])
        missed = missed_peak(self.nodes, x, slope, beta, width[:, None])
        beta += np.sin(other) / (steep + 2.0 * np.sin(other / 2.0) ** 2)
        return np.asarray(beta + missed)


def _rises(order: float, lean: Floats) -> Floats:
    """e^(νu) and e^(−νu), shape (2, ...)."""
    rise = np.exp(order * lean)
    return np.stack([rise, 1.0 / rise])


def _steepness(here: Floats, there: Floats) -> Floats:
    """The hyperbolic cosine of ν(u + v), from the two's powers (2, N, I) and (2, N, D); shape (N, D, I)."""
    steep = here[0][:, None, :] * (0.5 * there[0])[:, :, None]
    steep += here[1][:, None, :] * (0.5 * there[1])[:, :, None]
    return np.asarray(steep)


def _flat(amplitude: Complexes) -> Floats:
    """Amplitudes (N, I, C, F) as real numbers (N, I, 2CF)."""
    count, arrivals, radiators, frequencies = amplitude.shape
    flat = np.ascontiguousarray(amplitude).reshape(count, arrivals, radiators * frequencies)
    return np.asarray(flat.view(np.float32))


def _sides(side: npt.NDArray[np.integer]) -> list[slice]:
    """Where arrivals along each face stand; those along the first come first."""
    first = int(np.count_nonzero(side == 0))
    return [part for part in (slice(0, first), slice(first, len(side))) if part.stop > part.start]


def _blocks(count: int, each: int) -> Iterator[slice]:
    """Slices over `count` nodes, of so many that their arrays of `each` numbers stay in the cache."""
    step = max(1, BLOCK // each)
    return (slice(start, start + step) for start in range(0, count, step))


def turned(scale: Floats, lengths: Floats, wavenumbers: Floats) -> Complexes:
    """Scale times e^(−jk length), both of the shape (...), for sorted wavenumbers (F,), in single precision.

    On an even grid it is the product of a few coarse and a few fine steps.
    """
    count = len(wavenumbers)
    steps = np.diff(wavenumbers)
    if count <= FINE_STEPS or np.ptp(steps) > EVEN * steps[0]:
        return scale[..., None].astype(np.float32) * phasors(lengths[..., None] * wavenumbers)
    coarse = phasors(lengths[..., None] * wavenumbers[::FINE_STEPS])
    coarse *= scale[..., None].astype(np.float32)
    fine = phasors(lengths[..., None] * (wavenumbers[:FINE_STEPS] - wavenumbers[0]))
    product = coarse[..., None] * fine[..., None, :]
    return np.asarray(product.reshape(*lengths.shape, -1)[..., :count])


def phasors(angles: Floats) -> Complexes:
    """The unit numbers e^(−j angle) in single precision, of angles in double."""
    rest = (angles - 2.0 * np.pi * np.rint(angles / (2.0 * np.pi))).astype(np.float32)
    turn = np.empty(angles.shape, dtype=np.complex64)
    np.cos(rest, out=turn.real)
    np.sin(-rest, out=turn.imag)
    return turn


def missed_peak(nodes: Nodes, x: Floats, slope: Floats, beta: Floats, width: Floats) -> Floats:
    """What must be added to β = sin w/(cosh x − cos w) so that the nodes' sum holds the whole peak.

    `x`, its growth along the edge `slope`, and `beta` are (N, P, I), `width` (P, 1) is w. What is missed of
    the peak's lever ∫β sinh x dx = sin w ln(cosh x − cos w) goes to the two nodes beside it: one of them may
    stand high on the peak's flank.
    """
    steps = nodes.weights[:, None, None] * slope
    ends = (
        np.stack([-nodes.along[0] * slope[0], (nodes.edge.length_m - nodes.along[-1]) * slope[-1]])
        + x[[0, -1]]
    )
    whole = 2.0 * np.arctan(np.tanh(ends / 2.0) / np.tan(width / 2.0))
    with_nodes = np.einsum("npi,npi->pi", steps, beta)
    missed = whole[1] - whole[0] - with_nodes
    after = np.clip(np.sum(x < 0.0, axis=0), 1, len(x) - 1)[None]
    rise = np.sinh(x)
    low, high = (np.take_along_axis(rise, after - back, 0)[0] for back in (1, 0))
    here, before = nodes.along[after[0]], nodes.along[after[0] - 1]
    place = np.clip(before - low * (here - before) / (high - low), 0.0, nodes.edge.length_m)
    added = nodes.cardinal(place) * missed
    lever = np.einsum("npi,npi,npi->pi", steps, beta, rise)
    depth = np.sinh(ends / 2.0) ** 2 + np.sin(width / 2.0) ** 2
    uneven = np.sin(width) * np.log(depth[1] / depth[0])
    tilt = ((uneven - lever) / (high - low))[None]
    for back, share in ((1, -tilt), (0, tilt)):
        held = np.take_along_axis(added, after - back, 0)
        np.put_along_axis(added, after - back, held + share, 0)
    return np.asarray(added / steps)
