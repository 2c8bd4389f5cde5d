"""Statements on the impedance: its least value, what it asks of an amplifier, and how the box is tuned."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.numerals import frequency, measured, quantity
from earwitness.derive.wording import module_number
from earwitness.findings.of_figure import of_figure
from earwitness.methods.gum import expanded
from earwitness.methods.iec_60268_5 import LEAST_PART_OF_RATED
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say
from earwitness.records.uncertainty import ComponentName

#: The printed order; a rating that isn't kept comes earlier.
IMPORTANCE: Final[Mapping[FigureName, float]] = {
    FigureName.IMPEDANCE_MINIMUM: 0.46,
    FigureName.AMPLIFIER_LOAD: 0.44,
    FigureName.BOX_TUNING: 0.30,
}
NOT_KEPT_IMPORTANCE: Final = 0.66
#: A place that marks one frequency reaches so far to either side.
MARK_OCTAVES: Final = 1.0 / 6.0
CAUTION: Final = (
    "An amplifier that isn't made for so low a load may switch itself off, overheat or fail: look up what "
    "load its maker allows, and leave mains-powered equipment closed to all but qualified people."
)


def impedance_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One finding for each figure of the impedance that has something to say; none without one."""
    available = {name: figure for name, figure in figures.items() if figure.available}
    writers = {
        FigureName.IMPEDANCE_MINIMUM: _minimum,
        FigureName.AMPLIFIER_LOAD: _load,
        FigureName.BOX_TUNING: _tuning,
    }
    if curves.impedance is None:
        return ()
    return tuple(
        write(available[name], curves, available) for name, write in writers.items() if name in available
    )


def keeps_rating(percent: float, uncertainty: float | None) -> bool:
    """Whether a least impedance in % of the rated one is high enough, or too low by no more than 2 u."""
    return percent + float(expanded(uncertainty or 0.0)) >= 100.0 * LEAST_PART_OF_RATED


def _about(curve: str, hertz: float, curves: CurveSet) -> Place:
    found = curves.impedance
    band = (hertz * 2.0**-MARK_OCTAVES, hertz * 2.0**MARK_OCTAVES)
    return Place(curve, band, drive=found.drive if found is not None and found.drive else None)


def _ohms(figure: Figure, value: float) -> Sentence:
    """With its uncertainty where that of the scale is stated: without it the rest tells little."""
    here = f"figure:{figure.name}"
    if figure.components.get(ComponentName.LEVEL) is not None:
        return measured(value, figure.uncertainty, figure.unit, here)
    return say(quantity(value, figure.unit, f"{here}/value/value"))


def _at(figure: Figure) -> tuple[float, Number]:
    hertz = figure.also["frequency"]
    return hertz, frequency(hertz, f"figure:{figure.name}/also/frequency")


def _minimum(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding:
    value = figure.value
    assert isinstance(value, Quantity | Bound)
    hertz, at = _at(figure)
    falls = (
        "falls to " if isinstance(value, Quantity) else "is still falling at the end of what is valid, at "
    )
    statement = say(f"The impedance {falls}", _ohms(figure, value.value), " at ", at, ".")
    explanation = EMPTY
    if "phase" in figure.also:
        phase = figure.also["phase"]
        explanation += say(
            "Its phase there is ", quantity(phase, "°", f"figure:{figure.name}/also/phase", 0), ". "
        )
    importance = IMPORTANCE[figure.name]
    also: tuple[FigureName, ...] = ()
    rating = available.get(FigureName.IMPEDANCE_RATING)
    if rating is not None and isinstance(rating.value, Quantity):
        kept = keeps_rating(rating.value.value, rating.uncertainty)
        importance = importance if kept else NOT_KEPT_IMPORTANCE
        also = (rating.name,)
        explanation += _rated(rating, rating.value.value, kept=kept)
    return of_figure(
        importance, figure, statement, explanation + say(CAUTION), _about("impedance", hertz, curves), *also
    )


def _rated(rating: Figure, percent: float, *, kept: bool) -> Sentence:
    here = f"figure:{rating.name}"
    asked = module_number("80 %", LEAST_PART_OF_RATED, "iec_60268_5/LEAST_PART_OF_RATED")
    return say(
        "In the rated range it is " if "in the rated range" in str(rating.conditions) else "It is ",
        quantity(percent, "%", f"{here}/value/value", 0),
        " of the rated impedance, where ",
        Term("IEC 60268-5"),
        " asks for at least ",
        asked,
        ": the rating is kept. " if kept else ": the rating is not kept. ",
    )


def _load(figure: Figure, curves: CurveSet, _: Mapping[FigureName, Figure]) -> Finding:
    value = figure.value
    assert isinstance(value, Quantity)
    hertz, at = _at(figure)
    statement = say(
        "It works an amplifier as hard as a resistor of ", _ohms(figure, value.value), " would, at ", at, "."
    )
    explanation = say(
        "There the phase makes current flow while voltage lies across the transistors. That is worked out "
        "for an ideal class-B amplifier driven to its limit; real ones differ, and music seldom stays there."
    )
    return of_figure(
        IMPORTANCE[figure.name], figure, statement, explanation, _about("amplifier_load", hertz, curves)
    )


def _tuning(figure: Figure, curves: CurveSet, available: Mapping[FigureName, Figure]) -> Finding:
    value = figure.value
    assert isinstance(value, Quantity)
    box = curves.impedance.box if curves.impedance is not None else None
    told = measured(value.value, figure.uncertainty, "Hz", f"figure:{figure.name}")
    sealed = box is None or box.kind == "sealed"
    statement = say("Its driver resonates at " if sealed else "Its box is tuned to ", told, ".")
    explanation = say(
        "One peak in the impedance shows a sealed box; below its resonance bass falls away."
        if sealed
        else "Two peaks in the impedance with a dip between them show a vented box; below its tuning bass "
        "falls away fast, and nothing but the suspension holds the cone."
    )
    total = available.get(FigureName.TOTAL_Q)
    also: tuple[FigureName, ...] = ()
    if total is not None and isinstance(total.value, Quantity):
        also = (total.name,)
        number = measured(total.value.value, total.uncertainty, "", f"figure:{total.name}")
        explanation += say(" Its total ", Term("Q"), " is ", number, "." if sealed else ", without the box.")
    return of_figure(
        IMPORTANCE[figure.name],
        figure,
        statement,
        explanation,
        _about("impedance", value.value, curves),
        *also,
    )
