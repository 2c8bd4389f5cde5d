"""Far-field responses: the gate, and the spectrum of what passes it in each recorded direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival, gating, noise, ringing
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.running import rms_over
from earwitness.measurement.setting import Setting
from earwitness.measurement.stated import floor_arrives_s, require_gate_before_floor
from earwitness.records.errors import NotAvailableError
from earwitness.records.facts import Rig

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: The gate opens so long before the arrival.
LEAD_S: Final = 2e-3
#: The floor's sound begins sooner than the peak of what comes by way of the reference point: it has a rise
#: of its own, and may leave from a lower radiator or a nearer edge.
FLOOR_MARGIN_S: Final = 2.5e-4
#: Reflections that are found so far from where the floor's is due contradict the stated heights.
CONTRADICTED_S: Final = 7.5e-4
SOONER_THAN_STATED: Final = (
    "A reflection was found on axis before the floor's is due by the stated heights: something nearer "
    "reflects, or a height is wrong. The gate ends before it."
)
LATER_THAN_STATED: Final = (
    "No reflection was found on axis where the floor's is due by the stated heights, but one later: check "
    "both heights, unless the floor takes up sound."
)
#: On the ground microphone and mirror image are one: pressure is doubled.
GROUND_PLANE: Final = 0.5
#: Gates of a stated number of cycles are made of gates of lengths in this ratio.
LADDER: Final = 2.0**-0.5
#: A gate that has to end sooner than this leaves nothing to measure.
SHORTEST_GATE_S: Final = 1e-3
#: The uncertainty of the gate is the difference to a gate of this part, over this part of an octave.
SHORTER_GATE: Final = 0.7
GATE_BAND_OCTAVES: Final = 1.0 / 3.0


@dataclass(frozen=True)
class Gate:
    """The one gate of all far-field takes: how long after the arrival it ends, and how that was chosen.

    Where `cycles` are stated it ends after so many of each frequency, if that is sooner. `factor` turns the
    pressure at the microphone into that in free space.
    """

    seconds: float
    notes: tuple[str, ...]
    cycles: float | None = None
    factor: float = 1.0


@dataclass(frozen=True)
class Gated:
    """R gated responses on the grid: Pa per unit of drive at 1 m (R, F), and in time (R, N).

    `gate_db` is the uncertainty of the gate, the greater of what gating again, shorter, shows and of what
    still rings at its end (`acoustics.ringing`); `gate_s` the gate's length.
    """

    pressure: npt.NDArray[np.complex64]
    valid: Bools
    noise_db: Float64s
    gate_db: Float64s
    impulse_response: npt.NDArray[np.float32]
    gate_s: float


@dataclass(frozen=True)
class _Stretch:
    """The parts of R responses about their arrivals, (R, n), and when each begins after its arrival, (R,)."""

    samples: npt.NDArray[np.float32]
    start_s: Float64s
    rate_hz: float

    @property
    def time_s(self) -> Float64s:
        """Times after the arrival, shape (R, n)."""
        return np.asarray(self.start_s[:, None] + np.arange(self.samples.shape[-1]) / self.rate_hz)


def choose_gate(
    rig: Rig,
    distances_m: Float64s,
    on_axis: Sequence[tuple[ImpulseResponse, float]],
    longest_s: float,
    speed_m_s: float,
) -> Gate:
    """One gate for all: as stated, else before the first reflection, by stated heights or found on axis.

    Parameters
    ----------
    on_axis
        On-axis responses with their arrivals in s, in which a reflection is sought.
    longest_s
        How long a gate the kept responses allow.

    Raises
    ------
    CaseError
        The stated gate holds sound by way of the floor.
    NotAvailableError
        The gate would be too short, or nothing tells where it has to end.
    """
    found = [
        arrival.first_reflection_s(r.samples, r.sample_rate_hz, (at - r.start_s) * r.sample_rate_hz)
        for r, at in on_axis
    ]
    reflections = [f for f in found if f is not None]
    if rig.gate_s is not None:
        require_gate_before_floor(rig, distances_m, speed_m_s)
        chosen = _as_stated(rig.gate_s, reflections, longest_s)
    elif (floor_s := floor_arrives_s(rig, distances_m, speed_m_s)) is not None:
        chosen = _by_heights(floor_s, reflections, longest_s)
    else:
        chosen = _by_reflections(reflections, longest_s, bool(on_axis))
    if rig.ground_plane:
        note = "On the ground the floor doubles the pressure, so six decibels are taken off every level."
        chosen = replace(chosen, factor=GROUND_PLANE, notes=(*chosen.notes, note))
    if rig.gate_cycles is not None:
        note = "High frequencies have a shorter gate: as many of their cycles as the case states."
        chosen = replace(chosen, cycles=rig.gate_cycles, notes=(*chosen.notes, note))
    return chosen


def _by_heights(floor_s: float, reflections_s: Sequence[float], longest_s: float) -> Gate:
    """Before the floor's sound is due by the stated heights, or before what was found sooner on axis.

    Where both differ by much one of them is wrong, which is said.
    """
    seconds, notes = min(floor_s - FLOOR_MARGIN_S, longest_s), []
    first_s = min(reflections_s, default=None)
    if first_s is None or first_s >= seconds:
        notes.append("The gate ends before sound by way of the floor arrives.")
    elif first_s >= floor_s - CONTRADICTED_S:
        seconds = first_s
        notes.append("The gate ends before sound by way of the floor arrives, which was found on axis.")
    else:
        seconds = first_s
        notes.append(SOONER_THAN_STATED)
    if first_s is not None and floor_s + CONTRADICTED_S < first_s < longest_s:
        notes.append(LATER_THAN_STATED)
    return _long_enough(seconds, *notes)


def _by_reflections(reflections_s: Sequence[float], longest_s: float, heard: bool) -> Gate:
    if reflections_s:
        seconds = min(*reflections_s, longest_s, longest_s)
        return _long_enough(seconds, "The gate ends before the first reflection that was found on axis.")
    if not heard:
        raise NotAvailableError(
            "the gate can't be chosen: state rig.gate_s or both heights in case.toml, or add an on-axis take"
        )
    return _long_enough(longest_s, "No reflection was found on axis; the gate is as long as what was kept.")


def _as_stated(stated_s: float, reflections_s: Sequence[float], longest_s: float) -> Gate:
    """The stated gate. What looks like a reflection inside it is told, not refused.

    Late sound of the loudspeaker itself, such as from a horn's mouth or a stand, looks alike.
    """
    seconds, notes = stated_s, ["The gate is as the case states it."]
    if stated_s > longest_s:
        seconds, notes = longest_s, ["The stated gate is longer than what was kept, and ends with that."]
    if any(at < seconds for at in reflections_s):
        notes.append(
            "What looks like a reflection inside the stated gate was found on axis; check rig.gate_s, or "
            "state both heights."
        )
    return _long_enough(seconds, *notes)


def _long_enough(seconds: float, *notes: str) -> Gate:
    if seconds < SHORTEST_GATE_S:
        raise NotAvailableError(
            f"a gate of {1e3 * seconds:.2f} ms is too short to measure with; check rig in case.toml"
        )
    return Gate(seconds, notes)


def gate_takes(
    responses: Sequence[ImpulseResponse],
    arrivals_s: Float64s,
    distances_m: Float64s,
    gate: Gate,
    setting: Setting,
) -> Gated:
    """Gated spectra at 1 m, with their validity, noise and gate components.

    Parameters
    ----------
    responses, arrivals_s, distances_m
        R takes: response, arrival (s), distance of the reference point (m).

    Notes
    -----
    Valid from 2/T (a featureless response is within 0.3 dB there, from 3.3/T within 0.1 dB), inside the
    sweep's band and the microphone's calibration, where the signal is 10 dB above the noise as far as that
    can be told.
    """
    frequency_hz = setting.frequency_hz
    pa, known = setting.calibration.pressure_per_full_scale(frequency_hz)
    rate = responses[0].sample_rate_hz
    n = int(np.ceil((LEAD_S + gate.seconds) * rate)) + 1
    first = np.array(
        [round((at - LEAD_S - r.start_s) * rate) for at, r in zip(arrivals_s, responses, strict=True)]
    )
    segments = np.stack([cut(r.samples, k, n) for r, k in zip(responses, first, strict=True)])
    start = np.array([r.start_s for r in responses]) + first / rate - arrivals_s
    stretch = _Stretch(segments, start, rate)
    spectrum, samples = _through(stretch, frequency_hz, gate)
    shorter, _ = _through(stretch, frequency_hz, gate, SHORTER_GATE)
    change_db = 20.0 * np.log10(np.maximum(np.abs(shorter), 1e-30) / np.maximum(np.abs(spectrum), 1e-30))
    rings_db = ringing.uncertainty_db(
        segments,
        start,
        rate,
        gate_s=gate.seconds,
        frequency_hz=frequency_hz,
        spectrum=spectrum,
        length_s=_lengths_s(frequency_hz, gate),
    )
    noise_power = noise_in(responses, frequency_hz) * samples
    power = np.abs(spectrum).astype(np.float64) ** 2
    low = max(float(gating.valid_from_hz(gate.seconds)), *(r.band_hz[0] for r in responses))
    high = min(0.48 * rate, *(r.band_hz[1] for r in responses))
    valid = known & (frequency_hz >= low) & (frequency_hz <= high)
    scale = gate.factor * distances_m[:, None]
    added_db = 0.0 if setting.absorption is None else setting.absorption.added_db * distances_m[:, None]
    window = gating.gate(stretch.time_s, LEAD_S, gate.seconds)
    return Gated(
        pressure=(spectrum * (scale * pa * 10.0 ** (np.asarray(added_db) / 20.0))).astype(np.complex64),
        valid=valid & ~noise.hides(power, noise_power),
        noise_db=noise.level_uncertainty_db(power, noise_power),
        gate_db=np.maximum(rms_over(change_db, GATE_BAND_OCTAVES), rings_db),
        impulse_response=(segments * window * (scale * setting.calibration.pa_per_full_scale)).astype(
            np.float32
        ),
        gate_s=gate.seconds,
    )


def _lengths_s(frequency_hz: Float64s, gate: Gate) -> Float64s:
    """How long the gate is at each frequency, shape (F,)."""
    if gate.cycles is None:
        return np.full(frequency_hz.size, gate.seconds)
    return np.minimum(gate.seconds, gate.cycles / frequency_hz)


def _through(
    stretch: _Stretch, frequency_hz: Float64s, gate: Gate, part: float = 1.0
) -> tuple[npt.NDArray[np.complex64], Float64s]:
    """Spectra of what passes a gate of `part` its length, (R, F), and the sum of its weights squared, (R, F).

    A gate of n cycles is, at each frequency, a mean of the two of a ladder of lengths between which it lies.
    """
    segments, start_s, rate_hz, time = stretch.samples, stretch.start_s, stretch.rate_hz, stretch.time_s
    rung = np.log(_lengths_s(frequency_hz, gate) / gate.seconds) / np.log(LADDER)
    spectrum = np.zeros((len(segments), frequency_hz.size), dtype=np.complex64)
    squared = np.zeros(spectrum.shape)
    for k in range(int(np.ceil(rung.max())) + 1):
        share = np.maximum(1.0 - np.abs(rung - k), 0.0)
        used = share > 0.0
        window = gating.gate(time, LEAD_S, part * gate.seconds * LADDER**k)
        passed = gating.spectra((segments * window).astype(np.float32), rate_hz, frequency_hz[used], start_s)
        spectrum[:, used] += (passed * share[used]).astype(np.complex64)
        squared[:, used] += share[used] * np.sum(window**2, axis=-1)[:, None]
    return _gently(stretch, frequency_hz, part * gate.seconds, spectrum, squared)


def _gently(
    stretch: _Stretch,
    frequency_hz: Float64s,
    gate_s: float,
    spectrum: npt.NDArray[np.complex64],
    squared: Float64s,
) -> tuple[npt.NDArray[np.complex64], Float64s]:
    """Spectra (R, F) and sums of weights squared with the lowest frequencies of a gate that closes gently.

    They are few, so their sums are formed as they stand. Below 1/T nothing is valid, and nothing is changed.
    """
    gentle = gating.gentleness(frequency_hz, gate_s)
    low = np.flatnonzero((gentle > 0.0) & (frequency_hz * gate_s >= 1.0))
    window = gating.gate(stretch.time_s, LEAD_S, gate_s, gating.GENTLE_TAIL_PART)
    turn = -2j * np.pi * frequency_hz[low]
    steps = np.arange(stretch.samples.shape[-1]) / stretch.rate_hz
    passed = (stretch.samples * window).astype(np.float32) @ np.exp(turn * steps[:, None]).astype(
        np.complex64
    )
    passed *= np.exp(turn * stretch.start_s[:, None])
    spectrum[:, low] += (gentle[low] * (passed - spectrum[:, low])).astype(np.complex64)
    squared[:, low] += gentle[low] * (np.sum(window**2, axis=-1)[:, None] - squared[:, low])
    return spectrum, squared


def noise_in(responses: Sequence[ImpulseResponse], frequency_hz: Float64s) -> Float64s:
    """Noise power per sample of each response, shape (R, F), in its own unit squared; NaN where not told."""
    power = np.full((len(responses), frequency_hz.size), np.nan)
    told = [row for row, response in enumerate(responses) if response.noise.size]
    if told:
        shortest = min(responses[row].noise.size for row in told)
        stretches = np.stack([responses[row].noise[-shortest:] for row in told])
        power[told] = noise.power_per_sample(stretches, responses[0].sample_rate_hz, frequency_hz)
    return power


def cut(samples: npt.NDArray[np.float32], first: int, count: int) -> npt.NDArray[np.float32]:
    """`count` samples from `first` on, zeros where there are none."""
    segment = np.zeros(count, dtype=np.float32)
    low, high = max(first, 0), min(first + count, samples.size)
    if low < high:
        segment[low - first : high - first] = samples[low:high]
    return segment
