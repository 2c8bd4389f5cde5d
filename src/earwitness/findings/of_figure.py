"""The finding that says what a figure of merit is."""

from __future__ import annotations

from earwitness.records.figures import Figure, FigureName
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import Sentence


def of_figure(
    importance: float,
    figure: Figure,
    statement: Sentence,
    explanation: Sentence,
    place: Place | None,
    *also: FigureName,
) -> Finding:
    """A figure's finding, with its conditions and evidence; `also` are other figures that it speaks of."""
    return Finding(
        id=f"figure-{figure.name}",
        subject="figure",
        statement=statement,
        explanation=explanation,
        note=figure.conditions,
        importance=importance,
        place=place,
        figures=(figure.name, *also),
        evidence=figure.evidence,
    )
