"""A coverage in plain words.

"65° to each side from 300 Hz to 1.2 kHz, narrowing to 45° to each side by 2.5 kHz, steady to 9 kHz". A
± stands before an uncertainty alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.derive.formatting import angle_text, decimals_for, frequency_text, value_text
from earwitness.derive.plateaus import STEADY_DEG
from earwitness.records.errors import NotAvailableError
from earwitness.records.figures import Figure, FigureName, NotAvailable, Plateau, Plateaus
from earwitness.records.sentences import EMPTY, Number, Sentence, say
from earwitness.records.uncertainty import NEGLIGIBLE

#: What the positive and the negative side are called.
SIDES: Final[Mapping[FigureName, tuple[str, str]]] = {
    FigureName.COVERAGE_HORIZONTAL: ("to the left", "to the right"),
    FigureName.COVERAGE_VERTICAL: ("up", "down"),
}
BOTH_SIDES: Final[Mapping[FigureName, str]] = {
    FigureName.COVERAGE_HORIZONTAL: " to each side",
    FigureName.COVERAGE_VERTICAL: " up and down",
}
_NEVER_DEG: Final = 180.0


def coverage_sentence(figure: Figure) -> Sentence:
    """The clauses of a coverage in words, without capital or full stop.

    Both sides are one angle where the figure has them alike. Where the level never falls that far on either
    side the coverage is "all round", where on one side, "all the way" there.

    Raises
    ------
    NotAvailableError
        The figure has no value.
    """
    clauses = _clauses(figure)
    words = _first(figure, clauses[0])
    verb = ""
    for index in range(1, len(clauses)):
        before, verb = verb, _verb(clauses[index - 1], clauses[index])
        words += _next(figure, index, verb, goes_on=before == verb and _is_point(clauses[index - 1]))
    return words


def _clauses(figure: Figure) -> tuple[Plateau, ...]:
    if isinstance(figure.value, NotAvailable):
        raise NotAvailableError(figure.value.reason)
    if not isinstance(figure.value, Plateaus):
        raise TypeError(f"{figure.name} is no coverage")
    return figure.value.clauses


def _first(figure: Figure, clause: Plateau) -> Sentence:
    start, end = clause_edges(figure, 0, clause)
    if _is_point(clause):
        return say(clause_angles(figure, 0, clause), " at ", start)
    return say(clause_angles(figure, 0, clause), " from ", start, " to ", end)


def _next(figure: Figure, index: int, verb: str, goes_on: bool) -> Sentence:
    clause = _clauses(figure)[index]
    start, end = clause_edges(figure, index, clause)
    angles = clause_angles(figure, index, clause)
    if clause.positive_deg is None and clause.negative_deg is None:
        return say(", ", angles, " from ", start) + (EMPTY if _is_point(clause) else say(" to ", end))
    steady = EMPTY if _is_point(clause) else say(", steady to ", end)
    return say(" and on to " if goes_on else f", {verb} to ", angles, " by ", start) + steady


def _verb(before: Plateau, clause: Plateau) -> str:
    return "narrowing" if _width_deg(clause) < _width_deg(before) else "widening"


def _is_point(clause: Plateau) -> bool:
    """Whether the clause begins and ends at what is printed as one frequency."""
    return frequency_text(clause.from_hz) == frequency_text(clause.to_hz)


def _width_deg(clause: Plateau) -> float:
    """Both sides together; a side that is open counts half a turn."""
    sides = (clause.positive_deg, clause.negative_deg)
    return sum(_NEVER_DEG if side is None else side for side in sides)


def clause_edges(figure: Figure, index: int, clause: Plateau) -> tuple[Number, Number]:
    """The first and the last frequency of a clause."""
    path = f"figure:{figure.name}/value/clauses/{index}"
    return (
        Number(frequency_text(clause.from_hz), clause.from_hz, f"{path}/from_hz"),
        Number(frequency_text(clause.to_hz), clause.to_hz, f"{path}/to_hz"),
    )


def clause_angles(figure: Figure, index: int, clause: Plateau) -> Sentence:
    """How far a clause reaches: ``65° ± 2° to each side``, ``40° up and 25° down``, ``all round``.

    The angles are means. Where the curve leaves the narrower of them by more than what counts as steady, its
    least is said, too: ``91° to each side (narrowest 85°)``.
    """
    sides = [side for side in (clause.positive_deg, clause.negative_deg) if side is not None]
    means = _mean_angles(figure, index, clause)
    if clause.least_deg is None or not sides or min(sides) - clause.least_deg <= STEADY_DEG:
        return means
    reference = f"figure:{figure.name}/value/clauses/{index}/least_deg"
    least = Number(angle_text(clause.least_deg), clause.least_deg, reference)
    return means + say(" (narrowest ", least, ")")


def _mean_angles(figure: Figure, index: int, clause: Plateau) -> Sentence:
    path = f"figure:{figure.name}/value/clauses/{index}"
    if clause.positive_deg is None and clause.negative_deg is None:
        return say("all round")
    if clause.positive_deg is not None and clause.positive_deg == clause.negative_deg:
        alike = _side(clause.positive_deg, clause.positive_uncertainty_deg, f"{path}/positive")
        return say(alike, BOTH_SIDES[figure.name])
    positive, negative = SIDES[figure.name]
    return say(
        _side(clause.positive_deg, clause.positive_uncertainty_deg, f"{path}/positive"),
        f" {positive} and ",
        _side(clause.negative_deg, clause.negative_uncertainty_deg, f"{path}/negative"),
        f" {negative}",
    )


def _side(angle_deg: float | None, uncertainty_deg: float | None, reference: str) -> Sentence:
    """An angle and what it is unsure by in whole degrees, or in parts of one where that is less than one."""
    if angle_deg is None:
        return say("all the way")
    if uncertainty_deg is None or uncertainty_deg < NEGLIGIBLE:
        return say(Number(angle_text(angle_deg), angle_deg, f"{reference}_deg"))
    decimals = max(decimals_for(uncertainty_deg), 0) if uncertainty_deg < 0.95 else 0
    return say(
        Number(value_text(angle_deg, "°", decimals), angle_deg, f"{reference}_deg"),
        " ± ",
        Number(value_text(uncertainty_deg, "°", decimals), uncertainty_deg, f"{reference}_uncertainty_deg"),
    )
