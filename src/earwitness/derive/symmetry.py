"""Which directions a stated symmetry of the loudspeaker stands in for.

Only what wasn't measured is stood in for, and only where the case states that the loudspeaker radiates alike
to both sides. The mirror image is the same takes once more: their errors come twice, alike, and whatever is
made of both sides knows it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final, Literal

from earwitness.records.takes import Direction, Orbit

Symmetry = Literal["left-right", "up-down"]

#: The orbit whose two sides each symmetry makes alike.
ORBITS: Final[Mapping[Symmetry, Orbit]] = {"left-right": Orbit.HORIZONTAL, "up-down": Orbit.VERTICAL}


def stand_ins(measured: Collection[Direction], symmetry: Collection[Symmetry]) -> tuple[Direction, ...]:
    """Directions, sorted, that lack a measurement and whose mirror image by `symmetry` has one."""
    orbits = {ORBITS[one] for one in symmetry}
    mirrored = {d.mirrored for d in measured if d.orbit in orbits}
    return tuple(sorted(mirrored.difference(measured)))
