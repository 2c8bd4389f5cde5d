"""Statements on an active loudspeaker: how loud it plays at the drive that was used, and how late."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.active_figures import FLIGHT, HOURS
from earwitness.derive.level_form import drive_in
from earwitness.derive.numerals import hours_a_day, measured, quantity
from earwitness.findings.of_figure import of_figure
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Figure, FigureName, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import Term, say

#: The printed order, with `statements.IMPORTANCE`.
IMPORTANCE: Final = {FigureName.LEVEL_AT_DRIVE: 0.40, FigureName.LATENCY: 0.42}


def active_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One for the level, one for the latency, where there are such figures."""
    found = []
    level, late = figures.get(FigureName.LEVEL_AT_DRIVE), figures.get(FigureName.LATENCY)
    if level is not None and isinstance(level.value, Quantity):
        found.append(_level(level, level.value, curves))
    if late is not None and isinstance(late.value, Quantity):
        found.append(_late(late, late.value))
    return tuple(found)


def _level(figure: Figure, value: Quantity, curves: CurveSet) -> Finding:
    root, drive = f"figure:{figure.name}", drive_in(figure)
    statement = say(
        *(("Driven with ", drive, " it plays ") if drive is not None else ("It plays ",)),
        measured(value.value, figure.uncertainty, "dB", root),
        " at one metre.",
    )
    explanation = say(
        "Each decibel more of drive is one more of level, until something holds it down. Taken as "
        "A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(figure.also[HOURS], f"{root}/also/{HOURS}"),
        " of that without protection; local law and qualified advice come first.",
    )
    place = Place("on_axis", SENSITIVITY_BAND_HZ, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _late(figure: Figure, value: Quantity) -> Finding:
    root = f"figure:{figure.name}"
    statement = say(
        "It plays ", measured(value.value, figure.uncertainty, "ms", root), " after the signal at its input."
    )
    explanation = say(
        "That is of the treble, less the ",
        quantity(figure.also[FLIGHT], "ms", f"{root}/also/{FLIGHT}", 2),
        " that sound takes on its way. Beside a picture, an instrument or another loudspeaker it counts.",
    )
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, None)
