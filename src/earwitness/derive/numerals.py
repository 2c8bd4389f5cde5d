"""Numbers as parts of prose: the text of `derive.formatting` with the reference that it must carry."""

from __future__ import annotations

from typing import Final

from earwitness.derive.formatting import (
    KILOHERTZ_FROM_HZ,
    decimals_for,
    frequency_text,
    number_text,
    value_text,
)
from earwitness.records.sentences import Number, Sentence, say
from earwitness.records.uncertainty import NEGLIGIBLE

#: More hours than these are "a whole day".
A_DAY_H: Final = 24.0


def quantity(value: float, unit: str, reference: str, decimals: int = 1) -> Number:
    """``86.4 dB`` as a number."""
    return Number(value_text(value, unit, decimals), value, reference)


def spread(value: float, unit: str, reference: str, total: float | None = None) -> Number:
    """An uncertainty to the digits that it deserves: ``0.5 dB``.

    A component of a `total` gets at most one decimal more: what vanishes beside it reads ``0.00 dB``.
    """
    wanted = [decimals_for(value)] if value >= NEGLIGIBLE else []
    most = [decimals_for(total) + 1] if total and total >= NEGLIGIBLE else []
    return quantity(value, unit, reference, min([*wanted, *most], default=1))


def frequency(hz: float, reference: str, digits: int = 3) -> Number:
    """``820 Hz``, ``1.2 kHz``."""
    return Number(frequency_text(hz, digits), hz, reference)


def plain(value: float, unit: str, reference: str) -> Number:
    """A number whose uncertainty isn't known: ``280 Hz``, three digits of a frequency, else one decimal."""
    return frequency(value, reference) if unit == "Hz" else quantity(value, unit, reference)


def duration(hours: float, reference: str) -> Number:
    """``5.8 h``, ``47 min``, ``30 s``: two significant digits; the value stays in hours."""
    for unit, an_hour in (("h", 1.0), ("min", 60.0)):
        if hours * an_hour >= 1.0:
            return Number(f"{float(f'{hours * an_hour:.2g}'):g} {unit}", hours, reference)
    return Number(f"{float(f'{hours * 3600.0:.2g}'):g} s", hours, reference)


def hours_a_day(hours: float, reference: str) -> Sentence:
    """``5.8 h a day``; a day and more is ``a whole day``."""
    return say("a whole day") if hours > A_DAY_H else say(duration(hours, reference), " a day")


def measured(value: float, uncertainty: float | None, unit: str, reference: str) -> Sentence:
    """``86.4 ± 0.5 dB``; `reference` is the figure's, without its last steps."""
    return _measured(value, value, uncertainty, unit, reference)


def measured_size(value: float, uncertainty: float | None, unit: str, reference: str) -> Sentence:
    """As `measured`, with the sign left to the words around it: ``falls by 0.59 ± 0.15 dB``."""
    return _measured(value, abs(value), uncertainty, unit, reference)


def lost(value: float, uncertainty: float | None) -> bool:
    """Whether a quantity that can't be negative is lost in its uncertainty as printed: ``50 ± 60 Hz``."""
    if uncertainty is None or not uncertainty >= NEGLIGIBLE:
        return False
    decimals = decimals_for(uncertainty)
    return round(uncertainty, decimals) >= round(value, decimals)


def not_determined(value: float, uncertainty: float, unit: str, reference: str) -> Sentence:
    """``not determined within ± 60 Hz; it reads 50 Hz``, of a quantity that is `lost`."""
    return say(
        "not determined within ± ",
        spread(uncertainty, unit, f"{reference}/uncertainty"),
        "; it reads ",
        quantity(value, unit, f"{reference}/value/value", decimals_for(uncertainty)),
    )


def _measured(value: float, shown: float, uncertainty: float | None, unit: str, reference: str) -> Sentence:
    if uncertainty is None or not uncertainty >= NEGLIGIBLE:
        if unit == "Hz":
            return say(frequency(shown, f"{reference}/value/value"))
        return say(Number(value_text(shown, unit, 1), value, f"{reference}/value/value"))
    scale, symbol = (1000.0, "kHz") if unit == "Hz" and value >= KILOHERTZ_FROM_HZ else (1.0, unit)
    decimals = decimals_for(uncertainty / scale)
    return say(
        Number(number_text(shown / scale, decimals), value, f"{reference}/value/value"),
        " ± ",
        Number(value_text(uncertainty / scale, symbol, decimals), uncertainty, f"{reference}/uncertainty"),
    )
