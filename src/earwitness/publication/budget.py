"""What the figures' uncertainty is made of: a table of their components."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from earwitness.derive.formatting import decimals_for
from earwitness.derive.numerals import quantity
from earwitness.publication.wording import FIGURE_LABELS, NOT_STATED
from earwitness.records.figures import Figure
from earwitness.records.sentences import Sentence, say
from earwitness.records.uncertainty import NEGLIGIBLE, ComponentName

#: What doesn't act on a figure has no number.
NO_PART: Final = say("–")


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One figure: its total and its components in its own unit, one a column of the table."""

    label: Sentence
    unit: str
    total: Sentence
    parts: tuple[Sentence, ...]


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard uncertainties of the figures by component.

    `columns` are the components that act on at least one figure; `not_known` those that are neither stated
    nor found in the data, of any figure.
    """

    columns: tuple[str, ...]
    rows: tuple[BudgetRow, ...]
    not_known: tuple[str, ...]


def budget(figures: tuple[Figure, ...]) -> Budget | None:
    """The table of all figures whose uncertainty is known; None where there are none."""
    shown = [f for f in figures if f.available and f.uncertainty]
    if not shown:
        return None
    by_name = {n: [f.components[n] for f in shown if n in f.components] for n in ComponentName}
    columns = [name for name, parts in by_name.items() if any((part or 0.0) >= NEGLIGIBLE for part in parts)]
    absent = [name for name, parts in by_name.items() if parts and all(part is None for part in parts)]
    return Budget(
        columns=tuple(map(str, columns)),
        rows=tuple(_row(figure, columns) for figure in shown),
        not_known=tuple(map(str, absent)),
    )


def _row(figure: Figure, columns: list[ComponentName]) -> BudgetRow:
    """All numbers of a row to one decimal more than the figure's own."""
    here = f"figure:{figure.name}"
    total = figure.uncertainty or 0.0
    decimals = max(decimals_for(total) + 1, 0)
    return BudgetRow(
        label=FIGURE_LABELS[figure.name],
        unit=figure.unit,
        total=say(quantity(total, "", f"{here}/uncertainty", decimals)),
        parts=tuple(_part(figure, name, f"{here}/components/{name}", decimals) for name in columns),
    )


def _part(figure: Figure, name: ComponentName, reference: str, decimals: int) -> Sentence:
    value = figure.components.get(name, 0.0)
    if value is None:
        return NOT_STATED
    return NO_PART if value < NEGLIGIBLE else say(quantity(value, "", reference, decimals))
