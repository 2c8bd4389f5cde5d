"""Statements on a load that lasts, and on self-noise."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.long_term_figures import ALLOWED, DISTANCE, LEVEL, LOADED
from earwitness.derive.numerals import frequency, hours_a_day, measured, quantity
from earwitness.findings.of_figure import of_figure
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Bound, Figure, FigureName, Quantity
from earwitness.records.findings import Finding, Place
from earwitness.records.sentences import Number, Sentence, Term, say

#: The printed order, with `statements.IMPORTANCE`.
IMPORTANCE: Final = {FigureName.LOAD_CHANGE: 0.66, FigureName.SELF_NOISE: 0.45}
#: An octave reaches so far to either side of its middle.
HALF_OCTAVE: Final = 2.0**0.5
#: A change of level that is worth a sentence on what makes it, dB.
WORTH_DB: Final = 0.3

_CAUTION: Final = (
    "Such a load can hurt hearing and destroy the loudspeaker: leave the room or wear protection; local law "
    "and qualified advice come first."
)


def long_term_statements(curves: CurveSet, figures: Mapping[FigureName, Figure]) -> tuple[Finding, ...]:
    """One for the load, one for self-noise, where there are such figures."""
    found = []
    if (change := figures.get(FigureName.LOAD_CHANGE)) is not None and change.available:
        found.append(_change(change, figures, curves))
    if (noise := figures.get(FigureName.SELF_NOISE)) is not None and noise.available:
        found.append(_noise(noise))
    return tuple(found)


def _change(figure: Figure, figures: Mapping[FigureName, Figure], curves: CurveSet) -> Finding:
    value = figure.value
    assert isinstance(value, Quantity)
    root = f"figure:{figure.name}"
    at_hz, loaded = figure.also["frequency"], figure.also[LOADED]
    size = Number(quantity(abs(value.value), "dB", "").text, value.value, f"{root}/value/value")
    statement = say(
        "After ",
        quantity(loaded, "s", f"{root}/also/{LOADED}", 0),
        " of load its level has fallen by " if value.value < 0 else " of load its level has risen by ",
        size,
        " about ",
        frequency(at_hz, f"{root}/also/frequency"),
        ", where it changes most.",
    )
    lasting = figure.also["lasting"]
    explanation = say(
        "Of that a weak signal right after it keeps ",
        quantity(lasting, "dB", f"{root}/also/lasting"),
        ". ",
    )
    explanation += _why(figures) + _level(figure, root) + say(_CAUTION)
    place = Place("load_change", (at_hz / HALF_OCTAVE, at_hz * HALF_OCTAVE), "on axis", curves.drive)
    quoted = tuple(name for name in _BESIDE if name in figures and figures[name].available)
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, place, *quoted)


_BESIDE: Final = (FigureName.LIMITING, FigureName.COIL_TIME, FigureName.MAGNET_TIME)


def _level(figure: Figure, root: str) -> Sentence:
    if LEVEL not in figure.also:
        return say("")
    said = say("The load played ", quantity(figure.also[LEVEL], "dB", f"{root}/also/{LEVEL}", 0))
    if ALLOWED not in figure.also:
        return said + say(" at one metre. ")
    return said + say(
        " at one metre, where ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(figure.also[ALLOWED], f"{root}/also/{ALLOWED}"),
        ", taken as A-weighted. ",
    )


def _why(figures: Mapping[FigureName, Figure]) -> Sentence:
    """What makes the change."""
    said = say("")
    limiting, coil, magnet = (figures.get(name) for name in _BESIDE)
    if limiting is not None:
        if isinstance(limiting.value, Quantity):
            size = quantity(limiting.value.value, "dB", f"figure:{limiting.name}/value/value")
            said += say("A limiter makes ", size, " of it: that acts at once, and lets go soon after. ")
        elif "can't" in getattr(limiting.value, "reason", ""):
            said += say("Whether a limiter or heat makes it can't be told. ")
    if coil is not None and isinstance(coil.value, Quantity):
        time = measured(coil.value.value, coil.uncertainty, "s", f"figure:{coil.name}")
        said += say("Heat in a voice coil makes what lasts, with a time constant of ", time)
        if magnet is not None and isinstance(magnet.value, Quantity):
            slow = measured(magnet.value.value, magnet.uncertainty, "s", f"figure:{magnet.name}")
            said += say(", and the magnet's of ", slow)
        said += say(". ")
    return said


def _noise(figure: Figure) -> Finding:
    value = figure.value
    assert isinstance(value, Quantity | Bound)
    root = f"figure:{figure.name}"
    level = (
        say("at most ", quantity(value.value, "dB", f"{root}/value/value"))
        if isinstance(value, Bound)
        else measured(value.value, figure.uncertainty, "dB", root)
    )
    statement = say(
        "Playing nothing it hisses and hums at ",
        level,
        " (A-weighted) at ",
        quantity(figure.also[DISTANCE], "m", f"{root}/also/{DISTANCE}"),
        ".",
    )
    hidden = "The room's own noise hides what may be less. " if isinstance(value, Bound) else ""
    explanation = say(hidden, "It is heard where the room is quieter than that at the listener's place.")
    return of_figure(IMPORTANCE[figure.name], figure, statement, explanation, None)
