"""Entries of figures and of curves."""

from __future__ import annotations

from collections.abc import Mapping

from earwitness.derive.coverage_words import SIDES
from earwitness.derive.formatting import decimals_for
from earwitness.derive.numerals import duration, frequency, quantity, spread
from earwitness.derive.wording import listing
from earwitness.publication.entries import (
    Origin,
    anchor,
    component_lines,
    curve_links,
    source_lines,
)
from earwitness.publication.rows import value_sentence
from earwitness.publication.wording import FIGURE_LABELS, Line, line, named
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.figures import Evidence, Figure, Plateau, Plateaus
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.takes import TakeId


def figure_entry(figure: Figure, curves: Mapping[CurveName, Curve]) -> Origin:
    """The entry of one figure."""
    here = f"figure:{figure.name}"
    lines = [line("Conditions", figure.conditions), *source_lines(figure.source)]
    lines.append(line("Reading", say(named(figure.reading))))
    if figure.valid_band_hz:
        low, high = figure.valid_band_hz
        band = say(
            frequency(low, f"{here}/valid_band_hz/0"), " to ", frequency(high, f"{here}/valid_band_hz/1")
        )
        lines.append(line("Valid", band))
    if isinstance(figure.value, Plateaus):
        lines += _sides_uncertainty(figure, figure.value.clauses)
    if figure.components:
        lines.append(line("Uncertainty from", _components(figure, here)))
    if figure.also:
        lines.append(line("Other readings", _also(figure, here)))
    shown = [c for c in figure.evidence.curves if c in curves]
    covered = {t for c in shown for t in curves[c].takes}
    return Origin(
        anchor=anchor(here),
        title=FIGURE_LABELS[figure.name],
        value=value_sentence(figure),
        method=figure.method,
        lines=tuple(lines),
        curves=curve_links(shown, curves),
        takes=_own_takes(figure.evidence, covered),
    )


def _own_takes(evidence: Evidence, covered: set[TakeId]) -> tuple[TakeId, ...]:
    return evidence.takes if len(evidence.takes) <= 4 or not covered.issuperset(evidence.takes) else ()


def _components(figure: Figure, here: str) -> Sentence:
    pieces = []
    for name, value in figure.components.items():
        if value is None:
            pieces.append(say(f"{name} not stated"))
        else:
            reference = f"{here}/components/{name}"
            pieces.append(say(f"{name} ", spread(value, figure.unit, reference, figure.uncertainty)))
    return listing(pieces)


def _also(figure: Figure, here: str) -> Sentence:
    return listing(
        _reading(figure, name, value, f"{here}/also/{name}") for name, value in figure.also.items()
    )


def _reading(figure: Figure, name: str, value: float, reference: str) -> Sentence:
    """One other reading; its name says its unit where that isn't the figure's."""
    # What is a largest or a least value says where it is.
    if name == "frequency" or name.endswith(" at"):
        return say("at ", frequency(value, reference))
    if name.endswith(", dB"):
        return say(named(name.removesuffix(", dB")), " ", quantity(value, "dB", reference, 1))
    if name.endswith(", h"):
        return say(named(name.removesuffix(", h")), " ", duration(value, reference))
    if figure.unit == "Hz":
        return say(named(name), " ", frequency(value, reference))
    if name == "phase":
        return say("phase ", quantity(value, "°", reference, 0))
    decimals = decimals_for(figure.uncertainty) if figure.uncertainty else 1
    return say(named(name), " ", quantity(value, figure.unit, reference, decimals))


def _sides_uncertainty(figure: Figure, clauses: tuple[Plateau, ...]) -> list[Line]:
    """The uncertainty of each clause of a coverage that has one, side by side."""
    told = []
    for index, clause in enumerate(clauses):
        here = f"figure:{figure.name}/value/clauses/{index}"
        known = {
            "positive": clause.positive_uncertainty_deg,
            "negative": clause.negative_uncertainty_deg,
        }
        sides = [
            say("± ", spread(value, figure.unit, f"{here}/{side}_uncertainty_deg"), f" {words}")
            for (side, value), words in zip(known.items(), SIDES[figure.name], strict=True)
            if value is not None
        ]
        if sides:
            told.append(say("from ", frequency(clause.from_hz, f"{here}/from_hz"), " ") + listing(sides))
    return [line("Uncertainty", listing(told, "; ", "; "))] if told else []


def curve_entry(curve: Curve, curves: CurveSet) -> Origin:
    """The entry of one curve."""
    here = f"curve:{curve.name}"
    band = curves.valid_band_hz(curve.name)
    value = say("drawn for ", Term(curves.drive))
    lines = source_lines(curve.source)
    if band:
        value = say(
            frequency(band[0], f"{here}/valid_from_hz"), " to ", frequency(band[1], f"{here}/valid_to_hz")
        )
    if curve.reading:
        lines.append(line("Reading", say(named(curve.reading))))
    lines += component_lines(curve.components_db)
    return Origin(
        anchor=anchor(here),
        title=say(f"Curve: {curve.name.words}"),
        value=value,
        method=curve.method,
        lines=tuple(lines),
        takes=curve.takes,
    )
