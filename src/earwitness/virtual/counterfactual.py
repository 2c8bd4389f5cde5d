"""What would be heard without some faults.

An edge-free radiator is a point on a rigid ball of its own (the cap's exact series), times the directivity
2J₁(x)/x of a flat piston, x = ka sin φ, behind the ball as at 90 degrees. The ball's diameter is twice the
mean distance, over all bearings and geometric, from the radiator's centre to the edge of its face, so that
the step from full to half space lies near where it does on the box. Where the box's step is steeper, the
difference counts as the edges' doing: a broad hump of some decibels, and above it the ripple.

Coincident radiators keep what they send in each direction, diffraction included; only the way to the listener
is that from the mean of their centres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy.special import j1

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.assembly import loudspeaker
from earwitness.virtual.box import FACES, BoxCabinet
from earwitness.virtual.faults import Fault, replaced
from earwitness.virtual.loudspeaker import Cabinet, Loudspeaker
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.tables import Table

#: Bearings over which the distance to a face's edge is averaged.
BEARINGS: Final = 720
#: Diameter of a cap that is a point, and an argument at which 2J₁(x)/x is 1.
POINT_M, SMALLEST = 0.002, 1e-6


@dataclass(frozen=True, slots=True)
class Heard:
    """Where and at which frequencies: points (D, 3), frequencies (F,), and the air between."""

    points: Floats
    frequencies: Floats
    air: Air


@dataclass(slots=True)
class Listening:
    """A loudspeaker's document heard at some points, with and without faults.

    What a cabinet transfers is computed once, and kept for every counterfactual that leaves it as it is.
    """

    document: Table
    heard: Heard
    known: list[tuple[Cabinet, Complexes]] = field(default_factory=list)

    def pressure(self, without: Sequence[Fault] = ()) -> Complexes:
        """Pa for a volt at the terminals, without these faults; shape (D, F).

        Raises
        ------
        ScenarioError, ValueError
            Where a fault names what isn't there, or edges of a cabinet that has none.
        """
        parts = self.parts(without)
        transfer = self._transfer(parts.cabinet)
        edgeless = tuple(name for fault in without for name in fault.edges)
        if edgeless:
            if not isinstance(parts.cabinet, BoxCabinet):
                raise self.document.error("faults: only a box has edges")
            transfer = edge_free(transfer, parts.cabinet, self._numbers(edgeless), self.heard)
        for fault in without:
            if fault.together:
                transfer = coincident(transfer, parts.cabinet, self._numbers(fault.together), self.heard)
        velocity = parts.volume_velocities(self.heard.frequencies, self.heard.air)
        return np.asarray(np.einsum("cdf,cf->df", transfer, velocity))

    def parts(self, without: Sequence[Fault] = ()) -> Loudspeaker:
        """The loudspeaker without what these faults silence or put in; its edges and places stay.

        Raises
        ------
        ScenarioError, ValueError
            Where a fault names what isn't there.
        """
        document = self.document
        for fault in without:
            document = replaced(document, fault.instead)
        return loudspeaker(document).without(*(name for fault in without for name in fault.silences))

    def _transfer(self, cabinet: Cabinet) -> Complexes:
        for known, transfer in self.known:
            if known == cabinet:
                return transfer
        found = cabinet.transfer(self.heard.points, self.heard.frequencies, self.heard.air)
        self.known.append((cabinet, found))
        return found

    def _numbers(self, names: Sequence[str]) -> list[int]:
        there = loudspeaker(self.document).source.radiators
        unknown = [name for name in names if name not in there]
        if unknown:
            raise self.document.error(
                f"faults: no radiator is called {unknown[0]}; there are: {', '.join(there)}"
            )
        return [there.index(name) for name in names]


def centres(cabinet: Cabinet, numbers: list[int]) -> Floats:
    """Places of radiators, shape (N, 3)."""
    return np.stack([cabinet.in_front_of(number, 0.0) for number in numbers])


def coincident(transfer: Complexes, cabinet: Cabinet, numbers: list[int], heard: Heard) -> Complexes:
    """A transfer (C, D, F) in which some radiators lie at the mean of their centres."""
    places = centres(cabinet, numbers)
    own = np.linalg.norm(heard.points - places[:, None, :], axis=-1)
    common = np.linalg.norm(heard.points - places.mean(axis=0), axis=-1)
    turn = 2j * np.pi * heard.frequencies / heard.air.speed
    moved = transfer.copy()
    moved[numbers] *= (own / common)[..., None] * np.exp((own - common)[..., None] * turn)
    return moved


def edge_free(transfer: Complexes, cabinet: BoxCabinet, numbers: list[int], heard: Heard) -> Complexes:
    """A transfer (C, D, F) in which some radiators are caps on balls of their own."""
    smooth = transfer.copy()
    for number in numbers:
        sight = _faced(cabinet, number, heard.points)
        ball = SphericalCabinet(ball_diameter_m(cabinet, number), (Cap(POINT_M, 0.0),))
        aside = np.linalg.norm(sight[:, 1:], axis=-1) / np.linalg.norm(sight, axis=-1)
        sine = np.where(sight[:, 0] > 0.0, aside, 1.0)
        size = np.pi * cabinet.radiators[number].diameter_m * heard.frequencies / heard.air.speed
        argument = np.maximum(sine[:, None] * size, SMALLEST)
        smooth[number] = ball.transfer(sight, heard.frequencies, heard.air)[0] * 2.0 * j1(argument) / argument
    return smooth


def _faced(cabinet: BoxCabinet, number: int, points: Floats) -> Floats:
    """Points as a radiator sees them: from its centre, x out of its face."""
    radiator, disc = cabinet.radiators[number], cabinet.discs()[number]
    axis, across, up = FACES[radiator.face]
    outward = cabinet.body().normal(disc.face)[axis]
    sight = points - disc.centre
    return np.stack([outward * sight[:, axis], sight[:, across], sight[:, up]], axis=-1)


def edge_distances_m(cabinet: BoxCabinet, number: int) -> tuple[float, float, float, float]:
    """From a radiator's centre to the edges of its face: towards + across, − across, + up, − up."""
    radiator = cabinet.radiators[number]
    _, *plane = FACES[radiator.face]
    centre = np.array([radiator.across_m, radiator.up_m])
    low, high = cabinet.corners()[:, plane]
    left, top = high - centre
    right, bottom = centre - low
    return float(left), float(right), float(top), float(bottom)


def ball_diameter_m(cabinet: BoxCabinet, number: int) -> float:
    """Twice the geometric mean, over all bearings, of a radiator's distance from the edge of its face."""
    left, right, top, bottom = edge_distances_m(cabinet, number)
    bearing = (np.arange(BEARINGS) + 0.5) * 2.0 * np.pi / BEARINGS
    aside, upward = np.cos(bearing), np.sin(bearing)
    to_side = np.where(aside > 0.0, left, right) / np.abs(aside)
    to_end = np.where(upward > 0.0, top, bottom) / np.abs(upward)
    return float(2.0 * np.exp(np.mean(np.log(np.minimum(to_side, to_end)))))
