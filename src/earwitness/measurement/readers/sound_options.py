"""What the case may state of an impulse response, whatever kind of file it is in."""

from __future__ import annotations

from typing import Final

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.options import number, truth

PA_PER_UNIT: Final = "pa_per_unit"
IMPULSE_RESPONSE: Final = "impulse_response"
_POSSIBLE_PA: Final = (1e-12, 1e9)


def pa_per_unit(source: Source) -> float | None:
    """The pascals that a sample of 1 stands for; None where they aren't stated.

    Raises
    ------
    ReadError
        They are no pressure.
    """
    return number(source, PA_PER_UNIT, *_POSSIBLE_PA, "write the pascals that a sample of 1 stands for")


def is_impulse_response(source: Source) -> bool:
    """Whether a near field is stated to be an impulse response and no recording of a sweep.

    Raises
    ------
    ReadError
        It is stated neither true nor false.
    """
    return truth(source, IMPULSE_RESPONSE)


def require_possible(source: Source) -> None:
    """Refuse a file of sound of which something is stated that can't be.

    Raises
    ------
    ReadError
        As `pa_per_unit` and `is_impulse_response`.
    """
    pa_per_unit(source)
    is_impulse_response(source)
