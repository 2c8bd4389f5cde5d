"""Statements on what a loudspeaker adds to steady tones, and on what rattles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.numerals import frequency, hours_a_day, measured, quantity
from earwitness.derive.rattle_figures import PART
from earwitness.derive.tone_figures import HIGH, HOURS, LEVEL, LOW, TONES, WORST, WORST_DB
from earwitness.findings.of_figure import of_figure
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say

#: The printed order, with `statements.IMPORTANCE`.
IMPORTANCE: Final = {FigureName.RATTLE: 0.7, FigureName.MULTITONE: 0.6, FigureName.MODULATION_SECOND: 0.55}
#: A third octave reaches so far to either side of its middle.
HALF_BAND: Final = 2.0 ** (1.0 / 6.0)
_CAUTION: Final = (
    "Steady tones can hurt hearing and destroy loudspeakers sooner than music: leave the room or wear "
    "protection; local law and qualified advice come first."
)


def tone_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One for what rattles, one for many tones, one for two, where there are such figures."""
    found = []
    if FigureName.RATTLE in figures:
        found.append(_rattle(figures[FigureName.RATTLE], curves))
    if FigureName.MULTITONE in figures:
        found.append(_multitone(figures[FigureName.MULTITONE], curves))
    if FigureName.MODULATION_SECOND in figures:
        pair = (figures[FigureName.MODULATION_SECOND], figures[FigureName.MODULATION_THIRD])
        found.append(_modulation(*pair))
    return tuple(found)


def _ratio(figure: Figure) -> Sentence:
    value = figure.value
    assert isinstance(value, Quantity | Bound)
    root = f"figure:{figure.name}"
    if isinstance(value, Bound):
        return say("less than ", quantity(value.value, "%", f"{root}/value/value", 2))
    return measured(value.value, figure.uncertainty, "%", root)


def _exposure(figure: Figure, what: str = "The tones") -> Sentence:
    if LEVEL not in figure.also:
        return say(_CAUTION)
    here = f"figure:{figure.name}/also"
    return say(
        f"{what} played ",
        quantity(figure.also[LEVEL], "dB", f"{here}/{LEVEL}", 0),
        " at one metre; taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(figure.also[HOURS], f"{here}/{HOURS}"),
        " there without protection. ",
        _CAUTION,
    )


def _multitone(figure: Figure, curves: CurveSet) -> Finding:
    here = f"figure:{figure.name}/also"
    statement = say(
        "Playing ",
        quantity(figure.also[TONES], "", f"{here}/{TONES}", 0),
        " tones at once, it adds ",
        _ratio(figure),
        " between them.",
    )
    band, worst = figure.valid_band_hz, EMPTY
    assert band is not None
    if WORST in figure.also:
        at_hz = figure.also[WORST]
        band = (at_hz / HALF_BAND, at_hz * HALF_BAND)
        level = quantity(figure.also[WORST_DB], "dB", f"{here}/{WORST_DB}", 0)
        worst = say(
            "Most of it, against the tones beside it, lies about ",
            frequency(at_hz, f"{here}/{WORST}"),
            ", where it is at ",
            level,
            " re them. ",
        )
    explanation = worst + say("Music has many tones at once, too. ") + _exposure(figure)
    place = Place("between_tones", band, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)


def _modulation(second: Figure, third: Figure) -> Finding:
    here = f"figure:{second.name}/also"
    statement = say(
        "A tone of ",
        frequency(second.also[LOW], f"{here}/{LOW}"),
        " modulates one of ",
        frequency(second.also[HIGH], f"{here}/{HIGH}"),
        " by ",
        _ratio(second),
        " in the second order, and by ",
        _ratio(third),
        " in the third.",
    )
    explanation = say(
        "Of the second order are their sum and difference; of the third those with twice the low tone. "
        "What moves the frequency of the high tone without changing its level counts as well. "
    ) + _exposure(second)
    return of_figure(IMPORTANCE[second.name], second, statement, explanation, None, third.name)


def _rattle(figure: Figure, curves: CurveSet) -> Finding:
    value, root = figure.value, f"figure:{figure.name}"
    assert isinstance(value, Quantity)
    assert figure.valid_band_hz is not None
    row = [one.take for one in curves.tones.rattles].index(figure.evidence.takes[0])
    drive = curves.tones.rattles[row].drive
    statement = say(
        "What it adds near ",
        frequency(value.value, f"{root}/value/value"),
        " from ",
        Number(drive.label, drive.value, f"tones:rattles/{row}/drive/value"),
        " up points to a rattle or a rub.",
    )
    explanation = say(
        "Above the tenth harmonic there is sound that comes again each period, at ",
        quantity(figure.also[PART], "dB", f"{root}/also/{PART}", 0),
        " re the whole sound; that of streaming air is never the same twice. It may also be a coil at its "
        "end, an amplifier that clips, or a thing in the room that buzzes. What would settle it: play that "
        "frequency, quietly at first, listen near seams, screws, grille and cables, and press on each; then "
        "look at the amplifier's output, and move what stands near. ",
    ) + _exposure(figure, "The loudest sweep")
    place = Place("recurring", figure.valid_band_hz, "on axis", curves.drive)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place)
