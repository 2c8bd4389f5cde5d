"""A rectangular cabinet with round pistons and ports in its faces.

The pressure of each radiator is what it would send into half space from an endless face, where that face
can be seen, and what the box's edges make of it (`edges`), to an order of diffraction that falls with
frequency.

Everything is computed on an even grid of frequencies, coarse but fine enough for the time in which the box's
answer dies away, and interpolated from there (Shannon), the time of flight taken out. Points hidden from the
radiator are as good as any other: there is diffraction of higher order alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.piston import baffled, rays_needed
from earwitness.virtual.polyhedron import Polyhedron, bevelled, cuboid
from earwitness.virtual.web import Disc, Web, diffracted

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
#: Up to each frequency in hertz, orders of diffraction. One more changes less than 0.1 dB.
ORDERS: Final = ((1500.0, 6), (3000.0, 4), (9500.0, 3), (14000.0, 2), (18000.0, 2), (np.inf, 2))
#: The same for a box with bevels: two edges that lie close together need more.
BEVELLED_ORDERS: Final = ((1500.0, 8), (3000.0, 6), (5000.0, 5), (10_500.0, 4), (14_000.0, 3), (np.inf, 2))
#: What a bevel that touches a rounding takes off each face, in radii.
BEVEL: Final = 2.0 - 2.0**0.5
#: Beyond this ka only the smallest radiator's sound is followed round a second edge. The others beam: along
#: their own face they are 25 dB down, and what goes round two edges lies lower still.
BEAMING: Final = 8.0
#: Above this frequency points that see all radiators at angles whose sine is so high above their faces hear
#: one edge only: what comes round two lies 55 dB below the radiator's maximum there.
PLAIN_ABOVE_HZ, PLAIN_RISE = 14_000.0, 0.5
#: Bytes for the waves between all pairs of nodes; more frequencies are taken in several goes.
MOST_BYTES: Final = 2e8
#: The box's answer, in sums of its three sides over the speed of sound: middle and half length.
ANSWER_MIDDLE, ANSWER_HALF = 1.2, 1.8
#: Grid points that an interpolated value takes from each side, and how much finer the grid is than it must
#: be.
TAPS, FINER = 12, 1.3
#: Points closer to a face's plane than this are moved off it, in metres.
OFF_PLANE_M = 1e-6
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
        step = air.speed / (2.0 * ANSWER_HALF * FINER * (self.width_m + self.height_m + self.depth_m))
        highest = int(np.ceil(frequencies.max() / step)) + TAPS
        flight = self.flight_m(points)
        if len(frequencies) < highest:
            order = np.argsort(frequencies)
            mean = self._mean(points, frequencies[order], flight, air)[..., np.argsort(order)]
        else:
            delay = flight + ANSWER_MIDDLE * (self.width_m + self.height_m + self.depth_m)
            coarse = self._mean(points, step * np.arange(highest + 1), delay, air)
            mean = interpolated(coarse, frequencies / step)
            flight = delay
        turn = 2j * np.pi * frequencies / air.speed
        return np.asarray(
            air.density * air.speed / (4.0 * np.pi) * turn * mean * np.exp(-turn * flight[:, None])
        )

    def _mean(self, points: Floats, frequencies: Floats, flight: Floats, air: Air) -> Complexes:
        """Mean of e^(−jk(R − flight))/R over each radiator, with the box; at sorted frequencies."""
        discs, body = self.discs(), self.body()
        parts = []
        lowest = -1.0
        for highest, orders in self.orders():
            band = frequencies[(frequencies > lowest) & (frequencies <= highest)]
            lowest = highest
            if not len(band):
                continue
            web = Web.on(body, 2.0 * np.pi * float(band[-1]) / air.speed)
            followed = self._followed(float(band[0]), air)
            held = web.waves_held(orders) * max(len(followed), 1) * 8
            goes = int(np.ceil(len(band) * held / MOST_BYTES))
            for some in np.array_split(band, min(goes, len(band))):
                wavenumbers = 2.0 * np.pi * some / air.speed
                followed = self._followed(float(some[0]), air)
                shaded = self._shaded(points, float(some[0]))
                field = diffracted(
                    web, discs, points, wavenumbers, flight, orders=orders, followed=followed, shaded=shaded
                )
                lit = [straight(body, disc, points, wavenumbers, flight) for disc in discs]
                parts.append(field + np.stack(lit))
        return np.concatenate(parts, axis=-1)

    def _shaded(self, points: Floats, frequency: float) -> npt.NDArray[np.bool_]:
        """Which points hear sound that goes round two edges or more, (D,)."""
        body = self.body()
        rise = np.min(
            [
                body.height(disc.face, points) / np.linalg.norm(points - disc.centre, axis=1)
                for disc in self.discs()
            ],
            axis=0,
        )
        return np.asarray((rise < PLAIN_RISE) | (frequency <= PLAIN_ABOVE_HZ))

    def _followed(self, frequency: float, air: Air) -> list[int]:
        """Numbers of the radiators whose sound is followed round more than one edge."""
        smallest = min(radiator.diameter_m for radiator in self.radiators)
        beams = BEAMING * air.speed / (np.pi * frequency) if frequency > 0.0 else np.inf
        return [
            number
            for number, radiator in enumerate(self.radiators)
            if frequency < radiator.round_one_edge_from_hz
            and (radiator.diameter_m < beams or radiator.diameter_m == smallest)
        ]

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
    """Values between the points of an even grid, for the spectra of real signals from 0 Hz up.

    `spectra` is (..., G), `places` (F,) in steps of the grid, up to G − 1 − TAPS. The kernel is sinc in
    Kaiser's window; what is interpolated must fit into the middle 1/FINER of the grid's period.
    """
    mirrored = np.concatenate([np.conj(spectra[..., TAPS:0:-1]), spectra], axis=-1)
    first = np.floor(places).astype(int)
    matrix = np.zeros((mirrored.shape[-1], len(places)))
    for tap in range(1 - TAPS, TAPS + 1):
        offset = first + tap - places
        window = np.i0(KAISER * np.sqrt(np.maximum(1.0 - (offset / TAPS) ** 2, 0.0))) / np.i0(KAISER)
        matrix[first + tap + TAPS, np.arange(len(places))] += np.sinc(offset) * window
    return np.asarray(mirrored @ matrix)
