"""Takes that a case hasn't yet, how long each takes, and how often each shows what a cause foretells.

How often it shows is stated for every cause after what each mechanism does, to a tenth; minutes are common
practice. Both are defined here. The scene (`findings.next_from_scene`) stands in for the table wherever it
foretells an outcome itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.findings.causes.stated import Stated
from earwitness.records.causes import Cause
from earwitness.records.facts import CaseFacts
from earwitness.records.next_measurement import NextTake
from earwitness.records.responses import Responses
from earwitness.records.takes import Orbit, Take, TakeKind

#: An orbit is fine where neighbouring angles lie no farther apart than this.
FINE_DEG: Final = 5.0
#: The columns of the table below.
COLUMNS: Final = (
    Cause.RESONANCE,
    Cause.EDGE_DIFFRACTION,
    Cause.SPACED_SOURCES,
    Cause.CROSSOVER_MISALIGNMENT,
    Cause.DRIVER_DIRECTIVITY,
    Cause.VOICING,
    Cause.PORT_OR_CAVITY,
    Cause.ARTEFACT,
)
#: How often each take shows the feature (near fields), a wrinkle there (impedance), a dip that moves with the
#: angle as two ways foretell (fine steps), or a change (felt, another place), by cause.
SHOWS: Final[Mapping[NextTake, tuple[float, ...]]] = {
    NextTake.NEAR_DRIVERS: (0.9, 0.1, 0.1, 0.1, 0.1, 0.5, 0.2, 0.1),
    NextTake.NEAR_PORT: (0.2, 0.1, 0.1, 0.1, 0.1, 0.2, 0.9, 0.1),
    NextTake.IMPEDANCE: (0.6, 0.1, 0.1, 0.1, 0.1, 0.1, 0.5, 0.1),
    NextTake.FINE_VERTICAL: (0.1, 0.4, 0.9, 0.9, 0.2, 0.1, 0.1, 0.1),
    NextTake.FINE_HORIZONTAL: (0.1, 0.9, 0.1, 0.1, 0.3, 0.1, 0.2, 0.1),
    NextTake.FELT: (0.1, 0.9, 0.1, 0.1, 0.2, 0.1, 0.1, 0.1),
    NextTake.ELSEWHERE: (0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.9),
}
#: How often a take shows something though none of the causes in question acts.
BY_CHANCE: Final = 0.1
#: Minutes that a take costs, and each direction of it more.
EFFORT_MIN: Final[Mapping[NextTake, float]] = {
    NextTake.NEAR_DRIVERS: 5.0,
    NextTake.NEAR_PORT: 5.0,
    NextTake.IMPEDANCE: 10.0,
    NextTake.FINE_VERTICAL: 15.0,
    NextTake.FINE_HORIZONTAL: 5.0,
    NextTake.FELT: 15.0,
    NextTake.ELSEWHERE: 20.0,
}
A_DIRECTION_MIN: Final = 1.0
RULER_MIN: Final = 5.0


@dataclass(frozen=True, slots=True)
class CloseUp:
    """A radiator without a near field: its stated name, radius and height; None where none is stated."""

    name: str | None = None
    is_port: bool = False
    up_m: float | None = None
    radius_m: float | None = None


@dataclass(frozen=True, slots=True)
class Possible:
    """Takes that a case hasn't, radiators that have no near field, and whether a common clock is lacking."""

    takes: frozenset[NextTake]
    needs_clock: bool
    near: tuple[CloseUp, ...] = (CloseUp(),)
    #: Whether a ruler would tell what the case doesn't state of radiators and cabinet.
    ruler: bool = False

    @classmethod
    def of(cls, responses: Responses, facts: CaseFacts, takes: Sequence[Take] = ()) -> Possible:
        """What is not measured yet.

        A near field counts for the radiator that its take names, and for those stated to be the same; where
        `takes` aren't known, for all. A port's is possible only where one is stated.
        """
        near = _near(responses, facts, takes)
        possible = set(SHOWS)
        possible -= set() if any(not one.is_port for one in near) else {NextTake.NEAR_DRIVERS}
        possible -= set() if any(one.is_port for one in near) else {NextTake.NEAR_PORT}
        possible -= {NextTake.IMPEDANCE} if responses.impedance is not None else set()
        for orbit, take in (
            (Orbit.VERTICAL, NextTake.FINE_VERTICAL),
            (Orbit.HORIZONTAL, NextTake.FINE_HORIZONTAL),
        ):
            possible -= {take} if _is_fine(responses, orbit) else set()
        clock = responses.microphone_m is None or bool(np.isnan(responses.microphone_m).all())
        ruler = Stated.of(facts.unit) is None or facts.unit.cabinet is None
        return cls(frozenset(possible), clock, near, ruler)


def column(cause: Cause) -> int:
    """Of the table."""
    return COLUMNS.index(cause)


def _near(responses: Responses, facts: CaseFacts, takes: Sequence[Take]) -> tuple[CloseUp, ...]:
    any_at_all = any(responses.near_field_takes)
    stated = facts.unit.radiators
    taken = {take.key.radiator for take in takes if take.key.kind is TakeKind.NEAR_FIELD}
    if not taken and any_at_all:
        return ()
    if not stated:
        return () if taken else (CloseUp(),)
    kinds = {r.name: r.same_as or r.name for r in stated}
    done = {kinds.get(str(name), str(name)) for name in taken}
    left = {kinds[r.name]: r for r in reversed(stated) if kinds[r.name] not in done}
    return tuple(
        CloseUp(r.name, "port" in r.name, r.up_m, 0.5 * r.diameter_m)
        for r in stated
        if left.get(kinds[r.name]) is r
    )


def _is_fine(responses: Responses, orbit: Orbit) -> bool:
    """Whether an orbit has steps of five degrees about the axis."""
    angles = sorted(
        {
            take.key.direction.angle_deg
            for take in responses.takes
            if take.key.direction is not None and take.key.direction.orbit is orbit
        }
    )
    steps = np.diff([angle for angle in angles if abs(angle) <= 30.0])
    return bool(steps.size) and float(steps.max()) <= FINE_DEG
