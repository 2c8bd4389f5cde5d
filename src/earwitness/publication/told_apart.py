"""What part seven says of two surfaces: which frequencies they told apart, to what order, how surely."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.exhibits.description import Exhibit, lettered
from earwitness.exhibits.separation import separation
from earwitness.records.grid import Bools, Floats
from earwitness.records.responses import Origin, Responses, ToldApart
from earwitness.records.sentences import Number, Sentence, say

_HERE = "publication:separation"
_SEPARATED = (Origin.SEPARATED, Origin.SEPARATED_INTO_GATED, Origin.NEAR_FIELD_INTO_SEPARATED)
_NOT_JOINED = (
    " None of it stands in the curves, for it couldn't be joined to the gated responses: get further away "
    "from what reflects, for a longer gate, or measure at more points."
)


@dataclass(frozen=True)
class SeparationPart:
    """Two surfaces in one sentence, and the picture.

    Attributes
    ----------
    from_hz, to_hz
        The lowest and highest frequency that was taken; None where none was.
    order_least, order_most, condition_most, residual_most
        Of what was taken.
    refused
        Bands within those ends that were refused, lowest and highest frequency each.
    """

    from_hz: float | None
    to_hz: float | None
    order_least: float
    order_most: float
    condition_most: float
    residual_most: float
    refused: tuple[tuple[float, float], ...]
    sentence: Sentence
    exhibit: Exhibit


def separation_part(told: ToldApart | None, after: int = 0, *, joined: bool = True) -> SeparationPart | None:
    """The part of a case; its picture has the letter after so many; None where no surfaces were measured.

    `joined` holds where the curves rest on any of it.
    """
    if told is None:
        return None
    ends, refused = _ends(told.frequency_hz, told.taken), _refused(told.frequency_hz, told.taken)
    order, condition, residual = (
        values[told.taken] if told.taken.any() else np.zeros(1)
        for values in (told.order, told.condition, told.residual)
    )
    most = {
        "order_least": float(order.min()),
        "order_most": float(order.max()),
        "condition_most": float(condition.max()),
        "residual_most": float(residual.max()),
    }
    sentence = _sentence(ends, most, refused)
    if ends is not None and not joined:
        sentence = sentence + say(_NOT_JOINED)
    exhibit = separation(told, say("Order, condition and residual over frequency. ") + sentence)
    if exhibit is None:
        return None
    (exhibit,) = lettered([exhibit], after)
    low, high = ends or (None, None)
    return SeparationPart(low, high, **most, refused=refused, sentence=sentence, exhibit=exhibit)


def rests_on_surfaces(responses: Responses) -> bool:
    """Whether any response is, somewhere, what the surfaces tell."""
    return bool(np.isin(responses.origin, _SEPARATED).any())


def _ends(frequency_hz: Floats, taken: Bools) -> tuple[float, float] | None:
    inside = frequency_hz[taken]
    return (float(inside[0]), float(inside[-1])) if inside.size else None


def _refused(frequency_hz: Floats, taken: Bools) -> tuple[tuple[float, float], ...]:
    """Runs of refused frequencies between the lowest and the highest that was taken."""
    held = np.flatnonzero(taken)
    if not held.size:
        return ()
    edges = np.flatnonzero(np.diff(taken[held[0] : held[-1] + 1].astype(np.int8)))
    first = held[0] + 1
    runs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((float(frequency_hz[first + a]), float(frequency_hz[first + b - 1])) for a, b in runs)


def _sentence(
    ends: tuple[float, float] | None, most: dict[str, float], refused: tuple[tuple[float, float], ...]
) -> Sentence:
    if ends is None:
        return say("Two surfaces tell the loudspeaker's waves from the room's at no frequency.")
    order = Number(f"{most['order_most']:.0f}", most["order_most"], f"{_HERE}/order_most")
    least = Number(f"{most['order_least']:.0f}", most["order_least"], f"{_HERE}/order_least")
    words = say(
        "Two surfaces tell the loudspeaker's waves from the room's from ",
        frequency(ends[0], f"{_HERE}/from_hz"),
        " to ",
        frequency(ends[1], f"{_HERE}/to_hz"),
        say(", by order ", order) if least.text == order.text else say(", by orders ", least, " to ", order),
        ", with a condition of no more than ",
        quantity(most["condition_most"], "", f"{_HERE}/condition_most", 1),
        " and a residual of no more than ",
        quantity(most["residual_most"], "", f"{_HERE}/residual_most", 4),
        " of the pressures.",
    )
    if not refused:
        return words + say(" Nothing between is refused.")
    bands = []
    for i, (low, high) in enumerate(refused):
        bands += [
            say(", ") if i else say(" Refused between: "),
            say(frequency(low, f"{_HERE}/refused/{i}/0"), " to ", frequency(high, f"{_HERE}/refused/{i}/1")),
        ]
    return words + say(*bands, ".")
