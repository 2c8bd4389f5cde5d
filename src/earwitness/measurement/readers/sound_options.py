"""What the case may state of an impulse response, whatever kind of file it is in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.options import number, truth
from earwitness.records.errors import ReadError

PA_PER_UNIT: Final = "pa_per_unit"
IMPULSE_RESPONSE: Final = "impulse_response"
#: What the case states of a sweep: where it begins and ends outside its fades, and its rate L.
SWEEP_FROM: Final = "sweep_from_hz"
SWEEP_TO: Final = "sweep_to_hz"
SWEEP_RATE: Final = "sweep_rate_s"
_POSSIBLE_PA: Final = (1e-12, 1e9)
_POSSIBLE_HZ: Final = (0.1, 400_000.0)
_POSSIBLE_RATES_S: Final = (1e-4, 3600.0)


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


@dataclass(frozen=True, slots=True)
class StatedSweep:
    """A sweep as the case states it: the band that it fills outside its fades, and its rate L in s."""

    band_hz: tuple[float, float]
    rate_s: float


def stated_sweep(source: Source) -> StatedSweep | None:
    """What is stated of the sweep in a stimulus; None where nothing is.

    Raises
    ------
    ReadError
        One of the three is missing or can't be, or the band doesn't rise.
    """
    remedy = "state all three of the sweep, as in its sidecar, or leave them out"
    low = number(source, SWEEP_FROM, *_POSSIBLE_HZ, remedy)
    high = number(source, SWEEP_TO, *_POSSIBLE_HZ, remedy)
    rate = number(source, SWEEP_RATE, *_POSSIBLE_RATES_S, remedy)
    if low is None and high is None and rate is None:
        return None
    for key, value in ((SWEEP_FROM, low), (SWEEP_TO, high), (SWEEP_RATE, rate)):
        if value is None:
            raise ReadError(
                source.name, "isn't stated, where the rest of the sweep is", remedy, f"read.{key}"
            )
    if low is None or high is None or rate is None or low >= high:
        raise ReadError(source.name, f"isn't above {SWEEP_FROM}", remedy, f"read.{SWEEP_TO}")
    return StatedSweep((low, high), rate)


def require_possible(source: Source) -> None:
    """Refuse a file of sound of which something is stated that can't be.

    Raises
    ------
    ReadError
        As `pa_per_unit`, `is_impulse_response` and `stated_sweep`.
    """
    pa_per_unit(source)
    is_impulse_response(source)
    stated_sweep(source)
