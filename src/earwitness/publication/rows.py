"""One row of the table of figures: label, value with its uncertainty, and the conditions that define it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from earwitness.derive.coverage_words import coverage_sentence
from earwitness.derive.formatting import number_text, value_text
from earwitness.derive.numerals import frequency, lost, measured, not_determined, plain, spread
from earwitness.publication.wording import FIGURE_LABELS, named
from earwitness.records.figures import (
    Bound,
    Check,
    Figure,
    FigureName,
    NotAvailable,
    Plateaus,
    Quantity,
    Tolerance,
)
from earwitness.records.sentences import Number, Sentence, say

#: The rows of the table at the top, in order; what isn't available has no row.
TABLED: Final = (
    FigureName.SENSITIVITY,
    FigureName.LEVEL_AT_DRIVE,
    FigureName.CLEAN_OUTPUT,
    FigureName.DISTORTION_1,
    FigureName.MULTITONE,
    FigureName.IMPEDANCE_MINIMUM,
    FigureName.LOAD_CHANGE,
    FigureName.SELF_NOISE,
    FigureName.LATENCY,
    FigureName.F6,
    FigureName.F3,
    FigureName.F10,
    FigureName.TOLERANCE_ON_AXIS,
    FigureName.TOLERANCE_LISTENING_WINDOW,
    FigureName.COVERAGE_HORIZONTAL,
    FigureName.COVERAGE_VERTICAL,
    FigureName.IN_ROOM_TILT,
    FigureName.IN_ROOM_SMOOTHNESS,
)
#: So many rows at most: where there are more, these go first, in this order.
MOST_ROWS: Final = 10
DISPENSABLE: Final = (
    FigureName.F10,
    FigureName.F3,
    FigureName.TOLERANCE_LISTENING_WINDOW,
    FigureName.IN_ROOM_SMOOTHNESS,
)
#: Figures that can't be negative: one that its uncertainty reaches down to zero isn't determined.
NEVER_NEGATIVE: Final = frozenset(
    {
        FigureName.F3,
        FigureName.F6,
        FigureName.F10,
        FigureName.IN_ROOM_SMOOTHNESS,
        FigureName.BURST_DECAY,
        FigureName.IMPEDANCE_MINIMUM,
        FigureName.AMPLIFIER_LOAD,
        FigureName.BOX_TUNING,
        FigureName.TOTAL_Q,
        FigureName.COIL_TIME,
        FigureName.MAGNET_TIME,
        FigureName.NEAR_DISTORTION,
        FigureName.MULTITONE,
        FigureName.MODULATION_SECOND,
        FigureName.MODULATION_THIRD,
    }
)


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of merit as the table shows it."""

    name: FigureName
    label: Sentence
    value: Sentence
    conditions: Sentence


def table(figures: tuple[Figure, ...]) -> tuple[Row, ...]:
    """At most ten rows: the available ones of `TABLED`, in its order, less what is dispensable."""
    by_name = {f.name: f for f in figures if f.available}
    shown = [name for name in TABLED if name in by_name]
    spare = [name for name in DISPENSABLE if name in shown][: max(0, len(shown) - MOST_ROWS)]
    return tuple(row(by_name[name]) for name in shown if name not in spare)[:MOST_ROWS]


def row(figure: Figure) -> Row:
    """The row of one figure."""
    return Row(figure.name, FIGURE_LABELS[figure.name], value_sentence(figure), figure.conditions)


def value_sentence(figure: Figure) -> Sentence:
    """The value in words and numbers: ``86.4 ± 0.5 dB``, or the reason why there is none."""
    here = f"figure:{figure.name}"
    match figure.value:
        case Quantity(value):
            return _quantity(figure, value)
        case Bound(value, sense):
            sign = "≥ " if sense == "at least" else "≤ "
            return say(sign, plain(value, figure.unit, f"{here}/value/value"))
        case Tolerance() as limits:
            return _tolerance(figure, limits)
        case Plateaus():
            return coverage_sentence(figure)
        case Check(passed):
            return say("passed" if passed else "not passed")
        case NotAvailable() as absent:
            return reason(absent, here)


def _quantity(figure: Figure, value: float) -> Sentence:
    here = f"figure:{figure.name}"
    if figure.name in NEVER_NEGATIVE and figure.uncertainty and lost(value, figure.uncertainty):
        return not_determined(value, figure.uncertainty, figure.unit, here)
    return measured(value, figure.uncertainty, figure.unit, here)


def _tolerance(figure: Figure, limits: Tolerance) -> Sentence:
    """``+0.5 / −1.3 dB, each ± 0.4 dB``: of both limits the widest spread counts."""
    here = f"figure:{figure.name}"
    words = say(
        Number(number_text(limits.above, 1, signed=True), limits.above, f"{here}/value/above"),
        " / ",
        Number(f"−{value_text(limits.below, figure.unit, 1)}", limits.below, f"{here}/value/below"),
    )
    if not figure.uncertainty:
        return words
    return words + say(", each ± ", spread(figure.uncertainty, figure.unit, f"{here}/uncertainty"))


def reason(absent: NotAvailable, reference: str) -> Sentence:
    """Why there is no number; the limit of the data as a number where it is the reason."""
    if absent.valid_from_hz is not None:
        limit = frequency(absent.valid_from_hz, f"{reference}/value/valid_from_hz")
        return say("not available: valid from ", limit)
    if absent.invalid_band_hz is not None:
        low, high = (
            frequency(edge, f"{reference}/value/invalid_band_hz/{i}")
            for i, edge in enumerate(absent.invalid_band_hz)
        )
        if low.text == high.text:
            return say("not available: not valid at ", low)
        return say("not available: not valid from ", low, " to ", high)
    return say(named(absent.reason))
