"""Waves on a web of edges, order by order, and all that they send to listeners.

Between two edges only the phase of the way depends on frequency, and many ways of a box are alike: each kind
is worked out once. Beyond the second order what arrives is held on a few places of u (`lean`); the last edge
before the listeners has it whole, since β peaks where a listener goes out of sight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.edges import Arrivals, blocks, diffracted_to, flattened, turned
from earwitness.virtual.lean import Grid, grid
from earwitness.virtual.polyhedron import MIRROR
from earwitness.virtual.web import Disc, Way, Web

#: Digits behind the decimal sign, in metres, to which ways that are alike agree.
ALIKE = 9


@dataclass(frozen=True, slots=True)
class Phases:
    """e^(−jk distance) between the nodes of two edges at sorted wavenumbers, each kind of pair once."""

    wavenumbers: Floats
    known: dict[tuple[float, ...], Complexes] = field(default_factory=dict)
    found: dict[tuple[int, int], Complexes] = field(default_factory=dict)

    def between(self, way: Way) -> Complexes:
        """Of a way, shape (N, O, F)."""
        pair = way.number, way.to
        if pair not in self.found:
            self.found[pair] = self._of(way.distance)
        return self.found[pair]

    def _of(self, distance: Floats) -> Complexes:
        """For distances (N, O), shape (N, O, F).

        Nodes lie evenly about an edge's middle, so that a pair of edges read from its other ends, or from the
        other edge, has the same distances.
        """
        views = [(swap, one, two) for swap in (False, True) for one in (1, -1) for two in (1, -1)]
        keys = [_corners(_viewed(distance, *view)) for view in views]
        key = min(keys)
        swap, one, two = views[keys.index(key)]
        if key not in self.known:
            flat = _viewed(distance, swap, one, two)
            self.known[key] = turned(np.ones(flat.shape), flat, self.wavenumbers)
        found = self.known[key][::one, ::two]
        return np.asarray(found.swapaxes(0, 1) if swap else found)


def _viewed(distance: Floats, swap: bool, one: int, two: int) -> Floats:
    turned_over = distance.T if swap else distance
    return np.asarray(turned_over[::one, ::two])


def _corners(distance: Floats) -> tuple[float, ...]:
    corners = distance[[0, 0, -1, -1], [0, -1, 0, -1]]
    return (*distance.shape, *np.round(corners, ALIKE).tolist())


@dataclass(frozen=True, slots=True)
class Sheaf:
    """Waves at one edge on the way to another: which of the radiators followed they are (their places).

    `beta` (N, O, I) is what becomes of them but for phase, `flat` their amplitude (N, I, 2CF).
    """

    places: slice
    beta: Floats
    flat: Floats

    def at(self, here: slice, there: slice) -> Sheaf:
        """Between some of the nodes."""
        return Sheaf(self.places, self.beta[here, there], self.flat[here])


@dataclass(frozen=True, slots=True)
class Cascade:
    """Waves of several discs on a web at sorted wavenumbers (F,).

    `followed` are the numbers of those that are followed round more than one edge, `orders` round how many
    each, falling. `straight` has for every edge what comes to it straight, by the disc's number.
    """

    web: Web
    wavenumbers: Floats
    followed: tuple[int, ...]
    orders: tuple[int, ...]
    straight: tuple[dict[int, Arrivals], ...]
    twins: dict[int, int]
    phases: Phases
    betas: dict[tuple[int, int], Floats] = field(default_factory=dict)

    @classmethod
    def of(cls, web: Web, discs: Sequence[Disc], wavenumbers: Floats, orders: Sequence[int]) -> Cascade:
        """That of some discs, each followed round so many edges."""
        falling = np.argsort([-count for count in orders], kind="stable")
        followed = [int(disc) for disc in falling if orders[disc] > 1]
        twins = web.twins(discs)
        straight: list[dict[int, Arrivals]] = []
        for edge, nodes in enumerate(web.nodes):
            lit = [number for number, disc in enumerate(discs) if disc.face in nodes.edge.faces]
            known = straight[twins[edge]] if edge in twins else None
            straight.append(known or {n: web.from_disc(edge, discs[n], wavenumbers) for n in lit})
        deep = tuple(orders[disc] for disc in followed)
        return cls(web, wavenumbers, tuple(followed), deep, tuple(straight), twins, Phases(wavenumbers))

    def deeper(self, order: int) -> int:
        """How many are followed round more than so many edges: the first ones."""
        return sum(each > order for each in self.orders)

    def arrivals(self, edge: int, held: Sequence[Complexes]) -> Arrivals | None:
        """What comes to an edge by way of others, (N, I, C, F) with C those followed; None for silence.

        `held` is what `between` found.
        """
        found = []
        for way in sorted(self.web.ways(edge), key=lambda way: way.arrives):
            sheaves = self._straight(way, len(self.followed)) + (self._onward(way, held) if held else [])
            if sheaves:
                found.append((way, sheaves))
        if not found:
            return None
        here, counts = self.web.nodes[edge], [len(way.here.weights) for way, _ in found]
        shape = (len(here.weights), sum(counts), len(self.followed), len(self.wavenumbers))
        amplitude = np.empty(shape, dtype=np.complex64)
        parts = np.split(amplitude, np.cumsum(counts)[:-1], axis=1)
        for (way, sheaves), count, part in zip(found, counts, parts, strict=True):
            phases = self.phases.between(way)
            for rows in blocks(count, 2 * part[:, 0].size):
                part[:, rows] = _sent(sheaves, phases, rows, slice(None), shape[2]).swapaxes(0, 1)
        places = np.concatenate([way.here.places for way, _ in found])
        side = np.repeat([way.arrives for way, _ in found], counts)
        return Arrivals(here, side, here.lean(places), 1.0 / here.distance(places), amplitude)

    def between(self) -> list[Complexes]:
        """What comes to each edge by way of others and goes on to another, on the grid of u.

        Shape (N, 2G, C, F) with those C that are followed round more than two; empty where none is.
        """
        most = max(self.orders, default=0)
        if most <= 2:
            return []
        latest = self._all_held(self.deeper(2), [])
        total = latest
        for order in range(3, most):
            deep = self.deeper(order)
            latest = self._all_held(deep, [each[:, :, :deep] for each in latest])
            both = zip(total, latest, strict=True)
            total = [np.concatenate([a[:, :, :deep] + b, a[:, :, deep:]], axis=2) for a, b in both]
        return total

    def _all_held(self, deep: int, before: Sequence[Complexes]) -> list[Complexes]:
        """`_held` of every edge; twins share it."""
        found: list[Complexes] = []
        for edge in range(len(self.web.nodes)):
            known = found[self.twins[edge]] if edge in self.twins else None
            found.append(self._held(edge, deep, before) if known is None else known)
        return found

    def _held(self, edge: int, deep: int, before: Sequence[Complexes]) -> Complexes:
        """What comes to an edge of what is held at the others, or straight there, on the grid of u."""
        here, places = self.web.nodes[edge], self._grid(edge)
        count = len(places.places)
        found = np.zeros((len(here.weights), 2 * count, deep, len(self.wavenumbers)), dtype=np.complex64)
        flat = flattened(found)
        for way in self.web.ways(edge):
            sheaves = self._onward(way, before) if before else self._straight(way, deep)
            if not sheaves:
                continue
            shares = places.shares(here.lean(way.here.places)).swapaxes(1, 2)
            phases = self.phases.between(way)
            side = slice(way.arrives * count, (way.arrives + 1) * count)
            for cols in blocks(len(here.weights), len(way.distance) * flat.shape[2]):
                sent = _sent(sheaves, phases, slice(None), cols, deep)
                flat[cols, side] += np.matmul(shares[cols], flattened(sent).swapaxes(0, 1))
        return found

    def _grid(self, edge: int) -> Grid:
        order = np.pi / self.web.nodes[edge].edge.opening
        return grid(order, np.pi * min(order, 1.0 - order))

    def _straight(self, way: Way, deep: int) -> list[Sheaf]:
        """What has come straight to the edge where a way begins, of the first few that are followed."""
        lit = self.straight[way.number]
        return [
            Sheaf(slice(place, place + 1), way.beta(waves.side, waves.lean), flattened(waves.amplitude))
            for place, disc in enumerate(self.followed[:deep])
            if (waves := lit.get(disc)) is not None
        ]

    def _onward(self, way: Way, held: Sequence[Complexes]) -> list[Sheaf]:
        """What is held at the edge where a way begins."""
        known = (way.number, way.to)
        if known not in self.betas:
            lean = self._grid(way.number).places * way.here.edge.opening / np.pi
            side = np.repeat([0, 1], len(lean))
            self.betas[known] = way.beta(side, np.tile(lean, (len(way.here.weights), 2)))
        amplitude = held[way.number]
        return [Sheaf(slice(0, amplitude.shape[2]), self.betas[known], flattened(amplitude))]


def _sent(
    sheaves: Sequence[Sheaf], phases: Complexes, here: slice, there: slice, radiators: int
) -> Complexes:
    """What goes from some nodes to some others, (N, O, C, F)."""
    phases = phases[here, there]
    total = np.zeros((*phases.shape[:2], radiators, phases.shape[2]), dtype=np.complex64)
    for sheaf in sheaves:
        some = sheaf.at(here, there)
        summed = np.matmul(some.beta, some.flat).view(np.complex64)
        total[:, :, sheaf.places] += summed.reshape(*phases.shape[:2], -1, phases.shape[2])
    total *= phases[:, :, None]
    return total


def diffracted(
    web: Web,
    discs: Sequence[Disc],
    points: Floats,
    wavenumbers: Floats,
    flight: Floats,
    *,
    orders: Sequence[int],
    shaded: npt.NDArray[np.bool_],
) -> Complexes:
    """What the edges add to the mean of e^(−jk(R − flight))/R over each disc; (C, D, F).

    Up to `orders` (C,) edges on the way to the points that are `shaded` (D,), one to the others.
    """
    field = np.zeros((len(discs), len(points), len(wavenumbers)), dtype=np.complex128)
    cascade = Cascade.of(web, discs, wavenumbers, orders)
    deep = bool(shaded.any()) and len(cascade.followed) > 0
    held = cascade.between() if deep else []
    whole, halves = (_audience(points, shaded, mirrored=mirrored) for mirrored in (False, True))
    for edge, nodes in enumerate(web.nodes):
        if edge in cascade.twins:
            continue
        audience = halves if edge in cascade.twins.values() else whole
        everyone = len(audience.numbers)
        waves = [([disc], each, everyone) for disc, each in cascade.straight[edge].items()]
        if deep and (later := cascade.arrivals(edge, held)) is not None:
            waves.append((list(cascade.followed), later, audience.shaded))
        heard = np.zeros((len(discs), everyone, len(wavenumbers)), dtype=np.complex64)
        diffracted_to(
            nodes,
            waves,
            heard,
            points=audience.points,
            wavenumbers=wavenumbers,
            flight=flight[audience.numbers],
        )
        for some in (audience.turned, ~audience.turned):
            field[:, audience.numbers[some]] += heard[:, some]
    return field


@dataclass(frozen=True, slots=True)
class Audience:
    """Points that an edge is heard at, the first `shaded` also round more edges, and their numbers.

    Those `turned` are mirror images: an edge heard there is its twin heard at the points themselves.
    """

    points: Floats
    numbers: npt.NDArray[np.integer]
    turned: npt.NDArray[np.bool_]
    shaded: int


def _audience(points: Floats, shaded: npt.NDArray[np.bool_], *, mirrored: bool) -> Audience:
    copies = 2 if mirrored else 1
    numbers = np.tile(np.arange(len(points)), copies)
    turned = np.arange(len(numbers)) >= len(points)
    order = np.argsort(~shaded[numbers], kind="stable")
    numbers, turned = numbers[order], turned[order]
    there = np.where(turned[:, None], points[numbers] * MIRROR, points[numbers])
    return Audience(there, numbers, turned, copies * int(np.count_nonzero(shaded)))
