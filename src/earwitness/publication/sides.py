"""What the page says of sides: where positive angles lie, and what a stated symmetry stands in for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.derive.directivity import take_powers
from earwitness.derive.numerals import quantity
from earwitness.derive.sides import SIDES_WARNING_DB, sides_difference_db
from earwitness.derive.symmetry import ORBITS, Symmetry
from earwitness.publication.directions import directions
from earwitness.publication.material import CaseFiles
from earwitness.publication.wording import Line, line
from earwitness.records.facts import Rig
from earwitness.records.responses import Responses
from earwitness.records.sentences import Sentence, say
from earwitness.records.takes import Orbit

#: For each orbit: the line's label, the side that is positive in AES69, and the other one.
_SIDES: Final[Mapping[Orbit, tuple[str, str, str]]] = {
    Orbit.HORIZONTAL: ("Positive angles, sideways", "left", "right"),
    Orbit.VERTICAL: ("Positive angles, up and down", "up", "down"),
}
_AGAINST: Final[Mapping[Symmetry, str]] = {"left-right": "Left against right", "up-down": "Up against down"}
_ALIKE: Final[Mapping[Symmetry, str]] = {
    "left-right": "left and right are alike",
    "up-down": "up and down are alike",
}


@dataclass(frozen=True, slots=True)
class Sides:
    """Both sides of a loudspeaker that is stated to be symmetrical.

    `difference_db` is the root mean square of what they differ by where both were measured, None where that
    is nowhere; `stood_in` names the directions that the mirror image stands in for.
    """

    symmetry: Symmetry
    difference_db: float | None
    stood_in: tuple[str, ...]


def orientation(case: CaseFiles, responses: Responses) -> tuple[Line, ...]:
    """A line for each orbit that was measured: where its positive angles lie, and who says so."""
    turned = [t.key.direction for t in responses.takes if t.key.direction]
    measured = {d.orbit for d in turned if d.angle_deg not in (0.0, 180.0)}
    return tuple(_declared(case.facts.rig, o, o in case.orbits_stated) for o in Orbit if o in measured)


def sides(case: CaseFiles, responses: Responses) -> tuple[Sides, ...]:
    """Each stated symmetry, in the order in which the case states them."""
    symmetry = case.facts.unit.symmetry
    if not symmetry:
        return ()
    takes = take_powers(responses, symmetry)
    stood_in = [d for d, one in zip(takes.directions, takes.mirrored.tolist(), strict=True) if one]
    return tuple(
        Sides(
            one,
            sides_difference_db(takes, ORBITS[one]),
            tuple(d.label for d in stood_in if d.orbit is ORBITS[one]),
        )
        for one in dict.fromkeys(symmetry)
    )


def compared(found: tuple[Sides, ...]) -> tuple[Line, ...]:
    """A line for each symmetry of which both sides were measured."""
    return tuple(
        line(_AGAINST[one.symmetry], _apart(one.difference_db, index))
        for index, one in enumerate(found)
        if one.difference_db is not None
    )


def stood_in(found: tuple[Sides, ...]) -> tuple[Line, ...]:
    """A line for each symmetry that stands in for what wasn't measured."""
    return tuple(
        line(
            "Not measured, mirrored",
            directions(one.stood_in)
            + say(
                f"; the case states that {_ALIKE[one.symmetry]}, so the mirror image of what was measured "
                "stands in"
            ),
        )
        for one in found
        if one.stood_in
    )


def _declared(rig: Rig, orbit: Orbit, by_takes: bool) -> Line:
    label, positive, other = _SIDES[orbit]
    declared = rig.positive_horizontal if orbit is Orbit.HORIZONTAL else rig.positive_vertical
    side = {"left": "the loudspeaker's left", "right": "the loudspeaker's right"}
    here = side.get(positive, positive)
    if not by_takes:
        return line(label, say(f"{here}, as the files themselves state"))
    if declared is None:
        return line(label, say(f"not declared; taken for {here}"))
    if declared == positive:
        return line(label, say(f"{here}, as the case declares"))
    there = side.get(other, other)
    return line(label, say(f"{there} in the files, as the case declares; turned here: {here}"))


def _apart(difference_db: float, index: int) -> Sentence:
    apart = quantity(difference_db, "dB", f"publication:trust/sides/{index}/difference_db", 2)
    said = say(apart, " apart (root mean square) where both were measured")
    if difference_db <= SIDES_WARNING_DB:
        return said
    return said + say(", which is more than the case's statement that they are alike allows for")
