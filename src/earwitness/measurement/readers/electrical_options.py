"""What the case may state of a recording of voltage and current."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.options import number, truth

VOLTAGE: Final = "voltage"
CURRENT: Final = "current"
SENSE_OHM: Final = "sense_ohm"
KNOWN_OHM: Final = "known_ohm"
VOLTAGE_FULL_SCALE: Final = "voltage_full_scale_v"
CURRENT_FULL_SCALE: Final = "current_full_scale_v"
OVER_BOTH: Final = "voltage_over_both"

OPTIONS: Final[Mapping[str, str]] = {
    VOLTAGE: "for an impedance: the channel of the voltage at the loudspeaker's terminals",
    CURRENT: "for an impedance: the channel of the voltage over the resistor in series",
    SENSE_OHM: "for an impedance: the ohms of the resistor in series",
    VOLTAGE_FULL_SCALE: "for an impedance: the peak volts that fill the channel of the voltage",
    CURRENT_FULL_SCALE: "for an impedance: the peak volts over the resistor that fill its channel",
    OVER_BOTH: "for an impedance: true where the voltage is that over loudspeaker and resistor together",
    KNOWN_OHM: "for a take of kind resistor: the ohms of the resistor in the loudspeaker's place",
}
_POSSIBLE_OHMS: Final = (1e-4, 1e5)
_POSSIBLE_VOLTS: Final = (1e-6, 1e5)


def ohms(source: Source, option: str) -> float | None:
    """Ohms that are stated under `option`; None where none are.

    Raises
    ------
    ReadError
        They can't be.
    """
    return number(source, option, *_POSSIBLE_OHMS, "write the ohms, such as 0.1")


def volts(source: Source, option: str) -> float | None:
    """Volts that are stated under `option`; None where none are.

    Raises
    ------
    ReadError
        They can't be.
    """
    return number(source, option, *_POSSIBLE_VOLTS, "write the peak volts that fill the channel")


def over_both(source: Source) -> bool:
    """Whether the voltage is that over loudspeaker and resistor together.

    Raises
    ------
    ReadError
        It is stated neither true nor false.
    """
    return truth(source, OVER_BOTH)
