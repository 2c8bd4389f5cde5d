"""Electrical impedance: as it was measured, and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from earwitness.records.grid import Bools, Complexes, Floats
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName


@dataclass(frozen=True)
class MeasuredImpedance:
    """Impedance at the terminals on the derived grid.

    Attributes
    ----------
    takes
        The takes that it rests on: those of the loudspeaker, then those of a known resistor.
    drive
        At which it was measured, in words; empty where that isn't stated.
    ohms
        Shape (F,), complex. Where `has_phase` is False the imaginary part is zero and means nothing.
    valid
        Shape (F,).
    noise_ohm
        Shape (F,): one standard uncertainty of the magnitude, from noise; NaN where it can't be told.
    repeat_ohm
        Shape (F,): the same of the mean of repeats; None where there is one take.
    known_resistor
        Whether a known resistor, measured alike, sets the scale.
    """

    takes: tuple[TakeId, ...]
    drive: str
    ohms: Complexes
    valid: Bools
    has_phase: bool
    noise_ohm: Floats
    repeat_ohm: Floats | None = None
    known_resistor: bool = False


@dataclass(frozen=True, slots=True)
class Extreme:
    """A local minimum or maximum of the magnitude, with standard uncertainties of what is stated.

    `phase_deg` is None where no phase was measured.
    """

    frequency_hz: float
    frequency_uncertainty_hz: float | None
    ohms: float
    phase_deg: float | None
    uncertainty_ohm: float | None


@dataclass(frozen=True, slots=True)
class BoxFit:
    """A driver in its box, as its impedance at low frequencies shows it.

    Attributes
    ----------
    kind
        ``sealed`` has one peak, ``vented`` two.
    resonance_hz
        Of a driver in a sealed box; of the driver as mounted, without the box's spring, in a vented one.
    tuning_hz
        Of a vented box; None for a sealed one.
    resistance_ohm
        Everything in series with the coil's motion: coil, crossover, cable.
    q_mechanical, q_electrical, q_total
        At `resonance_hz`; electrical and total with the whole `resistance_ohm` and no amplifier's. What a
        sealed box loses by its leak is in the total alone.
    compliance_ratio
        The driver's compliance re the box's; None for a sealed box, where it can't be told.
    residual
        What the fit leaves, root mean square, re the magnitude.
    uncertainty
        One standard uncertainty of each fitted value that has one, by field, from the fit's own residual.
    """

    kind: Literal["sealed", "vented"]
    resonance_hz: float
    tuning_hz: float | None
    resistance_ohm: float
    q_mechanical: float
    q_electrical: float
    q_total: float
    compliance_ratio: float | None
    residual: float
    band_hz: tuple[float, float]
    uncertainty: dict[str, float]


@dataclass(frozen=True, slots=True)
class Wrinkle:
    """A narrow resonance that shows in the impedance, over what varies slowly about it.

    `height` is its greatest magnitude re the impedance there, `uncertainty` the standard one of that.
    """

    frequency_hz: float
    q: float
    height: float
    uncertainty: float


@dataclass(frozen=True)
class Impedance:
    """What is drawn and said.

    Attributes
    ----------
    takes, drive, known_resistor
        As those of `MeasuredImpedance`.
    magnitude_ohm, phase_deg
        Shape (F,) each, NaN where they aren't valid or known.
    uncertainty_ohm
        Shape (F,): one standard uncertainty of the magnitude, of what is stated; NaN where nothing is.
    load_ohm
        Shape (F,): the resistor that heats an ideal class-B amplifier as much at the worst moment.
    components_ohm
        The parts of the uncertainty, each of shape (F,); None for one that isn't stated.
    minima, maxima, wrinkles
        In the order of frequency.
    box
        None where neither a sealed box nor a vented one lies near enough.
    """

    takes: tuple[TakeId, ...]
    drive: str
    known_resistor: bool
    magnitude_ohm: Floats
    phase_deg: Floats
    uncertainty_ohm: Floats
    load_ohm: Floats
    components_ohm: Mapping[ComponentName, Floats | None]
    minima: tuple[Extreme, ...]
    maxima: tuple[Extreme, ...]
    wrinkles: tuple[Wrinkle, ...]
    box: BoxFit | None = None
