"""How numbers are printed: as many digits as their uncertainty allows, and − for minus."""

from __future__ import annotations

from math import floor, log10

#: Frequencies from here up are printed in kHz.
KILOHERTZ_FROM_HZ = 1000.0


def decimals_for(uncertainty: float) -> int:
    """Decimals to which a value is printed: its uncertainty to one digit, or two where the first is a one.

    Negative where tens or hundreds are the last digit that means something. Worked numbers: 0.5 → 1,
    0.14 → 2, 3 → 0, 14 → 0, 30 → −1.
    """
    exponent = floor(log10(uncertainty))
    leading = round(uncertainty / 10.0**exponent, 6)
    if round(leading) == 10:
        exponent, leading = exponent + 1, 1.0
    return -exponent + (1 if leading < 1.95 else 0)


def number_text(value: float, decimals: int, signed: bool = False) -> str:
    """A number with − for minus; `signed` writes + before a positive one. −0.0 is printed 0.0."""
    rounded = round(value, decimals)
    text = f"{abs(rounded):.{max(decimals, 0)}f}"
    if float(text) == 0.0:
        return text
    return f"{'−' if rounded < 0 else '+' if signed else ''}{text}"


def value_text(value: float, unit: str, decimals: int, signed: bool = False) -> str:
    """A number and its unit: ``86.4 dB``, ``48°``."""
    return f"{number_text(value, decimals, signed)}{_joined(unit)}"


def frequency_text(frequency_hz: float, digits: int = 2) -> str:
    """A frequency to so many significant digits: ``47 Hz``, ``1.2 kHz``, ``9 kHz``, ``16 kHz``."""
    rounded = float(f"{frequency_hz:.{digits - 1}e}")
    if rounded >= KILOHERTZ_FROM_HZ:
        return f"{rounded / 1000.0:g} kHz"
    return f"{rounded:g} Hz"


def angle_text(angle_deg: float) -> str:
    """An angle in whole degrees: ``48°``."""
    return f"{number_text(angle_deg, 0)}°"


def _joined(unit: str) -> str:
    return unit if unit in ("", "°") else f" {unit}"
