"""A number in prose is what its reference names, or it is refused."""

from __future__ import annotations

import pytest
import specimen

from earwitness.findings.references import Referent
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.sentences import Number, Words, say


@pytest.fixture(scope="module")
def referent() -> Referent:
    return Referent(
        specimen.facts(), specimen.results().figures, specimen.curve_set(), specimen.findings().findings
    )


@pytest.mark.parametrize(
    ("reference", "value"),
    [
        ("figure:sensitivity/value/value", 86.4),
        ("figure:coverage_horizontal/value/clauses/1/negative_deg", 52.0),
        ("case:rig.distance_m", 2.0),
        ("case:claims/0/value", 45.0),
        ("method:iec_60268_5/SENSITIVITY_BAND_HZ/1", SENSITIVITY_BAND_HZ[1]),
        ("method:derive.coverage/EDGE_DB", -6.0),
    ],
)
def test_what_a_reference_names(referent: Referent, reference: str, value: float) -> None:
    assert referent.resolve(reference) == value


def test_a_curves_lowest_valid_frequency(referent: Referent) -> None:
    assert referent.resolve("curve:on_axis/valid_from_hz") == pytest.approx(specimen.GRID[0])


@pytest.mark.parametrize(
    "reference",
    [
        "figure:nothing/value",
        "figure:sensitivity/value/kind",
        "case:unit.name",
        "case:unit.active",
        "curve:on_axis/colour",
        "method:no_such_method/CONSTANT",
        "method:iec_60268_5/NOTHING",
        "nonsense",
    ],
)
def test_what_names_no_number_is_refused(referent: Referent, reference: str) -> None:
    with pytest.raises(LookupError):
        referent.resolve(reference)


def test_a_number_that_says_something_else_is_refused(referent: Referent) -> None:
    right = Number("86.4 dB", 86.4, "figure:sensitivity/value/value")
    referent.require(say("It plays ", right))
    with pytest.raises(LookupError, match=r"86\.4"):
        referent.require(say("It plays ", Number("86.5 dB", 86.5, right.reference)))


def test_words_refuse_digits() -> None:
    with pytest.raises(ValueError, match="digits"):
        Words("86 dB")
    with pytest.raises(ValueError, match="digits"):
        say("from 20 Hz")
