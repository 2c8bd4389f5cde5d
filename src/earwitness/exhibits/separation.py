"""How two surfaces told waves that leave from those that the room sends back: order, condition, residual."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.separation import LARGEST_CONDITION, LARGEST_RESIDUAL
from earwitness.derive.numerals import quantity
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import linear_axis
from earwitness.records.grid import Floats
from earwitness.records.responses import ToldApart
from earwitness.records.sentences import Sentence, say

HEIGHT: Final = 0.2
#: A panel shows its limit and this much of it above; what is higher stands at its upper edge.
ABOVE: Final = 1.2
PER_CENT: Final = 100.0
_CONDITION: Final = "method:acoustics.separation/LARGEST_CONDITION"


def separation(told: ToldApart, alt: Sentence) -> Exhibit | None:
    """Order, condition and residual over frequency, thin where they are refused; None without a frequency.

    Parameters
    ----------
    alt
        What it shows in words, with its numbers.
    """
    if told.frequency_hz.size == 0:
        return None
    highest = float(told.order.max()) + 1.0
    condition, residual = ABOVE * LARGEST_CONDITION, ABOVE * PER_CENT * LARGEST_RESIDUAL
    frequency = frequency_axis()
    order_axis = linear_axis("order of waves that leave", "highest", 0.0, highest, 4)
    condition_axis = linear_axis("condition", "ratio", 0.0, condition, 4)
    residual_axis = linear_axis("residual", "%", 0.0, residual, 4)
    return Exhibit(
        id="separation",
        letter="",
        title="Waves told apart",
        caption=say(
            "The higher the order, the finer the pattern that is told; the higher the condition, the more an "
            "error grows; the residual is what no such waves explain. Dashed: the limits. Thin: refused, and "
            "nothing is taken.",
        ),
        conditions=say(
            "condition no more than ",
            quantity(LARGEST_CONDITION, "", _CONDITION, 0),
            ", residual no more than ",
            quantity(LARGEST_RESIDUAL, "", "method:acoustics.separation/LARGEST_RESIDUAL", 2),
            " of the pressures",
        ),
        alt=alt,
        panels=(
            Panel("order", frequency, order_axis, _lines(told, "order", told.order), height_per_width=HEIGHT),
            Panel(
                "condition",
                frequency,
                condition_axis,
                (*_lines(told, "condition", told.condition, condition), _limit(told, LARGEST_CONDITION)),
                height_per_width=HEIGHT,
            ),
            Panel(
                "residual",
                frequency,
                residual_axis,
                (
                    *_lines(told, "residual", PER_CENT * told.residual, residual),
                    _limit(told, PER_CENT * LARGEST_RESIDUAL),
                ),
                height_per_width=HEIGHT,
            ),
        ),
    )


def _lines(told: ToldApart, name: str, values: Floats, highest: float = np.inf) -> tuple[Line, ...]:
    """What was taken, strong, and what was refused, thin; each only where there is any."""
    shown = np.where(np.isfinite(values), np.minimum(values, highest), highest)
    lines = []
    for kept, label, role in ((told.taken, "taken", Role.ON_AXIS), (~told.taken, "refused", Role.QUIET)):
        if kept.any():
            y = np.where(kept, shown, np.nan)
            lines.append(Line(f"separation_{name}_{label}", label, role, told.frequency_hz, y))
    return tuple(lines)


def _limit(told: ToldApart, value: float) -> Line:
    ends = told.frequency_hz[[0, -1]]
    return Line("separation_limit", "limit", Role.TREND, ends, np.full(2, value))
