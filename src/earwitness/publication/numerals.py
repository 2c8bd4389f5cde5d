"""Numbers as parts of prose."""

from __future__ import annotations

import math

from earwitness.records.sentences import Number, Sentence, say

#: Units that stand against their number.
_CLOSE = {"°"}


def decimals_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty with one significant digit (two where it begins with a one)."""
    if not uncertainty > 0:
        return 1
    exponent = math.floor(math.log10(uncertainty))
    leading = uncertainty / 10.0**exponent
    return max(0, -exponent + (1 if leading < 1.95 else 0))


def fixed(value: float, decimals: int) -> str:
    """``−2.2``."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


def with_unit(text: str, unit: str) -> str:
    """``86.4 dB``, ``48°``."""
    return text + unit if unit in _CLOSE else f"{text}\u00a0{unit}"


def quantity(value: float, unit: str, reference: str, decimals: int = 1) -> Number:
    """``86.4 dB`` as a number."""
    return Number(with_unit(fixed(value, decimals), unit), value, reference)


def frequency(hz: float, reference: str) -> Number:
    """``820 Hz``, ``1.2 kHz``: three significant digits."""
    scaled, unit = (hz, "Hz") if hz < 999.5 else (hz / 1000.0, "kHz")
    return Number(f"{float(f'{scaled:.3g}'):g}\u00a0{unit}", hz, reference)


def duration(hours: float, reference: str) -> Number:
    """``5.8 h``, ``47 min``, ``30 s``."""
    if hours >= 1.0:
        return Number(f"{hours:.2g}\u00a0h", hours, reference)
    if hours >= 1.0 / 60.0:
        return Number(f"{hours * 60.0:.2g}\u00a0min", hours, reference)
    return Number(f"{hours * 3600.0:.2g}\u00a0s", hours, reference)


def measured(value: float, uncertainty: float | None, unit: str, reference: str) -> Sentence:
    """``86.4 ± 0.5 dB``; `reference` is the figure's, without its last steps."""
    if uncertainty is None:
        return say(quantity(value, unit, f"{reference}/value/value"))
    decimals = decimals_for(uncertainty)
    return say(
        Number(fixed(value, decimals), value, f"{reference}/value/value"),
        " ± ",
        quantity(uncertainty, unit, f"{reference}/uncertainty", decimals),
    )
