"""The table of what each ± is made of."""

from __future__ import annotations

from dataclasses import replace

from specimen import results

from earwitness.publication.budget import Budget, budget
from earwitness.records.figures import Figure, FigureName, NotAvailable
from earwitness.records.uncertainty import ComponentName as N


def figure(name: FigureName, uncertainty: float | None, components: dict[N, float | None]) -> Figure:
    plain = next(f for f in results().figures if f.name is FigureName.SENSITIVITY)
    return replace(plain, name=name, uncertainty=uncertainty, components=components)


def told(*figures: Figure) -> Budget:
    found = budget(figures)
    assert found is not None
    return found


def test_each_part_stands_in_its_column_to_the_digits_of_its_row() -> None:
    known: dict[N, float | None] = {N.MICROPHONE: 0.3, N.REPEAT: 0.4, N.LEVEL: 0.0, N.TEMPERATURE: None}
    table = told(
        figure(FigureName.SENSITIVITY, 0.5, known),
        figure(FigureName.IN_ROOM_TILT, 0.031, {N.REPEAT: 0.03, N.FIT: 0.008, N.MICROPHONE: None}),
    )
    # in the order in which components are named everywhere
    assert table.columns == ("repeat", "microphone", "fit")
    assert table.not_known == ("temperature",)
    rows = [[str(row.label), row.unit, str(row.total), *map(str, row.parts)] for row in table.rows]
    assert rows == [
        ["Sensitivity", "dB", "0.50", "0.40", "0.30", "–"],
        ["In-room tilt", "dB", "0.031", "0.030", "not stated", "0.008"],
    ]


def test_every_number_leads_to_its_figure() -> None:
    row = told(figure(FigureName.F6, 1.7, {N.SPLICE: 0.06})).rows[0]
    assert [n.reference for n in row.total.numbers] == ["figure:f6/uncertainty"]
    assert [n.reference for part in row.parts for n in part.numbers] == ["figure:f6/components/splice"]


def test_figures_whose_uncertainty_is_not_known_have_no_row() -> None:
    known = figure(FigureName.SENSITIVITY, 0.5, {N.LEVEL: 0.5})
    absent = replace(known, value=NotAvailable("nothing is valid"))
    assert budget((absent, replace(known, uncertainty=None))) is None
    assert len(told(absent, known).rows) == 1
