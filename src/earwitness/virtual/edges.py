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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.lean import grid
from earwitness.virtual.polyhedron import Edge

#: Nodes on an edge beyond those that its length in wavelengths asks for.
FEWEST_NODES = 16
#: Nodes to a radian of kL; an edge wave and its way on turn by up to twice that phase.
NODES_PER_RADIAN = 0.42
#: Nodes to each gap between two edges that face each other, on both sides of a narrow face.
NODES_PER_GAP = 3.0
#: Angles (times ν) from the limit of what is seen that make a peak which nodes may miss: so many steps of x
#: between them, those between the closest few waves and nodes (at the corners) left out, and no angle more.
PEAKED_STEPS, ALL_BUT, PEAKED = 1.2, 0.97, 0.5
#: Steps of an even grid that share a factor, and by how much its steps may differ.
FINE_STEPS, EVEN = 8, 1e-6
#: Numbers in an array that stays in the processor's cache.
BLOCK = 2**18
#: A peak is no sharper than this at the nodes, or single precision would lose it; what that takes is put back
#: with what the nodes miss.
BLUNT = 1e-6
#: From this νφ on listeners hear waves by way of the grid of u, where there are so many for each place on it.
WIDE, FEW = 0.55, 2.0
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
        nodes, weights = _gauss(count)
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
        shares = (signs * np.sqrt((1.0 - centred**2) * self.weights)).astype(np.float32)
        lines = np.ones(along.ndim, dtype=int)
        gap = (along - self.along.reshape(-1, *lines)).astype(np.float32)
        gap[np.abs(gap) < TINY * self.edge.length_m] = TINY * self.edge.length_m
        parts = np.divide(shares.reshape(-1, *lines), gap, out=gap)
        parts /= parts.sum(axis=0)
        return np.asarray(parts)

    def distance(self, points: Floats) -> Floats:
        """Distances (N, M) to points (M, 3)."""
        place, away = self.edge.across(points)
        return np.hypot(self.along[:, None] - place, away)


@lru_cache(maxsize=256)
def _gauss(count: int) -> tuple[Floats, Floats]:
    """Gauss and Legendre's nodes and weights."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return np.asarray(nodes), np.asarray(weights)


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


def along_faces(
    nodes: Nodes, came: npt.NDArray[np.integer], here: Floats, goes: int, there: Floats
) -> Floats:
    """β of waves that came along the faces `came` (I,) and leave along the face `goes`; (N, O, I).

    `here` (N, I) and `there` (N, O) are their u and v. Single precision, without the factor −1/(4·opening).
    """
    order = np.pi / nodes.edge.opening
    sign = np.where(came == goes, 1.0, -1.0)
    scale = (-np.sin(order * np.pi) * order / np.pi * sign).astype(np.float32)
    shift = (np.cos(order * np.pi) * sign).astype(np.float32)
    beta = _steepness(*(_rises(order, lean).astype(np.float32) for lean in (here, there)))
    beta -= shift
    return np.asarray(np.divide(scale, beta, out=beta))


def diffracted_to(
    nodes: Nodes,
    waves: Sequence[tuple[Sequence[int], Arrivals, int]],
    field: Complexes,
    *,
    points: Floats,
    wavenumbers: Floats,
    flight: Floats,
) -> None:
    """Add what one edge sends to points (D, 3), time of flight (D,) taken out, to `field` (C, D, F).

    Each of `waves` has the numbers of its radiators in `field` and goes to so many of the first points.
    """
    angles = nodes.edge.angle(points, 0)
    (seen,) = np.nonzero(angles <= nodes.edge.opening)
    if not len(seen) or not waves:
        return
    # Those that differ in what they hear, and then in angle, stand together.
    last = np.searchsorted(seen, sorted(count for _, _, count in waves), side="left")
    seen = seen[np.lexsort((angles[seen], np.searchsorted(last, np.arange(len(seen)), side="right")))]
    listeners = Listeners(nodes, angles[seen], nodes.lean(points[seen]), nodes.distance(points[seen]))
    present = sorted({number for numbers, _, _ in waves for number in numbers})
    beams = []
    for numbers, each, count in waves:
        heard = listeners.of(slice(int(np.count_nonzero(seen < count))))
        beams += beams_of(heard, each, [present.index(number) for number in numbers])
    if not beams:
        return
    scale = -1.0 / (4.0 * nodes.edge.opening) * nodes.weights[:, None] / listeners.distance
    ways = listeners.distance - flight[seen]
    total = np.zeros((len(seen), len(present), len(wavenumbers)), dtype=np.complex64)
    most = max(2 * len(present) * len(wavenumbers), *(beam.flat.shape[1] for beam in beams))
    for rows in blocks(len(scale), len(seen) * most):
        sent = np.zeros((len(scale[rows]), *total.shape), dtype=np.complex64)
        for beam in beams:
            beam.add(sent, rows)
        sent *= turned(scale[rows], ways[rows], wavenumbers)[:, :, None]
        total += sent.sum(axis=0)
    for place, number in enumerate(present):
        field[number, seen] += total[:, place]


@dataclass(frozen=True, slots=True)
class Beam:
    """Waves of some radiators that came along one face, on the way to some listeners.

    `places` are the radiators' among those present, `heard` the listeners; `flat` (N, I, 2CF) the amplitude.
    """

    places: Sequence[int]
    heard: slice
    fan: Fan
    flat: Floats

    def add(self, sent: Complexes, rows: slice) -> None:
        """Add what goes out at some nodes to an array (N, D, C, F)."""
        summed = np.matmul(self.fan.beta(rows), self.flat[rows]).view(np.complex64)
        summed = summed.reshape(*summed.shape[:2], len(self.places), -1)
        for number, place in enumerate(self.places):
            sent[:, self.heard, place] += summed[:, :, number]


def beams_of(listeners: Listeners, waves: Arrivals, places: Sequence[int]) -> list[Beam]:
    """The way of waves to all listeners; many waves on the grid to those for whom β is wide."""
    flat = flattened(waves.amplitude)
    found = []
    order = np.pi / listeners.nodes.edge.opening
    held = grid(order, WIDE)
    for cols in sides(waves.side):
        side = int(waves.side[cols.start])
        wide = np.abs(listeners.limits(side)) >= WIDE
        if cols.stop - cols.start < FEW * len(held.places):
            wide[:] = False
        if wide.any():
            shares = held.shares(waves.lean[:, cols]).swapaxes(1, 2)
            few = np.matmul(shares, flat[:, cols])
        for some in _runs(wide):
            if wide[some.start]:
                fan = listeners.of(some).wide_fan(side, held.places / order)
                found.append(Beam(places, some, fan, few))
            else:
                found.append(Beam(places, some, listeners.of(some).fan(waves, cols), flat[:, cols]))
    return found


def _runs(marks: npt.NDArray[np.bool_]) -> list[slice]:
    """Slices within which marks are alike."""
    turns = np.flatnonzero(np.diff(marks)) + 1
    ends = [0, *turns.tolist(), len(marks)]
    return [slice(a, b) for a, b in pairwise(ends) if b > a]


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

    def beta(self, rows: slice) -> Floats:
        """β of some nodes, (N, D, I)."""
        rise, level, first, second = self.shape[:, :, None]
        steep = _steepness(self.here[:, rows], self.there[:, rows])
        beta = steep * rise
        beta -= level
        beta /= steep - first
        steep -= second
        beta /= steep
        if len(self.peaked):
            beta[:, self.peaked] = self.near[rows]
        return np.asarray(beta)


@dataclass(frozen=True, slots=True)
class Listeners:
    """Listeners as an edge sees them: `angles` (D,) from its first face, `lean` and `distance` (N, D)."""

    nodes: Nodes
    angles: Floats
    lean: Floats
    distance: Floats

    def of(self, some: slice) -> Listeners:
        """Some of them."""
        return Listeners(self.nodes, self.angles[some], self.lean[:, some], self.distance[:, some])

    def limits(self, side: int) -> Floats:
        """ν times the angle to the limit of what is seen of waves along a face, (D,); never quite nought."""
        opening = self.nodes.edge.opening
        limit = np.pi / opening * (np.pi - (self.angles if side == 0 else opening - self.angles))
        return np.where(np.abs(limit) < TINY, TINY, limit)

    def wide_fan(self, side: int, lean: Floats) -> Fan:
        """For waves along a face, of the same u (I,) at all nodes; no peaks."""
        order = np.pi / self.nodes.edge.opening
        minus = self.limits(side)
        plus = 2.0 * np.pi * order - minus
        shape = [
            2.0 * (np.sin(plus) + np.sin(minus)),
            2.0 * np.sin(plus + minus),
            np.cos(plus),
            np.cos(minus),
        ]
        here = np.broadcast_to(_rises(order, lean)[:, None], (2, len(self.lean), len(lean)))
        there = _rises(order, self.lean).astype(np.float32)
        none, near = np.empty(0, dtype=int), np.empty((len(self.lean), 0, len(lean)), dtype=np.float32)
        return Fan(here.astype(np.float32), there, np.stack(shape).astype(np.float32), none, near)

    def fan(self, waves: Arrivals, cols: slice) -> Fan:
        """The way to them for those arrivals `cols` that come along one face."""
        side = int(waves.side[cols.start])
        order = np.pi / self.nodes.edge.opening
        minus = self.limits(side)
        (peaked,) = np.nonzero(np.abs(minus) < self._limits(waves, cols, order))
        near = np.empty((len(self.lean), len(peaked), cols.stop - cols.start), dtype=np.float32)
        for some in blocks(len(peaked), near.shape[0] * near.shape[2]):
            near[:, some] = 2.0 * self._near(waves, cols, peaked[some], order * np.pi, minus[peaked[some]])
        plain = self.wide_fan(side, np.zeros(0))
        plain.shape[3, peaked] = -1.0
        here = _rises(order, waves.lean[:, cols]).astype(np.float32)
        return Fan(here, plain.there, plain.shape, peaked, near)

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
        here = _rises(order, waves.lean[:, cols]).astype(np.float32)
        there = 0.5 * _rises(order, self.lean[:, these]).astype(np.float32)
        up, down = (a[:, None, :] * b[:, :, None] for a, b in zip(here, there, strict=True))
        steep, rise = np.maximum(up + down - 1.0, 0.0), up - down
        wide, other = np.stack([width, 2.0 * limit - width]).astype(np.float32)[:, :, None]
        beta = np.sin(wide) / (steep + np.maximum(2.0 * np.sin(wide / 2.0) ** 2, BLUNT))
        slope = waves.slope[:, None, cols] + 1.0 / self.distance[:, these, None]
        steps = (order * self.nodes.weights[:, None, None] * slope).astype(np.float32)
        ends = self._ends(waves, cols, these, order)
        beta += missed_peak(self.nodes, rise=rise, steps=steps, ends=ends, beta=beta, width=width[:, None])
        beta += np.sin(other) / (steep + 2.0 * np.sin(other / 2.0) ** 2)
        return np.asarray(beta)

    def _ends(self, waves: Arrivals, cols: slice, these: npt.NDArray[np.integer], order: float) -> Floats:
        """The x = ν(u + v) of both ends of the edge, (2, P, I)."""
        nodes = self.nodes
        both = np.array([0, -1])
        past = np.array([-nodes.along[0], nodes.edge.length_m - nodes.along[-1]])[:, None, None]
        slope = waves.slope[both, None, cols] + 1.0 / self.distance[both][:, these, None]
        x = waves.lean[both, None, cols] + self.lean[both][:, these, None]
        return np.asarray(order * (x + past * slope))


def _rises(order: float, lean: Floats) -> Floats:
    """e^(νu) and e^(−νu), shape (2, ...)."""
    rise = np.exp(order * lean)
    return np.stack([rise, 1.0 / rise])


def _steepness(here: Floats, there: Floats) -> Floats:
    """The hyperbolic cosine of ν(u + v), from the two's powers (2, N, I) and (2, N, D); shape (N, D, I)."""
    steep = here[0][:, None, :] * (0.5 * there[0])[:, :, None]
    steep += here[1][:, None, :] * (0.5 * there[1])[:, :, None]
    return np.asarray(steep)


def flattened(amplitude: Complexes) -> Floats:
    """Amplitudes (N, I, C, F) as real numbers (N, I, 2CF)."""
    count, arrivals, radiators, frequencies = amplitude.shape
    flat = np.ascontiguousarray(amplitude).reshape(count, arrivals, radiators * frequencies)
    return np.asarray(flat.view(np.float32))


def sides(side: npt.NDArray[np.integer]) -> list[slice]:
    """Where arrivals along each face stand; those along the first come first."""
    first = int(np.count_nonzero(side == 0))
    return [part for part in (slice(0, first), slice(first, len(side))) if part.stop > part.start]


def blocks(count: int, each: int) -> Iterator[slice]:
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


def missed_peak(
    nodes: Nodes, *, rise: Floats, steps: Floats, ends: Floats, beta: Floats, width: Floats
) -> Floats:
    """What must be added to β = sin w/(cosh x − cos w) so that the nodes' sum holds the whole peak.

    `rise` is sinh x, `steps` what a node stands for in x, and `beta`, all (N, P, I); `ends` (2, P, I) is x at
    the edge's ends, `width` (P, 1) is w. What is missed of the peak's lever ∫β sinh x dx =
    sin w ln(cosh x − cos w) goes to the two nodes beside it: one of them may stand high on the peak's flank.
    """
    whole = 2.0 * np.arctan(np.tanh(ends / 2.0) / np.tan(width / 2.0))
    held = steps * beta
    missed = whole[1] - whole[0] - held.sum(axis=0)
    after = np.clip(np.count_nonzero(rise < 0.0, axis=0), 1, len(rise) - 1)[None]
    low, high = (np.take_along_axis(rise, after - back, 0)[0].astype(np.float64) for back in (1, 0))
    here, before = nodes.along[after[0]], nodes.along[after[0] - 1]
    place = np.clip(before - low * (here - before) / (high - low), 0.0, nodes.edge.length_m)
    added = nodes.cardinal(place)
    added *= missed.astype(np.float32)
    held *= rise
    depth = np.sinh(ends / 2.0) ** 2 + np.sin(width / 2.0) ** 2
    uneven = np.sin(width) * np.log(depth[1] / depth[0])
    tilt = ((uneven - held.sum(axis=0)) / (high - low))[None]
    for back, share in ((1, -tilt), (0, tilt)):
        some = np.take_along_axis(added, after - back, 0)
        np.put_along_axis(added, after - back, some + share.astype(np.float32), 0)
    added /= steps
    return np.asarray(added)
