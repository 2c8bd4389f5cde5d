"""Time behaviour on axis: delays from the joined response, waveforms and what is left from the gated one.

One take speaks: the first on axis at the reference drive. Impulse, step, energy-time and cumulative decay
come from its gated impulse response and end where the gate begins to close: none of them is the gate's own.
Delays and bursts come from its joined response, so that below the splice they hold the near field.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics import arrival, bursts, decay, gating, phase
from earwitness.derive.directivity import TakePowers
from earwitness.derive.time_terms import ARRIVAL_BAND_HZ, FALL_DB, RISE_S
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Complexes, Floats
from earwitness.records.responses import Origin, Responses
from earwitness.records.time import BurstDecay, CumulativeDecay, Delays, TimeBehaviour, Waveforms

#: Step of the grid in ln f.
LOG_STEP: Final = float(np.log(2.0)) / POINTS_PER_OCTAVE
#: Group delay is the slope of the phase over so many points either way: a twelfth of an octave in all.
DELAY_POINTS: Final = 4
#: Past the band the magnitude runs on as its lowest part does, in octaves; above it stays level.
SLOPE_OCTAVES: Final = 0.5
#: Slopes past the band may differ from what is taken by so many orders: 12 dB to the octave below, 24 above.
SLOPE_LIMITS: Final = (2.0, 4.0)
#: Minimum phase and what exceeds it hold where their delay is uncertain by no more of a period than this.
MOST_PERIODS: Final = 0.1
#: Waveforms begin so long before the arrival, s, and are told at so many times the sample rate.
BEFORE_S: Final = 5e-4
OVERSAMPLING: Final = 4
#: Bursts stand so many grid points apart, twelve to the octave.
BURST_EVERY: Final = 8
#: Peaks of envelopes are looked for so many cycles about the arrival; then they are followed for so many, and
#: kept for the first of these.
SOUGHT_CYCLES: Final = 6.0
SOUGHT_STEP: Final = 0.25
CYCLE_STEP: Final = 0.125
FOLLOWED_CYCLES: Final = 30.0
SHOWN_CYCLES: Final = 10.0
#: So far apart stand the moments of the cumulative decay, s, and its frequencies, points.
MOMENT_S: Final = 1e-4
CUMULATIVE_EVERY: Final = 4


Indices = npt.NDArray[np.intp]


def time_behaviour(responses: Responses, row: int) -> TimeBehaviour:
    """Time behaviour of one row, which has a phase."""
    inside = _longest(np.asarray(responses.valid[row]) & (np.abs(responses.pressure[row]) > 0))
    gate_s = float(responses.gate_s[row])
    closes_s = gate_s * (1.0 - gating.TAIL_PART)
    frequency = np.asarray(responses.frequency_hz, dtype=np.float64)
    origin = np.where(responses.valid[row], responses.origin[row], Origin.NOTHING)
    near, far = origin == Origin.NEAR_FIELD, origin == Origin.GATED
    gated = gate_s > 0.0 and bool(np.any(responses.impulse_response[row]))
    return TimeBehaviour(
        takes=(responses.takes[row].id, *responses.near_field_takes[row]),
        gate_s=gate_s,
        closes_s=closes_s,
        near_field_to_hz=float(frequency[near][-1]) if near.any() else 0.0,
        gated_from_hz=float(frequency[far][0]) if far.any() else 0.0,
        delays=_delays(responses, row, inside),
        waveforms=_waveforms(responses, row, closes_s) if gated else None,
        bursts=_bursts(responses, row, inside, closes_s) if gated else None,
        cumulative=_cumulative(responses, row, closes_s) if gated else None,
    )


def spokesman(responses: Responses, takes: TakePowers) -> int | None:
    """The row of the first valid take on axis at the reference drive; None where none has a phase."""
    for row in takes.rows:
        direction = responses.takes[row].key.direction
        on_axis = direction is not None and direction.angle_deg == 0.0
        if on_axis and responses.has_phase[row] and responses.valid[row].any():
            return row
    return None


def _longest(valid: Bools) -> slice:
    """The longest unbroken stretch of points."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], valid, [False])).astype(np.int8)))
    if edges.size == 0:
        return slice(0, 0)
    starts, stops = edges[::2], edges[1::2]
    best = int(np.argmax(stops - starts))
    return slice(int(starts[best]), int(stops[best]))


def _delays(responses: Responses, row: int, inside: slice) -> Delays | None:
    """Delays over the stretch `inside`; None where it doesn't hold the arrival's band."""
    frequency = np.asarray(responses.frequency_hz, dtype=np.float64)
    band = _points(frequency, ARRIVAL_BAND_HZ)
    octaves = (inside.stop - inside.start) / POINTS_PER_OCTAVE
    if octaves < 1.0 or not inside.start <= band.start < band.stop <= inside.stop:
        return None
    within = frequency[inside]
    pressure = np.asarray(responses.pressure[row], dtype=np.complex128)[inside]
    log_magnitude = np.log(np.abs(pressure))
    below = _lowest_slope(log_magnitude)
    minimum = phase.minimum_phase(log_magnitude, LOG_STEP, below, 0.0)
    excess = np.unwrap(np.angle(pressure * np.exp(-1j * minimum)))
    late = slice(band.start - inside.start, band.stop - inside.start)
    delay = phase.group_delay_s(excess, within, DELAY_POINTS)
    arrival_s = float(np.nanmean(delay[late]))
    remaining = excess + 2.0 * np.pi * within * arrival_s
    remaining -= 2.0 * np.pi * np.round(remaining[late].mean() / (2.0 * np.pi))
    lowest = phase.group_delay_s(minimum, within, DELAY_POINTS)
    limits = (
        limit * phase.slope_error_s(within, edge)
        for limit, edge in zip(SLOPE_LIMITS, (within[0], within[-1]), strict=True)
    )
    # Of a slope that is off, what acts as one delay is taken off with the arrival.
    spread = [np.abs(error - error[late][np.isfinite(error[late])].mean()) / np.sqrt(3.0) for error in limits]
    uncertainty = np.hypot(*spread)
    known = np.isfinite(delay)
    told = known & (uncertainty * within <= MOST_PERIODS)

    def whole(values: Floats, where: Bools) -> Floats:
        filled = np.full(frequency.shape, np.nan)
        filled[inside] = np.where(where, values, np.nan)
        return filled

    return Delays(
        group_s=whole(lowest + delay - arrival_s, known),
        minimum_s=whole(lowest, told),
        excess_s=whole(delay - arrival_s, told),
        excess_uncertainty_s=whole(uncertainty, told),
        excess_phase_deg=whole(np.rad2deg(remaining), told),
        slope_below=below,
        slope_above=0.0,
    )


def _points(frequency_hz: Floats, band_hz: tuple[float, float]) -> slice:
    first, last = np.searchsorted(frequency_hz, band_hz)
    return slice(int(first), int(last))


def _lowest_slope(log_magnitude: Floats) -> float:
    """Slope d ln|H|/d ln f of the straight line through the lowest half octave."""
    points = round(SLOPE_OCTAVES * POINTS_PER_OCTAVE)
    slope, _ = np.polyfit(np.arange(points) * LOG_STEP, log_magnitude[:points], 1)
    return float(slope)


def _waveforms(responses: Responses, row: int, closes_s: float) -> Waveforms:
    """From shortly before the arrival until the gate begins to close, between the samples too."""
    rate = OVERSAMPLING * float(responses.sample_rate_hz[row])
    kept = np.asarray(responses.impulse_response[row], dtype=np.float64)
    response = scipy.fft.irfft(scipy.fft.rfft(kept), OVERSAMPLING * kept.size) * OVERSAMPLING
    time = np.arange(response.size) / rate - responses.lead_s
    shown = (time >= -BEFORE_S) & (time <= closes_s)
    step = np.cumsum(response)
    within = responses.frequency_hz[np.asarray(responses.valid[row])]
    low = max(float(within[0]), float(gating.valid_from_hz(responses.gate_s[row])))
    high = float(within[-1])
    # The envelope's band has soft edges, an octave below and half an octave above, inside what is valid.
    click = np.zeros(response.size)
    click[np.argmax(np.abs(response))] = 1.0
    both = arrival.envelope(np.stack([response, click]), rate, (2.0 * low, high / np.sqrt(2.0)))
    energy_db = 20.0 * np.log10(np.maximum(both / both.max(axis=-1, keepdims=True), 1e-6))
    energy_db[1] = np.roll(energy_db[1], np.argmax(both[0]) - np.argmax(both[1]))
    return Waveforms(
        time_s=time[shown],
        impulse=response[shown] / np.abs(response[shown]).max(),
        step=step[shown] / np.abs(step[shown]).max(),
        energy_db=energy_db[0, shown],
        click_db=energy_db[1, shown],
        band_hz=(low, high),
    )


def burst_levels_db(pressure: Complexes, centres: Indices) -> tuple[Floats, Floats]:
    """Envelopes of bursts, dB re their peaks, (..., B, C), and when these come, in cycles (..., B).

    `pressure` has shape (..., F); `centres` (B,) are grid points.
    """
    sought = np.arange(-SOUGHT_CYCLES, SOUGHT_CYCLES + SOUGHT_STEP / 2, SOUGHT_STEP)
    about = bursts.burst_response(pressure, centres, POINTS_PER_OCTAVE, sought)
    peak = sought[0] + SOUGHT_STEP * bursts.envelope_peak(np.abs(about))
    envelope = np.abs(bursts.burst_response(pressure, centres, POINTS_PER_OCTAVE, followed_cycles(), peak))
    return 20.0 * np.log10(envelope / envelope[..., :1]), peak


def followed_cycles() -> Floats:
    """The times after the peak, in cycles, at which envelopes are worked out."""
    return np.arange(round(FOLLOWED_CYCLES / CYCLE_STEP) + 1) * CYCLE_STEP


def _bursts(responses: Responses, row: int, inside: slice, closes_s: float) -> BurstDecay | None:
    below, above = bursts.burst_reach(POINTS_PER_OCTAVE)
    centres = np.arange(inside.start + below, inside.stop - above, BURST_EVERY)
    if centres.size == 0:
        return None
    frequency = np.asarray(responses.frequency_hz, dtype=np.float64)
    level, peak = burst_levels_db(np.asarray(responses.pressure[row], dtype=np.complex128), centres)
    near = np.asarray(responses.origin[row]) == Origin.NEAR_FIELD
    alone = np.array([near[c - below : c + above + 1].all() for c in centres])
    # A near field that is valid from f was heard for as long at least as a gate that is.
    near_s = gating.VALID_FROM_GATES / frequency[inside.start] * (1.0 - gating.TAIL_PART)
    heard_s = np.where(alone, near_s, closes_s)
    end = np.clip(frequency[centres] * heard_s - bursts.BURST_CYCLES - peak, 0.0, FOLLOWED_CYCLES)
    heard = followed_cycles() <= end[:, None]
    kept = round(SHOWN_CYCLES / CYCLE_STEP) + 1
    return BurstDecay(
        frequency_hz=frequency[centres],
        cycles=followed_cycles()[:kept],
        envelope_db=np.where(heard, level, np.nan)[:, :kept],
        fall_cycles=bursts.last_above(level, heard, FALL_DB, CYCLE_STEP),
        end_cycles=end,
        near_field_to_hz=float(frequency[centres[alone]][-1]) if alone.any() else 0.0,
    )


def _cumulative(responses: Responses, row: int, closes_s: float) -> CumulativeDecay:
    rate, gate_s = float(responses.sample_rate_hz[row]), float(responses.gate_s[row])
    valid = np.asarray(responses.valid[row])
    low = float(gating.valid_from_hz(gate_s))
    kept = np.flatnonzero(valid & (responses.frequency_hz >= low))[::CUMULATIVE_EVERY]
    frequency = np.asarray(responses.frequency_hz, dtype=np.float64)[kept]
    moments = np.arange(0.0, closes_s, MOMENT_S)
    starts = np.concatenate(([-responses.lead_s], moments))
    level = decay.cumulative_spectra(
        responses.impulse_response[row],
        rate,
        frequency,
        start_s=-responses.lead_s,
        moments_s=starts,
        rise_s=RISE_S,
    )
    relative = 20.0 * np.log10(np.maximum(level[1:], 1e-30) / np.maximum(level[0], 1e-30))
    resolved = frequency >= gating.valid_from_hz(gate_s - moments)[:, None]
    return CumulativeDecay(frequency, moments, np.where(resolved, relative, np.nan))
