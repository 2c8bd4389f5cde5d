"""Axes of time behaviour: milliseconds, cycles, and the numbers that are read off them."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.derive.formatting import number_text, value_text
from earwitness.exhibits.description import Axis
from earwitness.records.grid import Floats
from earwitness.records.sentences import Number

#: Steps between ticks, times a power of ten.
TICK_STEPS: Final = (1.0, 2.0, 5.0)
#: Space beyond the values at either end, of their span.
MARGIN: Final = 0.05


def linear_axis(label: str, unit: str, minimum: float, maximum: float, most_ticks: int = 8) -> Axis:
    """A linear axis with ticks at whole steps inside its limits, read to a decimal more."""
    step = tick_step(minimum, maximum, most_ticks)
    values = np.arange(np.ceil(minimum / step - 1e-9), np.floor(maximum / step + 1e-9) + 1) * step
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    ticks = tuple((float(v), number_text(float(v), decimals)) for v in values)
    return Axis(label, unit, minimum, maximum, ticks, decimals=decimals + 1)


def around(label: str, unit: str, values: Floats, least_span: float) -> Axis:
    """An axis that holds zero and nearly all of `values`, a margin about them; single spikes are cut."""
    known = values[np.isfinite(values)]
    low, high = (float(edge) for edge in np.percentile(known, (0.5, 99.5)))
    low, high = min(0.0, low), max(0.0, high)
    missing = max(0.0, least_span - (high - low))
    margin = MARGIN * (high - low + missing)
    axis = linear_axis(label, unit, low - 0.5 * missing - margin, high + 0.5 * missing + margin, 6)
    return replace(axis, decimals=axis.decimals + 1)


def tick_step(minimum: float, maximum: float, most: int) -> float:
    """The least round step that leaves at most `most` ticks."""
    power = 10.0 ** np.floor(np.log10((maximum - minimum) / most))
    return next(
        float(s * power) for s in (*TICK_STEPS, 10.0) if (maximum - minimum) / (s * power) <= most + 1e-9
    )


def milliseconds(value_s: float, reference: str, decimals: int = 1) -> Number:
    """``3.7 ms``; the value stays in seconds."""
    return Number(value_text(1e3 * value_s, "ms", decimals), value_s, reference)
