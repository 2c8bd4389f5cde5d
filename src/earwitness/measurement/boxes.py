"""Rectangular cabinets: where their radiators lie, and near fields carried by the box's own diffraction."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import chebyshev, rigid_box
from earwitness.acoustics.leakage import Heard
from earwitness.measurement import leaking
from earwitness.measurement.near_field import NearField
from earwitness.records.errors import CaseError
from earwitness.records.facts import Box, FaceName, Radiator

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: The faces, x forward, y to the left, z up.
FACES: Final[dict[FaceName, rigid_box.Face]] = {
    "front": rigid_box.Face(0, 1),
    "back": rigid_box.Face(0, -1),
    "left": rigid_box.Face(1, 1),
    "right": rigid_box.Face(1, -1),
    "top": rigid_box.Face(2, 1),
    "bottom": rigid_box.Face(2, -1),
}
#: A rim may lie over an edge by so much: what is stated is rounded.
ROUNDED_M: Final = 1e-3
#: The box's answer lasts this part of the sum of its sides either way of its middle, and that comes so much
#: later than the straight way.
ANSWER: Final = 0.5
#: Wavenumbers beyond those that the answer's length asks for.
MORE_PLACES: Final = 5
#: Meshes err by this power of an element's length: twice the power with which pressure bends at an edge.
ORDER: Final = 4.0 / 3.0
#: A rival's front reaches further by this part of the rounding on each side.
EDGE_PART: Final = 1.0 - 0.5**0.5


@dataclass(frozen=True)
class Transfers:
    """From M radiators to K near microphones and to D others, at a few wavenumbers (`chebyshev.places`).

    Attributes
    ----------
    values
        Shape (M, K + D, n): pressure per unit of jωρ times volume velocity, flight taken out.
    flight_m
        Shape (M, K + D).
    like
        Shape (M,): which of the K that were heard each one moves as.
    """

    values: Complex128s
    flight_m: Float64s
    highest: float
    like: npt.NDArray[np.intp]

    def heard(self, wavenumber: Float64s) -> Heard:
        """What each radiator gives at near and far microphones, at wavenumbers (F,)."""
        whole = chebyshev.between(self.values, self.highest, wavenumber)
        whole *= np.exp(-1j * self.flight_m[..., None] * wavenumber)
        count = int(self.like.max()) + 1
        return Heard(whole[:, :count], whole[:, count:], self.like)

    def carrying(self, wavenumber: Float64s) -> Complex128s:
        """What makes pressures at D microphones of what the K near ones heard, shape (F, D, K)."""
        return self.heard(wavenumber).carrying


@dataclass(frozen=True)
class PlacedBox:
    """A box as described, D microphones round it, and how its radiators sound at them.

    Attributes
    ----------
    microphone_m
        Shape (D, 3), from the reference point.
    at
        Shape (D,): each microphone's place among those of the transfers, which has no place twice.
    best
        The transfers that are used.
    coarse
        The same on a mesh of twice the step.
    larger
        That for a box whose front is as much larger as its edges are rounded; None for sharp edges.
    apart_m
        Shape (M, K): from each radiator's centre to those that were heard.
    """

    microphone_m: Float64s
    at: npt.NDArray[np.intp]
    best: Transfers
    coarse: Transfers
    larger: Transfers | None
    apart_m: Float64s


def placed_box(
    cabinet: Box, radiators: Sequence[Radiator], near: NearField, microphone_m: Float64s, highest: float
) -> PlacedBox:
    """A box solved for the near field's radiators, up to a wavenumber in rad/m.

    Raises
    ------
    CaseError
        One of the `radiators` lies off its face, two that the near fields stand for overlap, or the cabinet
        doesn't say where the reference point lies.
    """
    for radiator in radiators:
        _require_on_face(cabinet, radiator)
    _require_apart(cabinet, near.sounding)
    places, at = np.unique(microphone_m, axis=0, return_inverse=True)
    step = rigid_box.step_for(_sides_m(cabinet), highest)
    best, coarse = (_transfers(cabinet, near, places, highest, part * step) for part in (1.0, 2.0))
    larger = None
    if cabinet.edge_m > 0.0:
        wider = dataclasses.replace(
            cabinet,
            width_m=cabinet.width_m + 2.0 * EDGE_PART * cabinet.edge_m,
            height_m=cabinet.height_m + 2.0 * EDGE_PART * cabinet.edge_m,
        )
        larger = _transfers(wider, near, places, highest, 2.0 * step)
    centres = np.array([_centre_m(cabinet, radiator) for radiator in near.sounding])
    apart_m = np.linalg.norm(centres[:, None] - centres[: len(near.radiators)], axis=-1)
    return PlacedBox(microphone_m, at.ravel(), best, coarse, larger, apart_m)


def carried_by_box(
    near: NearField, box: PlacedBox, frequency_hz: Float64s, speed_m_s: float
) -> tuple[Complex128s, Float64s]:
    """As `carrying.carried`, for a box."""
    reference = np.linalg.norm(box.microphone_m, axis=-1)[:, None]
    carrying = box.best.carrying(2.0 * np.pi * frequency_hz / speed_m_s)
    count = frequency_hz.size
    pressure = np.einsum("fdk,kf->df", carrying, near.pressure[:, :count])
    noise_power = np.einsum("fdk,kf->df", np.abs(carrying) ** 2, near.noise_power[:, :count])
    return pressure[box.at] * reference, noise_power[box.at] * reference**2


def half_width_db(near: NearField, box: PlacedBox, frequency_hz: Float64s, speed_m_s: float) -> Float64s:
    """How far the carried level may be off because of mesh, rounded edges and leakage, dB, shape (D, F).

    The mesh: its difference to one of twice the step over 2^(4/3) − 1. Edges: the difference to a larger box.
    What near microphones hear of other radiators, and radiators that weren't heard: see `leaking`.
    """
    wavenumber = 2.0 * np.pi * frequency_hz / speed_m_s
    level = [
        np.abs(np.einsum("fdk,kf->df", each.carrying(wavenumber), near.pressure[:, : frequency_hz.size]))
        for each in (box.best, box.coarse, box.larger)
        if each is not None
    ]
    mesh = 20.0 * np.log10(level[1] / level[0]) / (2.0**ORDER - 1.0)
    edge = 20.0 * np.log10(level[-1] / level[1])
    leak = leaking.half_width_db(near, box.best.heard(wavenumber), box.apart_m)
    return np.asarray(np.sqrt(mesh**2 + edge**2 + leak**2)[box.at])


def _transfers(
    cabinet: Box, near: NearField, microphone_m: Float64s, highest: float, step_m: float
) -> Transfers:
    sides = _sides_m(cabinet)
    reference = _reference_m(cabinet)
    faces = [FACES[radiator.face] for radiator in near.sounding]
    centres = np.array([_centre_m(cabinet, radiator) for radiator in near.sounding])
    discs = [
        rigid_box.Disc(face, (float(x), float(y), float(z)), radiator.diameter_m / 2.0)
        for face, (x, y, z), radiator in zip(faces, centres, near.sounding, strict=True)
    ]
    faces = faces[: len(near.radiators)]
    close = centres[: len(faces)].copy()
    for place, face, gap_m in zip(close, faces, near.gap_m, strict=True):
        place[face.axis] += face.side * gap_m
    places = np.concatenate([close, microphone_m + reference])
    microphones = rigid_box.Microphones(places, (*faces, *[None] * len(microphone_m)))
    wavenumber = chebyshev.places(highest, MORE_PLACES + int(np.ceil(0.3 * highest * sum(sides))))
    straight = np.linalg.norm(places - centres[:, None], axis=-1)
    flight_m = straight + ANSWER * sum(sides)
    values = rigid_box.radiated(sides, discs, microphones, wavenumber, step_m)
    return Transfers(values * np.exp(1j * flight_m[..., None] * wavenumber), flight_m, highest, near.like)


def _sides_m(cabinet: Box) -> tuple[float, float, float]:
    return cabinet.depth_m, cabinet.width_m, cabinet.height_m


def _reference_m(cabinet: Box) -> Float64s:
    """The reference point from the box's middle."""
    if cabinet.reference_up_m is None:
        raise CaseError(
            "case.toml",
            "where the reference point lies on the front isn't stated",
            "state how far above the front's middle it is (0.0 for the middle itself)",
            "unit.cabinet.reference_up_m",
        )
    return np.array([cabinet.depth_m / 2.0, cabinet.reference_left_m, cabinet.reference_up_m])


def _centre_m(cabinet: Box, radiator: Radiator) -> Float64s:
    """A radiator's centre from the box's middle."""
    face = FACES[radiator.face]
    place = _reference_m(cabinet) + np.array([-(radiator.behind_m or 0.0), radiator.left_m, radiator.up_m])
    place[face.axis] = face.side * _sides_m(cabinet)[face.axis] / 2.0
    return np.asarray(place)


def _require_on_face(cabinet: Box, radiator: Radiator) -> None:
    """Refuse what contradicts the box: a rim over an edge, or a place that its face doesn't have."""
    face = FACES[radiator.face]
    if (radiator.behind_m is None) != (face.axis == 0):
        problem, remedy = (
            ("which has no depth", "leave behind_m out")
            if face.axis == 0
            else ("but not how far behind the front", "state its behind_m")
        )
        raise _radiator_error(f"{radiator.name} is on the {radiator.face}, {problem}", remedy)
    across = {1: ("left_m", radiator.left_m), 2: ("up_m", radiator.up_m)}.get(face.axis)
    if across is not None and across[1] != 0.0:
        raise _radiator_error(
            f"{radiator.name} is on the {radiator.face}, which {across[0]} can't change", "leave it out"
        )
    beyond = np.abs(_centre_m(cabinet, radiator)) + radiator.diameter_m / 2.0
    beyond -= np.array(_sides_m(cabinet)) / 2.0
    outside_m = float(np.delete(beyond, face.axis).max())
    if outside_m > ROUNDED_M:
        raise _radiator_error(
            f"{radiator.name} lies {100.0 * outside_m:.1f} cm outside the {radiator.face}",
            "correct its place, its diameter, the cabinet's sides or reference_up_m",
        )


def _require_apart(cabinet: Box, radiators: Sequence[Radiator]) -> None:
    for number, one in enumerate(radiators):
        for other in radiators[number + 1 :]:
            apart = float(np.linalg.norm(_centre_m(cabinet, one) - _centre_m(cabinet, other)))
            if one.face == other.face and apart < (one.diameter_m + other.diameter_m) / 2.0:
                raise _radiator_error(
                    f"the radiators {one.name} and {other.name} overlap as described, so their near fields "
                    "can't be told apart",
                    "state up_m and left_m of each, or leave one near field out",
                )


def _radiator_error(problem: str, remedy: str) -> CaseError:
    return CaseError("case.toml", problem, remedy, "unit.radiators")
