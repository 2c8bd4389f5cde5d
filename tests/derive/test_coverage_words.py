from __future__ import annotations

import dataclasses

import closed_forms
import pytest

from earwitness.derive.coverage_words import coverage_sentence
from earwitness.derive.derivation import derive
from earwitness.records.errors import NotAvailableError
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Plateau, Plateaus, Value
from earwitness.records.takes import ON_AXIS


def figure(value: Value, name: FigureName = FigureName.COVERAGE_HORIZONTAL) -> Figure:
    made = derive(closed_forms.responses(closed_forms.omni, (ON_AXIS,)), CaseFacts(Unit("Cobble"))).figures
    return dataclasses.replace(next(f for f in made if f.name is name), value=value)


def clause(start: float, end: float, positive: float | None, negative: float | None) -> Plateau:
    return Plateau(start, end, positive, negative, None, None)


def sure(start: float, end: float, positive: float, negative: float, unsure: float = 2.0) -> Plateau:
    return Plateau(start, end, positive, negative, unsure, unsure)


def words(*clauses: Plateau, name: FigureName = FigureName.COVERAGE_HORIZONTAL) -> str:
    return str(coverage_sentence(figure(Plateaus(clauses), name)))


def test_the_sentence_of_the_product() -> None:
    spoken = words(clause(303.0, 1210.0, 65.2, 65.2), clause(2520.0, 9010.0, 44.8, 44.8))
    assert spoken == (
        "65° to each side from 300 Hz to 1.2 kHz, narrowing to 45° to each side by 2.5 kHz, steady to 9 kHz"
    )


def test_a_bend_goes_on() -> None:
    spoken = words(
        clause(300.0, 420.0, 87.0, 87.0),
        clause(4300.0, 4300.0, 50.0, 50.0),
        clause(16_000.0, 16_000.0, 30.0, 30.0),
    )
    assert spoken == (
        "87° to each side from 300 Hz to 420 Hz, narrowing to 50° to each side by 4.3 kHz "
        "and on to 30° to each side by 16 kHz"
    )


def test_unequal_sides() -> None:
    spoken = words(clause(300.0, 4000.0, 40.0, 25.0), name=FigureName.COVERAGE_VERTICAL)
    assert spoken == "40° up and 25° down from 300 Hz to 4 kHz"
    assert words(clause(300.0, 4000.0, 40.0, None)) == (
        "40° to the left and all the way to the right from 300 Hz to 4 kHz"
    )


@pytest.mark.parametrize(
    ("unsure", "text"),
    [
        (2.3, "65° ± 2°"),
        (1.2, "65° ± 1°"),
        (0.4, "65.2° ± 0.4°"),
        (0.14, "65.21° ± 0.14°"),
        (12.0, "65° ± 12°"),
    ],
)
def test_a_plus_or_minus_is_what_the_angle_is_unsure_by(unsure: float, text: str) -> None:
    assert words(sure(300.0, 4000.0, 65.21, 65.21, unsure)) == f"{text} to each side from 300 Hz to 4 kHz"
    vertical = words(sure(300.0, 4000.0, 65.21, 65.21, unsure), name=FigureName.COVERAGE_VERTICAL)
    assert vertical == f"{text} up and down from 300 Hz to 4 kHz"


def test_never() -> None:
    spoken = words(clause(300.0, 1000.0, None, None), clause(1500.0, 8000.0, 80.0, 80.0))
    assert (
        spoken == "all round from 300 Hz to 1 kHz, narrowing to 80° to each side by 1.5 kHz, steady to 8 kHz"
    )
    back = words(clause(300.0, 1000.0, 80.0, 80.0), clause(1500.0, 8000.0, None, None))
    assert back == "80° to each side from 300 Hz to 1 kHz, all round from 1.5 kHz to 8 kHz"


def test_every_number_names_its_field() -> None:
    made = figure(Plateaus((sure(303.0, 1210.0, 65.2, 50.0), sure(2520.0, 9010.0, 44.8, 44.8))))
    assert isinstance(made.value, Plateaus)
    numbers = coverage_sentence(made).numbers
    # two edges each, two sides apart and both alike, and what each angle is unsure by
    assert len(numbers) == 2 + 2 + 3 + 3
    for number in numbers:
        prefix, index, field = number.reference.rsplit("/", 2)
        assert prefix == "figure:coverage_horizontal/value/clauses"
        assert number.value == getattr(made.value.clauses[int(index)], field)


def test_no_value_no_sentence() -> None:
    with pytest.raises(NotAvailableError, match="480"):
        coverage_sentence(figure(NotAvailable("not available: valid from 480 Hz", 480.0)))


def test_a_mean_that_the_curve_leaves_says_its_least() -> None:
    left = dataclasses.replace(clause(1500.0, 7700.0, 91.0, 91.0), least_deg=84.7)
    assert words(left) == "91° to each side (narrowest 85°) from 1.5 kHz to 7.7 kHz"
    kept = dataclasses.replace(left, least_deg=86.1)
    assert words(kept) == "91° to each side from 1.5 kHz to 7.7 kHz"
    apart = dataclasses.replace(clause(1500.0, 7700.0, 60.0, 40.0), least_deg=31.0)
    spoken = words(apart, name=FigureName.COVERAGE_VERTICAL)
    assert spoken == "60° up and 40° down (narrowest 31°) from 1.5 kHz to 7.7 kHz"
    number = coverage_sentence(figure(Plateaus((left,)))).numbers[1]
    assert number.value == 84.7
    assert number.reference == "figure:coverage_horizontal/value/clauses/0/least_deg"
