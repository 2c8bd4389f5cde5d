"""Statements on what holds the level down over a series of drives: a limiter, a clipping amplifier, heat."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.acoustics.held_level import HeldBy
from earwitness.derive.held_figures import BOUNDS, PATH, WHOLE
from earwitness.derive.level_form import drive_in
from earwitness.derive.numerals import frequency, measured, quantity
from earwitness.findings.of_figure import of_figure
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import Sentence, say

#: The printed order, with `statements.IMPORTANCE`.
IMPORTANCE: Final = 0.67
UNTOLD_IMPORTANCE: Final = 0.35
_CAUTION: Final = (
    "Such drives can hurt hearing, and a clipping amplifier destroys tweeters: leave the room or wear "
    "protection; local law and qualified advice come first."
)
_WHY: Final = {
    HeldBy.LIMITER: "It takes the same from all of that band and adds next to none of the harmonics that "
    "clipping would; heat would go by the impedance and grow with the power. ",
    HeldBy.CLIPPING: "It takes the same from all of that band, and the third harmonic is that of tones whose "
    "tops are cut off. ",
    HeldBy.HEAT: "It grows as the power does and differs over frequency. Sweeps are short: a load that lasts "
    "shows what heat does over minutes. ",
}


def held_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One where something holds the level down, or may; none where nothing is seen to."""
    figure = figures.get(FigureName.HELD_LEVEL)
    if figure is None or figure.valid_band_hz is None:
        return () if figure is None else _untold(figure)
    value = figure.value
    assert isinstance(value, Quantity)
    by = HeldBy(figure.reading)
    limiter = figures.get(FigureName.LIMITER_THRESHOLD)
    explanation = say(_WHY[by])
    quoted: tuple[FigureName, ...] = ()
    if by is HeldBy.LIMITER and limiter is not None and isinstance(limiter.value, Quantity):
        explanation += _interval(limiter)
        quoted = (limiter.name,)
    place = Place("change", figure.valid_band_hz, "on axis", curves.drive)
    statement = _statement(by, figure, limiter)
    return (of_figure(IMPORTANCE, figure, statement, explanation + say(_CAUTION), place, *quoted),)


def _statement(by: HeldBy, figure: Figure, limiter: Figure | None) -> Sentence:
    root, drive = f"figure:{figure.name}", drive_in(figure)
    assert isinstance(figure.value, Quantity)
    taken = say(quantity(figure.value.value, "dB", f"{root}/value/value"))
    at = say("at ", drive) if drive is not None else say("at the highest drive")
    if by is HeldBy.HEAT:
        return say("Within a sweep ", at, " the heat of its coils takes up to ", taken, ".")
    if by is HeldBy.CLIPPING:
        return say("An amplifier clips: ", at, " it takes ", taken, _along(figure), ".")
    start = say("A limiter holds its level")
    if limiter is not None and isinstance(limiter.value, Quantity):
        at_threshold = drive_in(limiter)
        start += say(
            " from ",
            measured(limiter.value.value, limiter.uncertainty, "dB", f"figure:{limiter.name}"),
            *((" (", at_threshold, ")") if at_threshold is not None else ()),
            " up",
        )
    return start + say(_along(figure), "; ", at, " it takes ", taken, ".")


def _along(figure: Figure) -> Sentence:
    low, high = (frequency(figure.also[key], f"figure:{figure.name}/also/{key}") for key in PATH)
    if figure.also[WHOLE]:
        return say(", alike over all that was looked at, ", low, " to ", high)
    return say(", alike from ", low, " to ", high, " and not beyond")


def _interval(limiter: Figure) -> Sentence:
    root = f"figure:{limiter.name}/also"
    low, high = (quantity(limiter.also[key], "dB", f"{root}/{key}") for key in BOUNDS)
    return say(
        "The level is the mean at one metre that the drive would give at the middle of the limiter's knee; "
        "it lies between ",
        low,
        " and ",
        high,
        " whatever its knee and ratio. ",
    )


def _untold(figure: Figure) -> tuple[Finding, ...]:
    value = figure.value
    if not isinstance(value, NotAvailable) or "can't be told" not in value.reason:
        return ()
    statement = say("Whether a limiter, an amplifier that clips or heat holds its level down can't be told.")
    explanation = say(
        "Drives closer to each other, and a highest one that is further over where it begins, tell them "
        "apart. ",
        _CAUTION,
    )
    return (of_figure(UNTOLD_IMPORTANCE, figure, statement, explanation, None),)
