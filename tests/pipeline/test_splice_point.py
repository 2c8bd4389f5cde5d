"""The point on the splice where the bass comes from two surfaces: no near field is asked for then."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import pytest

from earwitness.measurement.gated import LATER_THAN_STATED, SOONER_THAN_STATED
from earwitness.measurement.recorded import HARDLY_OVERLAP
from earwitness.measurement.two_radii_joining import CONTRADICTED
from earwitness.measurement.unheard import Unheard
from earwitness.pipeline.points.material import Material
from earwitness.pipeline.points.splice import splice
from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts, Radiator, Unit
from earwitness.records.quality import Point, Verdict
from earwitness.records.responses import Origin, Responses, Splice, ToldApart
from earwitness.records.takes import ON_AXIS


def told(taken: bool) -> ToldApart:
    three = np.ones(3)
    return ToldApart(
        np.array([50.0, 100.0, 200.0]), 4.0 * three, 10.0 * three, 0.01 * three, three > 2.0 * (not taken)
    )


def point(responses: Responses) -> Point:
    curves = CurveSet(responses.frequency_hz, "2.83 V", {})
    return splice(Material(CaseFacts(Unit("Cobble")), responses.takes, {}, responses, curves, ()))


def plain() -> Responses:
    return closed_forms.responses(closed_forms.omni, (ON_AXIS,))


@pytest.mark.parametrize(
    ("taken", "notes", "words"),
    [
        (True, (), "share too little to be joined"),
        (True, (CONTRADICTED + "1.0 dB in the 0.40 octave that they share",), "disagree in the little"),
        (False, (), "at no frequency"),
    ],
)
def test_surfaces_that_were_not_joined_are_no_lack_of_near_fields(
    taken: bool, notes: tuple[str, ...], words: str
) -> None:
    found = point(replace(plain(), told_apart=told(taken), notes=notes))
    assert found.verdict is Verdict.CANNOT_TELL
    assert words in str(found.sentence)
    assert "near field" not in f"{found.sentence} {found.remedy}".lower()


@pytest.mark.parametrize(
    ("note", "words"),
    [(LATER_THAN_STATED, "but one later"), (SOONER_THAN_STATED, "was found on axis before")],
)
def test_heights_that_what_was_heard_contradicts_are_named(note: str, words: str) -> None:
    found = point(replace(plain(), notes=(note, HARDLY_OVERLAP)))
    assert point(replace(plain(), notes=(note,), told_apart=told(True))) == found
    assert "Add a near field" in str(point(replace(plain(), notes=(note,))).remedy)
    assert found.verdict is Verdict.CANNOT_TELL
    assert words in str(found.sentence)
    assert "rig.microphone_height_m" in str(found.remedy)
    assert "near field" not in str(found.remedy)


def test_without_surfaces_a_near_field_is_asked_for() -> None:
    assert "Add a near field" in str(point(plain()).remedy)


@pytest.mark.parametrize("origin", [Origin.SEPARATED, Origin.NEAR_FIELD])
def test_what_was_joined_is_called_by_its_name(origin: Origin) -> None:
    made = plain()
    made.origin[:, :100] = origin
    joined = replace(made, splices={made.takes[0].id: Splice(300.0, 600.0, 2.0)})
    found = point(joined)
    assert found.verdict is Verdict.LOOK
    near = "near field" in f"{found.sentence} {found.remedy}".lower()
    assert near == (origin is Origin.NEAR_FIELD)


def test_a_port_without_a_near_field_is_asked_for() -> None:
    made = plain()
    joined = replace(made, splices={made.takes[0].id: Splice(300.0, 600.0, 0.1)})
    assert point(joined).verdict is Verdict.FINE
    found = point(replace(joined, notes=(Unheard(45.0, Radiator("woofer", 0.11)).note,)))
    assert found.verdict is Verdict.LOOK
    assert "Add a near field of the port" in str(found.remedy)
    assert "no port’s was added" in str(found.sentence)
