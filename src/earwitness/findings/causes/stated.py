"""What a case states of the loudspeaker's front: its radiators, where they are, and the body they sit in.

A scene begins there and is held near by what a ruler errs by. Radiators on other faces aren't heard to the
front at the frequencies of a scene, and are left out. What isn't stated is sought freely.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from earwitness.records.facts import Radiator, Sphere, Unit

Float64s = npt.NDArray[np.float64]
Body = Literal["box", "ball"]

#: Standard uncertainties of places and of a body's sizes, m, and of a disc's radius as a part of it: a
#: ruler's, and that the middle of a surround is no sharp line (common practice).
PLACE_M, SIZE_M, DISC_PART = 0.005, 0.005, 0.1
#: The smallest radiator that still sounds at the top; where none so small is stated, one is sought besides.
SMALL_M: Final = 0.045
#: More than these on one front are no scene.
MOST: Final = 4


@dataclass(frozen=True, slots=True)
class Stated:
    """Radiators on the front from the lowest to the highest, and the body's shape and sizes if stated.

    Heights and radii in metres. `size_m` is to the side, up and down from the reference point, NaN where it
    isn't stated; a ball's radius. `besides` says whether a small one is to be sought that isn't stated.
    """

    height_m: tuple[float, ...]
    disc_m: tuple[float, ...]
    body: Body | None = None
    size_m: tuple[float, ...] = ()
    besides: bool = False

    @classmethod
    def of(cls, unit: Unit) -> Stated | None:
        """None where nothing is stated of the front that a scene could rest on."""
        front = sorted((r for r in unit.radiators if r.face == "front"), key=_height)
        if not front or len(front) > MOST:
            return None
        body, size = _body(unit)
        return cls(
            tuple(r.up_m for r in front),
            tuple(r.diameter_m / 2.0 for r in front),
            body,
            size,
            all(r.diameter_m > SMALL_M for r in front),
        )


def _height(radiator: Radiator) -> tuple[float, str]:
    return radiator.up_m, radiator.name


def _body(unit: Unit) -> tuple[Body | None, tuple[float, ...]]:
    if unit.cabinet is None:
        return None, ()
    if isinstance(unit.cabinet, Sphere):
        return "ball", (unit.cabinet.diameter_m / 2.0,)
    half, up = unit.cabinet.height_m / 2.0, unit.cabinet.reference_up_m
    ends = (np.nan, np.nan) if up is None else (half - up, half + up)
    return "box", (unit.cabinet.width_m / 2.0, *ends)
