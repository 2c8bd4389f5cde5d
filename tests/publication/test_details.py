"""What the details of an entry and of part seven say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import specimen
from publishable import built, case_files, responses

from earwitness.publication.constants import CONSTANT_WORDS, about, constants
from earwitness.publication.context import PublicationContext
from earwitness.publication.entries import component_lines
from earwitness.publication.origins import origins
from earwitness.publication.rows import value_sentence
from earwitness.publication.trust import trust
from earwitness.publication.wording import FIGURE_LABELS
from earwitness.records.figures import Figure, FigureName, Plateau, Plateaus
from earwitness.records.responses import Splice
from earwitness.records.sentences import Number
from earwitness.records.uncertainty import ComponentName


def figure(name: FigureName) -> Figure:
    return next(f for f in specimen.results().figures if f.name is name)


def test_limits_carry_their_uncertainty() -> None:
    given = replace(figure(FigureName.TOLERANCE_ON_AXIS), uncertainty=0.31)
    assert str(value_sentence(given)) == "+2.9 / −2.2 dB, each ± 0.3 dB"


def test_each_side_of_a_coverage_carries_its_uncertainty(context: PublicationContext) -> None:
    clauses = (
        Plateau(300.0, 1200.0, None, None, None, None),
        Plateau(2500.0, 9000.0, 45.0, 50.0, 1.9, 0.72),
    )
    given = replace(figure(FigureName.COVERAGE_VERTICAL), value=Plateaus(clauses))
    (entry, *_) = origins(context.curves, (given,), ())
    told = next(x.text for x in entry.lines if str(x.label) == "Uncertainty")
    assert str(told) == "from 2.5 kHz ± 1.9° up and ± 0.7° down"
    here = "figure:coverage_vertical/value/clauses/1"
    assert [(n.reference, n.value) for n in told.numbers] == [
        (f"{here}/from_hz", 2500.0),
        (f"{here}/positive_uncertainty_deg", 1.9),
        (f"{here}/negative_uncertainty_deg", 0.72),
    ]


def test_a_frequency_beside_a_level_stays_a_frequency(context: PublicationContext) -> None:
    given = replace(figure(FigureName.SENSITIVITY), also={"frequency": 2430.0, "dB mean": 86.3})
    (entry, *_) = origins(context.curves, (given,), ())
    told = next(x.text for x in entry.lines if str(x.label) == "Other readings")
    assert str(told) == "at 2.43 kHz and dB mean 86.3 dB"


def test_what_nobody_stated_is_no_part_of_an_uncertainty() -> None:
    known = {ComponentName.NOISE: 0.1, ComponentName.REPEAT: 0.0, ComponentName.TEMPERATURE: None}
    told = [(str(one.label), str(one.text)) for one in component_lines(known)]
    assert told == [("Uncertainty from", "noise and repeat"), ("Not stated", "temperature")]
    assert component_lines({}) == []


def test_what_is_absent_for_one_reason_is_said_once(half_empty: PublicationContext) -> None:
    reasons = [str(one.text) for one in half_empty.trust.not_measured]
    assert len(reasons) == len(set(reasons))
    labels = "; ".join(str(one.label) for one in half_empty.trust.not_measured)
    absent = [f.name for f in half_empty.results.figures if not f.available]
    assert absent
    assert all(str(FIGURE_LABELS[name]) in labels for name in absent)


def test_gate_and_splice_on_axis_are_told() -> None:
    given = responses()
    on_axis = next(t.id for t in given.takes if t.key.direction and t.key.direction.angle_deg == 0.0)
    joined = replace(given, splices={on_axis: Splice(210.0, 420.0, 0.3)})
    found = trust(case_files(), replace(built(), responses=joined))
    told = {str(one.label): str(one.text) for one in found.rig}
    # The specimen's gate is 6 ms long.
    assert told["Gate, on axis"] == "ends 6.0 ms after the arrival"
    assert told["Near field joined, on axis"] == "from 210 Hz to 420 Hz"
    assert told["Smoothing"].startswith("none in the curves")
    bare = replace(given, gate_s=np.zeros_like(given.gate_s))
    labels = {str(one.label) for one in trust(case_files(), replace(built(), responses=bare)).rig}
    assert not {"Gate, on axis", "Near field joined, on axis"} & labels


def test_every_curve_and_figure_has_its_document(context: PublicationContext) -> None:
    told = "; ".join(str(m.figures) for m in context.trust.methods)
    for curve in context.curves.curves.values():
        assert not curve.available or curve.name.words.capitalize() in told
    assert all(str(row.label) in told for row in context.rows)


def test_constants_in_words() -> None:
    numbers = [
        Number("20 kHz", 20_000.0, "method:iec_60263/FREQUENCY_LIMITS_HZ/1"),
        Number("25 dB", 25.0, "method:iec_60263/DB_PER_DECADE"),
        Number("20 Hz", 20.0, "method:iec_60263/FREQUENCY_LIMITS_HZ/0"),
    ]
    assert str(constants(numbers)) == "a decade as long as 25 dB; frequency axis from 20 Hz to 20 kHz"
    assert str(constants([Number("3 dB", 3.0, "method:x/SOME_OTHER_DB")])) == "some other 3 dB"
    assert about("methods.iec_60263")[0] == "IEC 60263 (1982)"


def test_every_constant_that_is_quoted_has_words(context: PublicationContext) -> None:
    quoted = {
        n.reference for o in context.origins for n in o.value.numbers if n.reference.startswith("method:")
    }
    assert quoted
    assert {reference.split("/")[1] for reference in quoted} <= set(CONSTANT_WORDS)
