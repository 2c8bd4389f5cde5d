"""What is wrong with a loudspeaker, and what it would be without: the counterfactual.

A fault is said beside the parts, with the cause it is an instance of. There are four ways to say what the
loudspeaker would be without it:

- `silences`: parts of the source that keep their place but don't sound (`Source.without`): modes of cones,
  panels, pipes, standing waves.
- `instead`: values that the document would have: ``"branches.tweeter.delay_s" = 0.0``.
- `edges`: radiators that would radiate as if their cabinet had none: each as a point on a rigid ball of its
  own, at its place and facing its way (the cap's exact series), times the directivity 2J₁(x)/x of a flat
  piston, x = ka sin φ, behind the ball as at 90 degrees. The ball's diameter is twice the mean distance (over
  all bearings, geometric) from the radiator's centre to the edge of its face, so that the step from full to
  half space lies where it does on the box.
- `together`: radiators that would lie in one place: what each sends in each direction stays as it is, its
  cabinet's diffraction included, and only the way to the listener is that from the mean of their centres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
from scipy.special import j1

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.box import FACES, BoxCabinet
from earwitness.virtual.loudspeaker import Cabinet
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.tables import Table

Cause = Literal[
    "resonance",
    "edge_diffraction",
    "spaced_sources",
    "crossover_misalignment",
    "driver_directivity",
    "voicing",
    "port_or_cavity",
]
#: Bearings over which the distance to a face's edge is averaged.
BEARINGS: Final = 720
#: Diameter of a cap that is a point, and an argument at which 2J₁(x)/x is 1.
POINT_M, SMALLEST = 0.002, 1e-6
#: Lists of named tables that a path of `instead` may go through, wherever in the document they are.
LISTS: Final = ("branches", "enclosures", "drive_units", "ports", "resonators", "waves", "bending", "mouths")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong. `note` says it to a person."""

    name: str
    cause: Cause
    note: str
    silences: tuple[str, ...] = ()
    instead: Mapping[str, Any] = field(default_factory=dict)
    edges: tuple[str, ...] = ()
    together: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        said = [bool(way) for way in (self.silences, self.instead, self.edges, self.together)]
        if sum(said) != 1:
            raise ValueError(
                "a fault says what would be without it by one of: silences, instead, edges, together"
            )
        if len(self.together) == 1:
            raise ValueError("together is about two radiators or more")

    @property
    def counterfactual(self) -> Literal["silenced", "instead", "edge_free", "coincident"]:
        """Which of the four ways."""
        if self.silences:
            return "silenced"
        if self.instead:
            return "instead"
        return "edge_free" if self.edges else "coincident"


@dataclass(frozen=True, slots=True)
class Heard:
    """Where and at which frequencies: points (D, 3), frequencies (F,), and the air between."""

    points: Floats
    frequencies: Floats
    air: Air


def read(document: Table) -> tuple[Fault, ...]:
    """The faults of a document."""
    found = tuple(
        table.build(Fault, "instead", instead=table.table("instead").content)
        for table in document.tables("faults")
    )
    names = [fault.name for fault in found]
    if len(set(names)) < len(names):
        raise document.error(f"each fault has a name of its own: {', '.join(names)}")
    return found


def replaced(document: Table, instead: Mapping[str, Any]) -> Table:
    """The document with other values.

    A path is ``cabinet.KEY`` or ``LIST.NAME.KEY``, with more keys where the value lies in a table or list of
    that entry: ``branches.tweeter.sections.1.gain_db`` (lists without names are counted from 1).

    Raises
    ------
    ScenarioError
        Where a path leads to no value.
    """
    content = dict(document.content)
    for path, value in instead.items():
        content = _with(content, path.split("."), value, document, path)
    return Table(document.place, content)


def _with(content: Any, keys: list[str], value: Any, document: Table, path: str) -> Any:
    """A copy of a table or list in which the value at `keys` is another."""
    first, rest = keys[0], keys[1:]
    if isinstance(content, list):
        for number, entry in enumerate(content):
            if first in (entry.get("name"), str(number + 1)):
                new = _with(entry, rest, value, document, path) if rest else value
                return [*content[:number], new, *content[number + 1 :]]
    elif first in content:
        new = _with(content[first], rest, value, document, path) if rest else value
        return {**content, first: new}
    elif first in LISTS:
        for number, enclosure in enumerate(content.get("enclosures", ())):
            if rest and any(entry.get("name") == rest[0] for entry in enclosure.get(first, ())):
                deeper = ["enclosures", str(number + 1), *keys]
                return _with(content, deeper, value, document, path)
    raise document.error(f"faults: nothing lies at {path}")


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
