"""A rectangular cabinet with round pistons and ports in its faces.

The pressure of each radiator is what it would send into half space from an endless face, where that face
can be seen, and what the box's edges make of it (`edges`), to an order of diffraction that falls with
frequency.

Everything is computed on an even grid of frequencies, coarse but fine enough for the time in which the box's
answer dies away, and interpolated from there (Shannon), the time of flight taken out. Points hidden from the
radiator are as good as any other: there is diffraction of higher order alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.cascade import diffracted
from earwitness.virtual.piston import baffled, rays_needed
from earwitness.virtual.polyhedron import Polyhedron, bevelled, cuboid
from earwitness.virtual.web import Disc, Web

Face = Literal["back", "front", "right", "left", "bottom", "top"]
#: Faces in the order of `cuboid`, each with the axis of its normal and those of `across` and `up` on it.
FACES: Final[dict[Face, tuple[int, int, int]]] = {
    "back": (0, 1, 2),
    "front": (0, 1, 2),
    "right": (1, 0, 2),
    "left": (1, 0, 2),
    "bottom": (2, 1, 0),
    "top": (2, 1, 0),
}
#: Up to each frequency in hertz, orders of diffraction: one more changes less than 0.1 dB. Each band has edge
#: sources of its own, and what is said of a radiator's sound below holds from the start of a band.
ORDERS: Final = (
    (1500.0, 6), (3000.0, 4), (5000.0, 4), (7000.0, 3), (9500.0, 3), (14_000.0, 2), (18_000.0, 2),
    (np.inf, 2),
)  # fmt: skip
#: The same for a box with bevels: two edges that lie close together need more.
BEVELLED_ORDERS: Final = (
    (1500.0, 8), (3000.0, 6), (5000.0, 5), (7500.0, 4), (10_500.0, 4), (14_000.0, 3), (18_000.0, 2),
    (np.inf, 2),
)  # fmt: skip
#: What a bevel that touches a rounding takes off each face, in radii.
BEVEL: Final = 2.0 - 2.0**0.5
#: Beyond these ka only the smallest radiator's sound is followed round a third edge, and round a second. The
#: others beam: along their own face they are 25 dB down, and what goes round two edges lies lower still.
WIDE, BEAMING = 3.0, 8.0
#: Above each frequency in hertz points that see all radiators at angles whose sine is so high above their
#: faces hear one edge only: what comes round two lies 46 dB below the radiator's maximum there.
PLAIN: Final = ((14_000.0, 0.35), (18_000.0, 0.05))
#: Bytes for the waves between all pairs of nodes; more frequencies are taken in several goes.
MOST_BYTES: Final = 4e8
#: The box's answer up to each frequency in hertz, in sums of its three sides over the speed of sound: middle
#: and half length. What goes round many edges comes late, and has no treble.
ANSWERS: Final = ((3000.0, 1.2, 1.8), (np.inf, 0.25, 1.15))
#: Grid points that an interpolated value takes from each side, and how much finer the grid is than it must
#: be.
TAPS, FINER = 9, 1.3
#: Frequencies that are interpolated at once.
CHUNK: Final = 128
#: Points closer to a face's plane than this are moved off it, in metres.
OFF_PLANE_M = 1e-6
#: Decimals of a metre to which points are told apart.
SAME: Final = 9
#: Rays to a disc from points within its own diameter.
NEAR_RAYS = 192
#: Shape of the window: what guard of FINER affords over so many taps.
KAISER = np.pi * TAPS * (1.0 - 1.0 / FINER)


@dataclass(frozen=True, slots=True)
class RoundRadiator:
    """A piston or a port's mouth, flush with a face.

    `across_m` and `up_m` place its centre on the face, from the reference point: y and z on front and back,
    x and z on the sides, y and x on bottom and top. Above `round_one_edge_from_hz` its sound is followed
    round one edge only: for a port, or a woofer behind a low pass, that saves most of the work.
    """

    diameter_m: float
    up_m: float
    across_m: float = 0.0
    face: Face = "front"
    round_one_edge_from_hz: float = np.inf


@dataclass(frozen=True, slots=True)
class BoxCabinet:
    """A rigid box, its reference point on the front's middle line, `reference_up_m` above its middle.

    The front's edges are sharp, or rounded by `edge_radius_m`: then a bevel at 45° that touches the round
    stands for it, one side of an octagon round the circle (`BEVEL`). Points are metres from the reference
    point: x forward, y to the loudspeaker's left, z up.
    """

    width_m: float
    height_m: float
    depth_m: float
    radiators: tuple[RoundRadiator, ...]
    reference_up_m: float = 0.0
    edge_radius_m: float = 0.0

    def __post_init__(self) -> None:
        most = min(self.width_m, self.height_m, 2.0 * self.depth_m) / 2.0
        if not 0.0 <= self.edge_radius_m < most:
            raise ValueError(
                f"the front's edges can't be rounded by {self.edge_radius_m:g} m; "
                f"take 0 or more and less than {most:g} m"
            )
        edges = self.body().edges()
        for radiator, disc in zip(self.radiators, self.discs(), strict=True):
            room = [
                edge.inward[edge.faces.index(disc.face)] @ (disc.centre - edge.start)
                for edge in edges
                if disc.face in edge.faces
            ]
            if min(room) <= disc.radius_m:
                raise ValueError(
                    f"a radiator of {radiator.diameter_m:g} m on the {radiator.face} reaches "
                    "over the face's edge; make it smaller or move it inward"
                )

    def corners(self) -> Floats:
        """The rear right lower and the front left upper corner, shape (2, 3)."""
        low = np.array([-self.depth_m, -self.width_m / 2.0, -self.height_m / 2.0 - self.reference_up_m])
        return np.stack([low, low + np.array([self.depth_m, self.width_m, self.height_m])])

    def body(self) -> Polyhedron:
        """Its faces and corners."""
        low, high = self.corners()
        return bevelled(low, high, BEVEL * self.edge_radius_m) if self.edge_radius_m else cuboid(low, high)

    def orders(self) -> tuple[tuple[float, int], ...]:
        """Up to each frequency in hertz, the edges that sound is followed round."""
        return BEVELLED_ORDERS if self.edge_radius_m else ORDERS

    def followed(self, frequency: float, air: Air) -> tuple[int, ...]:
        """How many edges each radiator's sound is followed round."""
        lowest = 0.0
        smallest = min(radiator.diameter_m for radiator in self.radiators)
        for highest, orders in self.orders():  # noqa: B007
            if frequency <= highest:
                break
            lowest = highest
        found = []
        for radiator in self.radiators:
            size = np.pi * lowest * radiator.diameter_m / air.speed
            small = radiator.diameter_m == smallest
            most = orders if small or size <= WIDE else 2 if size <= BEAMING else 1
            found.append(1 if lowest >= radiator.round_one_edge_from_hz else min(orders, most))
        return tuple(found)

    def discs(self) -> tuple[Disc, ...]:
        """The radiators as discs in space."""
        corners = self.corners()
        found = []
        for radiator in self.radiators:
            normal, across, up = FACES[radiator.face]
            number = list(FACES).index(radiator.face)
            centre = np.empty(3)
            centre[[normal, across, up]] = corners[number % 2, normal], radiator.across_m, radiator.up_m
            found.append(Disc(centre, radiator.diameter_m / 2.0, number))
        return tuple(found)

    def in_front_of(self, radiator: int, gap_m: float) -> Floats:
        """The point `gap_m` in front of a radiator's centre, shape (3,)."""
        disc = self.discs()[radiator]
        return np.asarray(disc.centre + gap_m * self.body().normal(disc.face))

    def flight_m(self, points: Floats) -> Floats:
        """What is divided out before interpolation over frequency: the way to the reference point; (D,)."""
        return np.asarray(np.linalg.norm(points, axis=-1))

    def transfer(self, points: Floats, frequencies: Floats, air: Air) -> Complexes:
        """Pressure at points outside the box, as `loudspeaker.Cabinet.transfer` has it."""
        points = self._off_planes(points)
        if self._even():
            points[:, 1] = np.abs(points[:, 1])
        _, kept, back = np.unique(np.round(points, SAME), axis=0, return_index=True, return_inverse=True)
        return np.asarray(self._transfer(points[kept], frequencies, air)[:, back.ravel()])

    def _even(self) -> bool:
        """Whether left and right are alike."""
        return all(abs(disc.centre[1]) < OFF_PLANE_M for disc in self.discs())

    def _transfer(self, points: Floats, frequencies: Floats, air: Air) -> Complexes:
        """`transfer` at points that differ and lie on no face's plane."""
        turn = 2j * np.pi * frequencies / air.speed
        pressure = np.empty((len(self.radiators), len(points), len(frequencies)), dtype=np.complex128)
        lowest = -1.0
        for highest, middle, half in ANSWERS:
            (these,) = np.nonzero((frequencies > lowest) & (frequencies <= highest))
            lowest = highest
            if len(these):
                size = self.width_m + self.height_m + self.depth_m
                step = air.speed / (2.0 * half * FINER * size)
                delay = self.flight_m(points) + middle * size
                mean = self._smooth(points, frequencies[these], step, delay, air)
                pressure[..., these] = mean * np.exp(-turn[these] * delay[:, None])
        pressure *= air.density * air.speed / (4.0 * np.pi) * turn
        return pressure

    def _smooth(self, points: Floats, frequencies: Floats, step: float, delay: Floats, air: Air) -> Complexes:
        """`_mean` at any frequencies; on a grid of that step first where that is less to do."""
        places = frequencies / step
        first = int(places.min()) - TAPS
        grid = np.arange(first, int(places.max()) + TAPS + 1)
        kept = grid[grid >= 0]
        if len(frequencies) < len(kept):
            order = np.argsort(frequencies)
            return self._mean(points, frequencies[order], delay, air)[..., np.argsort(order)]
        coarse = self._mean(points, step * kept, delay, air)
        mirrored = np.conj(coarse[..., len(grid) - len(kept) : 0 : -1])
        return interpolated(np.concatenate([mirrored, coarse], axis=-1), places - first)

    def _mean(self, points: Floats, frequencies: Floats, flight: Floats, air: Air) -> Complexes:
        """Mean of e^(−jk(R − flight))/R over each radiator, with the box; at sorted frequencies."""
        discs, body = self.discs(), self.body()
        parts = []
        edges = np.searchsorted(frequencies, [highest for highest, _ in self.orders()], side="right")
        for band in np.split(frequencies, edges[:-1]):
            if not len(band):
                continue
            each = self.followed(float(band[0]), air)
            shaded = self._shaded(points, each, float(band[0]))
            web = Web.on(body, 2.0 * np.pi * float(band[-1]) / air.speed)
            held = 8 * max(web.pairs()) * (1 + sum(order > 1 for order in each))
            goes = int(np.ceil(len(band) * held / MOST_BYTES))
            for some in np.array_split(band, min(goes, len(band))):
                wavenumbers = 2.0 * np.pi * some / air.speed
                field = diffracted(web, discs, points, wavenumbers, flight, orders=each, shaded=shaded)
                lit = [straight(body, disc, points, wavenumbers, flight) for disc in discs]
                parts.append(field + np.stack(lit))
        return np.concatenate(parts, axis=-1)

    def _shaded(self, points: Floats, orders: Sequence[int], frequency: float) -> npt.NDArray[np.bool_]:
        """Which points hear sound that goes round two edges or more, (D,)."""
        body = self.body()
        rise = [
            body.height(disc.face, points) / np.linalg.norm(points - disc.centre, axis=1)
            for disc, order in zip(self.discs(), orders, strict=True)
            if order > 1
        ]
        limits = [sine for above, sine in PLAIN if frequency > above]
        if not rise or not limits:
            return np.ones(len(points), dtype=bool)
        return np.asarray(np.min(rise, axis=0) < limits[-1])

    def _off_planes(self, points: Floats) -> Floats:
        body = self.body()
        moved = np.array(points, dtype=np.float64)
        heights = np.stack([body.height(face, moved) for face in range(len(body.faces))])
        if np.any(heights.max(axis=0) <= 0.0):
            raise ValueError("a point lies inside the cabinet or on its surface; move it outside")
        for face, height in enumerate(heights):
            moved[np.abs(height) < OFF_PLANE_M] += 2.0 * OFF_PLANE_M * body.normal(face)
        return moved


def straight(body: Polyhedron, disc: Disc, points: Floats, wavenumbers: Floats, flight: Floats) -> Complexes:
    """Twice the mean of e^(−jk(R − flight))/R over a disc where its face is seen, else nothing; (D, F)."""
    field = np.zeros((len(points), len(wavenumbers)), dtype=np.complex128)
    height = body.height(disc.face, points)
    sight = points - disc.centre
    aside = np.linalg.norm(sight - height[:, None] * body.normal(disc.face), axis=1)
    near = np.hypot(aside, height) < 4.0 * disc.radius_m
    for group, count in ((near, NEAR_RAYS), (~near, rays_needed(disc.radius_m, float(wavenumbers.max())))):
        lit = group & (height > 0.0)
        if lit.any():
            field[lit] = 2.0 * baffled(
                disc.radius_m, aside[lit], height[lit], wavenumbers, flight[lit], count=count
            )
    return field


def interpolated(spectra: Complexes, places: Floats) -> Complexes:
    """Values between the points of an even grid, for spectra of signals that begin and end.

    `spectra` is (..., G), `places` (F,) in steps of the grid, at least TAPS − 1 from its first point and TAPS
    from its last. The kernel is sinc in Kaiser's window; what is interpolated must fit into the middle
    1/FINER of the grid's period.
    """
    first = np.floor(places).astype(int)
    values = np.empty((*spectra.shape[:-1], len(places)), dtype=np.complex128)
    parts = np.ascontiguousarray(spectra).view(np.float64).reshape(*spectra.shape, 2)
    for some in _chunks(len(places)):
        low = int(first[some].min()) + 1 - TAPS
        matrix = np.zeros((int(first[some].max()) + TAPS + 1 - low, len(places[some])))
        for tap in range(1 - TAPS, TAPS + 1):
            offset = first[some] + tap - places[some]
            window = np.i0(KAISER * np.sqrt(np.maximum(1.0 - (offset / TAPS) ** 2, 0.0))) / np.i0(KAISER)
            matrix[first[some] + tap - low, np.arange(matrix.shape[1])] += np.sinc(offset) * window
        here = parts[..., low : low + len(matrix), :]
        values[..., some].real = here[..., 0] @ matrix
        values[..., some].imag = here[..., 1] @ matrix
    return values


def _chunks(count: int) -> Iterator[slice]:
    """Slices over so many frequencies at a time that neighbours share most of their grid points."""
    return (slice(start, min(start + CHUNK, count)) for start in range(0, count, CHUNK))
