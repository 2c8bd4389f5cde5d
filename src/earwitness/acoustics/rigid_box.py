"""How discs in the faces of a rigid box sound, close by and far away, by boundary elements.

With G = e^(−jkR)/(4πR), normals out of the box and e^(+jωt), the pressure p on its surface, per unit of jωρ
times volume velocity, obeys (Helmholtz and Kirchhoff; any textbook)

    ½p(x) − ∫ p ∂G/∂n dS = mean of G over the disc.

The right side is exact (`disc_mean`), so no mesh has to follow a rim. Pressure is constant on each rectangle
and the equation holds at their middles; the static part of ∫∂G/∂n dS is the rectangle's solid angle, exactly,
and the rest is smooth. Points inside the box, where the sum without ½p must vanish, keep the answer unique
where the inside would resonate (Schenck, JASA 44 (1), 1968; recalled). A box is its own mirror image in three
planes: everything falls apart into eight problems of an eighth of the size.

A microphone close to a face hears itself mirrored in it: with G + G of the mirrored point that face drops out
of the integral, so that what is close by is the disc's exact field in a plane and a smooth remainder.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Elements to a wavelength, at least across half a side, and at most on an eighth of the surface.
ELEMENTS_A_WAVELENGTH: Final = 12.0
LEAST_ELEMENTS: Final = 3
MOST_ELEMENTS: Final = 150
#: Frequencies handled at once.
BLOCK: Final = 6
#: How much closer together elements lie at an edge, where the pressure bends sharply.
GRADING: Final = 0.5
#: Places inside the box, in parts of its half sides: on no plane where a low mode of the inside vanishes.
INSIDE: Final = np.array(
    [[0.31, 0.43, 0.37], [0.62, 0.27, 0.55], [0.23, 0.71, 0.64], [0.57, 0.59, 0.19], [0.74, 0.39, 0.73]]
)
#: Rays from a point to a disc.
RAYS: Final = 24
#: Two by two places of Gauss and Legendre on an element, in its half sides.
_GAUSS: Final = np.array(list(itertools.product((-1.0, 1.0), repeat=2))) / np.sqrt(3.0)
#: Which of the three planes each image of an eighth is mirrored in, and the signs that parities give images.
_IMAGES: Final = np.array(list(itertools.product((1.0, -1.0), repeat=3)))
_SIGNS: Final = np.array([[np.prod(image[parity < 0.0]) for image in _IMAGES] for parity in _IMAGES])


@dataclass(frozen=True, slots=True)
class Face:
    """A face of a box: the axis of its normal (0, 1, 2), and on which side of the middle it lies (±1)."""

    axis: int
    side: int


@dataclass(frozen=True, slots=True)
class Disc:
    """A round radiator that moves as one, flush with a face; `centre_m` (3,) is from the box's middle."""

    face: Face
    centre_m: tuple[float, float, float]
    radius_m: float


@dataclass(frozen=True, slots=True)
class Microphones:
    """Places (P, 3) from the box's middle, outside it.

    `close_to` names the face in which each mirrors itself: one that its foot lies on, less than the box's
    depth below it; None for places that are far from all faces in terms of elements.
    """

    places_m: Float64s
    close_to: tuple[Face | None, ...]


@dataclass(frozen=True, slots=True)
class _Mesh:
    """Rectangles of an eighth of the surface: middles (E, 3), half sides (E, 3), axes of normals (E,)."""

    middle: Float64s
    half: Float64s
    axis: npt.NDArray[np.int_]

    def places(self) -> Float64s:
        """Two by two places on each rectangle, shape (E, 4, 3)."""
        return np.stack([self.middle + self.half * self._spread(at) for at in _GAUSS], axis=1)

    def _spread(self, at: Float64s) -> Float64s:
        spread = np.zeros_like(self.half)
        for axis in range(3):
            spread[np.ix_(self.axis == axis, _across(axis))] = at
        return spread


def _across(axis: int) -> list[int]:
    return [other for other in range(3) if other != axis]


def _mesh(half_sides_m: Float64s, step_m: float) -> _Mesh:
    """Rectangles that are no longer than a step, closer together at the edges."""
    edges = []
    for side in half_sides_m:
        even = np.linspace(0.0, 1.0, max(LEAST_ELEMENTS, int(np.ceil(side / step_m))) + 1)
        edges.append(side * (even + GRADING * np.sin(np.pi * even) / np.pi))
    parts = []
    for axis in range(3):
        middles, halves = [half_sides_m[axis : axis + 1]] * 3, [np.zeros(1)] * 3
        for other in _across(axis):
            middles[other] = (edges[other][1:] + edges[other][:-1]) / 2.0
            halves[other] = np.diff(edges[other]) / 2.0
        middle, half = (
            np.stack([grid.ravel() for grid in np.meshgrid(*lines, indexing="ij")], axis=-1)
            for lines in (middles, halves)
        )
        parts.append((middle, half, np.full(len(middle), axis)))
    return _Mesh(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def radiated(
    sides_m: Sequence[float],
    discs: Sequence[Disc],
    microphones: Microphones,
    wavenumber: Float64s,
    step_m: float,
) -> Complex128s:
    """Pressure at P places from K discs in a rigid box, per unit of jωρ times volume velocity: (K, P, W).

    Parameters
    ----------
    sides_m
        The box's three sides.
    wavenumber
        Shape (W,), above 0 rad/m.
    step_m
        Elements are no longer than this; see `step_for`.

    Notes
    -----
    Where the wavelength is large it becomes 1/(4πR). Constant elements err by the square of their length.
    """
    half_sides = np.asarray(sides_m, dtype=np.float64) / 2.0
    mesh = _mesh(half_sides, step_m)
    blocks = np.array_split(wavenumber, int(np.ceil(wavenumber.size / BLOCK)))
    return np.concatenate([_radiated(half_sides, mesh, discs, microphones, k) for k in blocks], axis=-1)


def step_for(sides_m: Sequence[float], highest_wavenumber: float) -> float:
    """The longest element for a box and wavenumbers up to this one, in metres."""
    one, two, three = sides_m
    eighth = (one * two + two * three + three * one) / 4.0
    wave = 2.0 * np.pi / highest_wavenumber
    return float(max(wave / ELEMENTS_A_WAVELENGTH, np.sqrt(eighth / MOST_ELEMENTS)))


def _radiated(
    half_sides: Float64s,
    mesh: _Mesh,
    discs: Sequence[Disc],
    microphones: Microphones,
    wavenumber: Float64s,
) -> Complex128s:
    on_surface, steep = _surface_pressure(half_sides, mesh, discs, wavenumber)
    everywhere = np.einsum("pg,kpew->kgew", _SIGNS, on_surface) + steep
    close = [(row, face) for row, face in enumerate(microphones.close_to) if face is not None]
    mirrored = np.array([microphones.places_m[row] for row, _ in close]).reshape(-1, 3)
    for place, (_, face) in zip(mirrored, close, strict=True):
        place[face.axis] = 2.0 * face.side * half_sides[face.axis] - place[face.axis]
    ears = np.concatenate([microphones.places_m, mirrored])
    without = [*microphones.close_to, *(face for _, face in close)]
    layer = _double_layer(half_sides, mesh, ears, without, wavenumber)
    heard = _sources(discs, ears, wavenumber)
    heard += np.einsum("gpew,kgew->kpw", layer, everywhere, optimize=True)
    direct, image = np.split(heard, [len(microphones.places_m)], axis=1)
    direct[:, [row for row, _ in close]] += image
    return direct


def _surface_pressure(
    half_sides: Float64s, mesh: _Mesh, discs: Sequence[Disc], wavenumber: Float64s
) -> tuple[Complex128s, Complex128s]:
    """Pressure at the elements' middles by parities, and what their means exceed it by: both (K, 8, E, W)."""
    count = len(mesh.middle)
    steep = _steepness(mesh, discs, wavenumber)
    inside = INSIDE * half_sides
    rows = np.concatenate([mesh.middle, inside])
    own = [Face(int(axis), 1) for axis in mesh.axis]
    layer = _double_layer(half_sides, mesh, rows, [*own, *[None] * len(inside)], wavenumber)
    images = (_IMAGES[:, None] * rows).reshape(-1, 3)
    source = _sources(discs, images, wavenumber).reshape(len(discs), 8, len(rows), -1)
    by_parity = np.tensordot(_SIGNS, layer, axes=1)
    right = np.einsum("pg,kgrw->pwrk", _SIGNS, source) / 8.0
    steep_parity = np.einsum("pg,kgew->pwek", _SIGNS, steep) / 8.0
    matrix = -by_parity.transpose(0, 3, 1, 2)
    right -= matrix @ steep_parity
    matrix[:, :, np.arange(count), np.arange(count)] += 0.5
    adjoint = matrix.conj().swapaxes(-1, -2)
    solved = np.linalg.solve(adjoint @ matrix, adjoint @ right)
    return solved.transpose(3, 0, 2, 1), steep


def _steepness(mesh: _Mesh, discs: Sequence[Disc], wavenumber: Float64s) -> Complex128s:
    """By how much the mean over an element exceeds the middle in the disc's own face, (K, 8, E, W).

    As in a plane at rest, and with the phase at the middle: what bends within an element is the static part.
    """
    found = np.zeros((len(discs), 8, len(mesh.middle), wavenumber.size), dtype=np.complex128)
    still = np.zeros(1)
    for k, disc in enumerate(discs):
        on_face = np.flatnonzero(mesh.axis == disc.face.axis)
        images = np.flatnonzero(_IMAGES[:, disc.face.axis] == disc.face.side)
        middle = _IMAGES[images, None] * mesh.middle[on_face]
        spread = _IMAGES[images, None, None] * mesh.places()[on_face]
        mean = disc_mean(disc, spread.reshape(-1, 3), still).reshape(*spread.shape[:-1]).mean(axis=-1)
        more = (mean - disc_mean(disc, middle.reshape(-1, 3), still).reshape(mean.shape)) / (2.0 * np.pi)
        away = np.linalg.norm(middle - disc.centre_m, axis=-1)
        found[k, images[:, None], on_face] = more[..., None] * np.exp(-1j * away[..., None] * wavenumber)
    return found


def _sources(discs: Sequence[Disc], places: Float64s, wavenumber: Float64s) -> Complex128s:
    """Mean of G over each disc, shape (K, P, W)."""
    return np.stack([disc_mean(disc, places, wavenumber) for disc in discs]) / (4.0 * np.pi)


def disc_mean(disc: Disc, places_m: Float64s, wavenumber: Float64s) -> Complex128s:
    """Mean of e^(−jkR)/R over a disc, shape (P, W), at places anywhere.

    In polar coordinates about a place's foot on the plane the integral along each ray is closed, since
    R² = m² + h² makes m dm = R dR: (e^(−jkR₁) − e^(−jkR₂))/(jk), where the ray enters and leaves the disc.
    On the disc's axis that is all.
    """
    radius = disc.radius_m
    sight = places_m - np.asarray(disc.centre_m)
    height = np.abs(sight[:, disc.face.axis])[:, None]
    aside = np.linalg.norm(sight[:, _across(disc.face.axis)], axis=-1)[:, None]
    within = aside < radius
    # from outside: evenly in the angle on the rim; from inside: evenly all round
    turn = (np.arange(RAYS) + 0.5) * np.pi / RAYS
    across = np.where(within, aside * np.sin(turn), radius * np.cos(turn))
    along = np.where(within, aside * np.cos(turn), np.sqrt(np.maximum(aside**2 - across**2, 0.0)))
    chord = np.sqrt(radius**2 - across**2)
    one = np.hypot(np.where(within, 0.0, along - chord), height)
    two = np.hypot(along + chord, height)
    outer = np.maximum(along, np.finfo(float).tiny)
    weight = np.where(within, 2.0, radius * np.sin(turn) / outer) * np.pi / RAYS
    middle, half = (one + two)[..., None] / 2.0, (two - one)[..., None] / 2.0
    bundle = np.exp(-1j * middle * wavenumber) * (2.0 * half * np.sinc(half * wavenumber / np.pi))
    return np.asarray(np.einsum("pr,prw->pw", weight, bundle) / (np.pi * radius**2))


def _double_layer(
    half_sides: Float64s,
    mesh: _Mesh,
    places: Float64s,
    without: Sequence[Face | None],
    wavenumber: Float64s,
) -> Complex128s:
    """∫∂G/∂n dS over each element of each image from P places, each without a face: shape (8, P, E, W)."""
    found = np.empty((8, len(places), len(mesh.middle), wavenumber.size), dtype=np.complex128)
    nodes = mesh.places()
    quarter = np.prod(np.where(mesh.half > 0.0, mesh.half, 1.0), axis=-1)
    for image, signs in enumerate(_IMAGES):
        ahead = half_sides[mesh.axis] - signs[mesh.axis] * places[:, mesh.axis]
        for row, face in enumerate(without):
            if face is not None and signs[face.axis] == face.side:
                ahead[row, mesh.axis == face.axis] = 0.0
        solid = _solid_angle(mesh, places * signs, ahead)
        sight = places[:, None, None] - signs * nodes
        distance = np.sqrt(np.einsum("penx,penx->pen", sight, sight))
        share = ((-quarter / (4.0 * np.pi) * ahead)[..., None] / distance**3).astype(np.float32)
        # what isn't static needs no more digits than these, and so takes a tenth of the time
        turn = distance[..., None].astype(np.float32) * wavenumber.astype(np.float32)
        sine, cosine = np.sin(turn), np.cos(turn)
        # (1 + jx)e^(−jx) − 1 in its two parts
        found.real[image] = np.einsum("pen,penw->pew", share, cosine + turn * sine - 1.0)
        found.imag[image] = np.einsum("pen,penw->pew", share, turn * cosine - sine)
        found.real[image] -= (solid / (4.0 * np.pi))[..., None]
    return found


def _solid_angle(mesh: _Mesh, places: Float64s, ahead: Float64s) -> Float64s:
    """Solid angle of each element of the first eighth from places, with the sign of `ahead`; (P, E)."""
    total = np.zeros(ahead.shape)
    for axis in range(3):
        some = np.flatnonzero(mesh.axis == axis)
        one, two = _across(axis)
        height = ahead[:, some]
        for right, up in np.sign(_GAUSS):
            u = mesh.middle[some, one] + right * mesh.half[some, one] - places[:, one, None]
            v = mesh.middle[some, two] + up * mesh.half[some, two] - places[:, two, None]
            total[:, some] += right * up * _angle(u * v, height * np.sqrt(u**2 + v**2 + height**2))
    return total


def _angle(over: Float64s, under: Float64s) -> Float64s:
    """arctan(over/under), and nothing in the plane itself."""
    flat = under == 0.0
    return np.asarray(np.where(flat, 0.0, np.arctan(over / np.where(flat, 1.0, under))))
