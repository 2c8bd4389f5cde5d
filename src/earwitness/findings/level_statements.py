"""Statements on what changes with the level: distortion, change of the response, clean output."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.compression_figures import CHANGES_DB, FREQUENCY, GREATEST, STATED_CHANGE
from earwitness.derive.distortion_figures import HOURS, LEVEL, LIMITS, LOUDEST
from earwitness.derive.formatting import value_text
from earwitness.derive.level_form import drive_in
from earwitness.derive.near_distortion import NEAR_BY
from earwitness.derive.numerals import frequency, hours_a_day, measured, quantity
from earwitness.derive.wording import module_number
from earwitness.findings.active_statements import active_statements
from earwitness.findings.held_statements import held_statements
from earwitness.findings.of_figure import of_figure
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import EMPTY, Number, Quoted, Sentence, Term, say

#: The printed order.
IMPORTANCE: Final[Mapping[FigureName, float]] = {
    FigureName.DISTORTION_1: 0.75,
    FigureName.CLEAN_OUTPUT: 0.68,
    FigureName.COMPRESSION: 0.66,
    FigureName.NEAR_DISTORTION: 0.48,
}
#: What exhibits call a radiator's distortion by itself.
NEAR_CURVE: Final = "near_distortion"
#: A place that marks one frequency reaches so far to either side.
MARK_OCTAVES: Final = 1.0 / 6.0


def level_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One finding for each figure of change with level that has something to say."""
    writers = {FigureName.DISTORTION_1: _distortion, FigureName.CLEAN_OUTPUT: _clean_output}
    found = [write(figures[name], curves) for name, write in writers.items() if name in figures]
    if FigureName.COMPRESSION in figures:
        narrow = figures.get(FigureName.COMPRESSION_NARROW)
        found.append(_compression(figures[FigureName.COMPRESSION], narrow, curves))
    if FigureName.NEAR_DISTORTION in figures:
        found.append(_near(figures[FigureName.NEAR_DISTORTION], curves))
    found += [*held_statements(curves, figures), *active_statements(curves, figures)]
    return tuple(finding for finding in found if finding is not None)


def _distortion(figure: Figure, curves: CurveSet) -> Finding | None:
    value = figure.value
    if not isinstance(value, Quantity | Bound) or figure.valid_band_hz is None:
        return None
    root = f"figure:{figure.name}"
    level = figure.also[LEVEL]
    lower = " or lower" if isinstance(value, Bound) else ""
    start = (
        say(frequency(value.value, f"{root}/value/value"), lower)
        if lower
        else measured(value.value, figure.uncertainty, "Hz", root)
    )
    statement = say(
        "Total harmonic distortion stays below ",
        module_number("1 %", LIMITS[1], "derive.distortion_figures/LIMITS/1"),
        " from ",
        start,
        " up, at ",
        Number(value_text(level, "dB", 0), level, f"{root}/also/{LEVEL}"),
        ".",
    )
    explanation = say(
        "The level is the mean at one metre as it was found at that drive. Distortion alone tells little "
        "of whether it is heard."
    )
    place = Place("total_distortion", figure.valid_band_hz, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _near(figure: Figure, curves: CurveSet) -> Finding | None:
    """The radiator that distorts most by itself."""
    if not isinstance(figure.value, Quantity):
        return None
    root = f"figure:{figure.name}"
    radiator = Quoted(figure.reading.replace("_", " "), "case:unit.radiators")
    at_hz, drive = figure.also[FREQUENCY], drive_in(figure)
    statement = say(
        "Heard by itself the ",
        radiator,
        " distorts most where it plays: ",
        *(("at ", drive, " ") if drive is not None else ()),
        "its harmonics are ",
        quantity(figure.value.value, "%", f"{root}/value/value"),
        " of its fundamental at one metre, at ",
        frequency(at_hz, f"{root}/also/{FREQUENCY}"),
        ".",
    )
    explanation = say(
        "In front of it they are ",
        quantity(figure.also[NEAR_BY], "%", f"{root}/also/{NEAR_BY}"),
        "; the cabinet carries what sounds higher better. Each radiator was heard by itself, before the "
        "room, and what its microphone may hear of the others counts as noise. ",
        "Such drives can hurt hearing and the loudspeaker: leave the room or wear protection; local law and "
        "qualified advice come first.",
    )
    band = (at_hz * 2.0**-MARK_OCTAVES, at_hz * 2.0**MARK_OCTAVES)
    place = Place(NEAR_CURVE, band, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _clean_output(figure: Figure, curves: CurveSet) -> Finding | None:
    value = figure.value
    if not isinstance(value, Quantity | Bound) or figure.valid_band_hz is None:
        return None
    root, at_hz = f"figure:{figure.name}", figure.also["frequency"]
    sign = "" if isinstance(value, Quantity) else "at least " if value.sense == "at least" else "less than "
    exact = isinstance(value, Quantity)
    statement = say(
        f"It plays {sign}",
        measured(value.value, figure.uncertainty if exact else None, "dB", root),
        " cleanly, where it plays least so, at ",
        frequency(at_hz, f"{root}/also/frequency"),
        ".",
    )
    low, high = (frequency(edge, f"{root}/valid_band_hz/{i}") for i, edge in enumerate(figure.valid_band_hz))
    explanation = say(
        "So loud is the fundamental at one metre when distortion or a change of level first passes its "
        "limit, in the worst of the bands from ",
        low,
        " to ",
        high,
        ". To find it, it played ",
        quantity(figure.also[LOUDEST], "dB", f"{root}/also/{LOUDEST}", 0),
        " at one metre; taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(figure.also[HOURS], f"{root}/also/{HOURS}"),
        " there without protection. Such levels can hurt hearing and the loudspeaker: leave the room or wear "
        "protection; local law and qualified advice come first.",
    )
    band = (at_hz * 2.0**-MARK_OCTAVES, at_hz * 2.0**MARK_OCTAVES)
    place = Place("clean_output", band, "on axis", curves.drive, value.value)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _compression(figure: Figure, narrow: Figure | None, curves: CurveSet) -> Finding | None:
    value = figure.value
    if not isinstance(value, Quantity | Bound) or figure.valid_band_hz is None:
        return None
    root = f"figure:{figure.name}"
    limit_db = CHANGES_DB[STATED_CHANGE]
    path = f"derive.compression_figures/CHANGES_DB/{STATED_CHANGE}"
    limit = module_number(value_text(limit_db, "dB", 0), limit_db, path)
    if isinstance(value, Quantity):
        level = measured(value.value, figure.uncertainty, "dB", root)
        at_hz = figure.also["frequency"]
        band = (at_hz * 2.0**-MARK_OCTAVES, at_hz * 2.0**MARK_OCTAVES)
        at = frequency(at_hz, f"{root}/also/frequency")
        statement = say(
            "From ", level, " up its balance changes by more than ", limit, ", first about ", at, "."
        )
    else:
        level = say(quantity(value.value, "dB", f"{root}/value/value"))
        band = figure.valid_band_hz
        statement = (
            say("Up to ", level, " no octave changes by more than ", limit, ".")
            if value.sense == "at least"
            else say("Below ", level, " already an octave changes by more than ", limit, ".")
        )
    drive = drive_in(figure)
    explanation = say("The level is the mean at one metre that the drive would give")
    explanation += say(", here ", drive, ". ") if drive is not None else say(". ")
    explanation += narrow_words(narrow) + say(
        "A change of one octave against the others is heard as a change of balance, and is gone at lower "
        "levels. Sweeps are too short to tell what warms up over minutes."
    )
    quoted = () if narrow is None else (narrow.name,)
    place = Place("change", band, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place, *quoted)


def narrow_words(figure: Figure | None) -> Sentence:
    """From where a narrow band is off by as much, and by how much the narrowest is at the highest drive."""
    if figure is None or not isinstance(figure.value, Quantity | Bound):
        return EMPTY
    root = f"figure:{figure.name}"
    most = say(
        "the greatest change at the highest drive is ",
        quantity(figure.also[GREATEST], "dB", f"{root}/also/{GREATEST}"),
    )
    if not isinstance(figure.value, Quantity):
        sense = "up to" if figure.value.sense == "at least" else "below"
        level = quantity(figure.value.value, "dB", f"{root}/value/value")
        no = "doesn't" if figure.value.sense == "at least" else "does already"
        return say(f"A sixth of an octave {no}, {sense} ", level, "; ", most, ". ")
    drive = drive_in(figure)
    return say(
        "A sixth of an octave does so from ",
        measured(figure.value.value, figure.uncertainty, "dB", root),
        *((" (", drive, ")") if drive is not None else ()),
        " up, first about ",
        frequency(figure.also[FREQUENCY], f"{root}/also/{FREQUENCY}"),
        "; ",
        most,
        ". ",
    )
