"""How a loudspeaker behaves in time, on axis."""

from __future__ import annotations

from dataclasses import dataclass

from earwitness.records.grid import Floats
from earwitness.records.takes import TakeId


@dataclass(frozen=True)
class Delays:
    """Delay over frequency; every array has shape (F,), NaN where it isn't valid.

    Attributes
    ----------
    group_s
        Group delay re the mean of the excess group delay in the reference band, where it is zero.
    minimum_s
        What the magnitude alone demands: that of the minimum-phase system of the same magnitude.
    excess_s
        The first less the second.
    excess_uncertainty_s
        One standard uncertainty of `minimum_s` and so of `excess_s`, from what the magnitude may do past the
        band.
    excess_phase_deg
        Phase less minimum phase, without the delay that is taken off.
    slope_below, slope_above
        d ln|H|/d ln f that the magnitude is taken to have past the valid band.
    """

    group_s: Floats
    minimum_s: Floats
    excess_s: Floats
    excess_uncertainty_s: Floats
    excess_phase_deg: Floats
    slope_below: float
    slope_above: float


@dataclass(frozen=True)
class Waveforms:
    """Until the gate begins to close, shape (N,) each, re the largest magnitude of its own.

    `time_s` counts from the arrival. Impulse and step hold the whole band of the measurement; the energy-time
    curve, in dB, holds `band_hz` alone. `click_db` is what that band makes of a perfect click at the same
    peak: nothing below it can be told apart from the band.
    """

    time_s: Floats
    impulse: Floats
    step: Floats
    energy_db: Floats
    click_db: Floats
    band_hz: tuple[float, float]


@dataclass(frozen=True)
class BurstDecay:
    """Envelopes of shaped tone bursts, dB re their own peak.

    `envelope_db` has shape (B, C) over `frequency_hz` (B,) and `cycles` (C,) after the peak, NaN where the
    measurement has ended. `fall_cycles` (B,) is the time after which an envelope stays below the threshold,
    NaN where the measurement ends before; `end_cycles` (B,) is where it ends. Up to `near_field_to_hz` the
    bursts hold the near field alone (0: there is none).
    """

    frequency_hz: Floats
    cycles: Floats
    envelope_db: Floats
    fall_cycles: Floats
    end_cycles: Floats
    near_field_to_hz: float


@dataclass(frozen=True)
class CumulativeDecay:
    """Level of what is left after a moment, dB re the whole, shape (K, F') over `time_s` and `frequency_hz`.

    NaN where too little of the gate is left for the frequency.
    """

    frequency_hz: Floats
    time_s: Floats
    level_db: Floats


@dataclass(frozen=True)
class TimeBehaviour:
    """All of it, of one take on axis; None for what that take can't tell.

    `takes` are the take and the near-field takes that were spliced into it. `gate_s` is the end of its gate
    after the arrival, `closes_s` where it begins to close; 0 where there was none. The joined response is the
    near field up to `near_field_to_hz` (0: there is none) and gated from `gated_from_hz` (0: it isn't) on.
    """

    takes: tuple[TakeId, ...]
    gate_s: float
    closes_s: float
    near_field_to_hz: float = 0.0
    gated_from_hz: float = 0.0
    delays: Delays | None = None
    waveforms: Waveforms | None = None
    bursts: BurstDecay | None = None
    cumulative: CumulativeDecay | None = None
