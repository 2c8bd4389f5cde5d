from __future__ import annotations

from dataclasses import replace

import pytest
from publishable import built, case_files

from earwitness.derive.symmetry import Symmetry
from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.page import page
from earwitness.records.takes import Direction


def stated(*symmetry: Symmetry, keep_right: bool = True, quieter_right: float = 1.0) -> PublicationContext:
    """The specimen with a stated symmetry; its right side as measured, quieter, or not there."""
    files, made = case_files(), built()
    files = replace(files, facts=replace(files.facts, unit=replace(files.facts.unit, symmetry=symmetry)))
    found = made.responses
    right = [t.key.direction is not None and t.key.direction.angle_deg < 0.0 for t in found.takes]
    found.pressure[right] *= quieter_right
    rows = [i for i, one in enumerate(right) if keep_right or not one]
    per_take = {
        name: getattr(found, name)[rows]
        for name in ("pressure", "valid", "origin", "has_phase", "seen_angle_deg", "impulse_response")
    } | {name: getattr(found, name)[rows] for name in ("sample_rate_hz", "gate_s")}
    fewer = replace(
        found,
        takes=tuple(found.takes[i] for i in rows),
        near_field_takes=tuple(found.near_field_takes[i] for i in rows),
        components={name: value[rows] for name, value in found.components.items()},
        **per_take,
    )
    return assemble(files, replace(made, responses=fewer))


def test_nothing_is_said_where_nothing_is_stated() -> None:
    context = stated(keep_right=False)
    assert context.trust.sides == ()
    assert "mirror" not in page(context)


def test_the_page_says_which_side_is_a_mirror_image() -> None:
    context = stated("left-right", keep_right=False)
    (line,) = [one for one in context.trust.not_measured if str(one.label) == "Not measured, mirrored"]
    assert str(line.text) == (
        "horizontal −170° to −10° in steps of 10°; the case states that left and right are alike, so the "
        "mirror image of what was measured stands in"
    )
    assert "mirror image of what was measured stands in" in page(context)
    assert len(context.trust.sides[0].stood_in) == 17


@pytest.mark.parametrize(
    ("quieter", "said"),
    [
        (1.0, "0.00 dB apart (root mean square) where both were measured"),
        (
            0.5,
            "6.02 dB apart (root mean square) where both were measured, which is more than the case’s "
            "statement that they are alike allows for",
        ),
    ],
)
def test_both_sides_are_held_against_the_statement(quieter: float, said: str) -> None:
    """Half the pressure is 20·lg 2 = 6.02 dB."""
    context = stated("left-right", quieter_right=quieter)
    (line,) = [one for one in context.trust.rig if str(one.label) == "Left against right"]
    assert str(line.text) == said
    assert not [one for one in context.trust.not_measured if str(one.label) == "Not measured, mirrored"]


def test_a_direction_and_its_mirror_image() -> None:
    take = case_files().takes[0].key.direction
    assert take is not None
    assert take.mirrored == Direction(take.orbit, -take.angle_deg)
    assert take.mirrored.mirrored == take
