"""Whether clock and air are what they were taken for: the pace of sweeps, and the flight's whole time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics import arrival
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.responses import Responses
from earwitness.records.takes import Take, TakeId

Float64s = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: The treble, where a loudspeaker's own delay hardly changes: the pace is told here, and when sound arrives.
TREBLE_HZ: Final = (4_000.0, 16_000.0)
#: Takes so near to the axis tell the pace.
FRONT_DEG: Final = 30.0
#: Slopes that are tried, s for a factor e in frequency; the step of a first look, far finer than the 0.14 ms
#: over which phases of this band part by a quarter of a turn, and that about its greatest.
SLOPES_S: Final = 6e-4
FIRST_STEP_S: Final = 24e-6
STEP_S: Final = 4e-6
#: Frequencies at which phases are compared, and times at which they are gathered.
SPACING_HZ: Final = 100.0
TIMES: Final = 2048
#: Before and after its place by geometry direct sound is sought.
WINDOW_S: Final = (1e-3, 1.5e-3)


def slopes_s(responses: Responses, rows: Sequence[int]) -> Float64s:
    """How much later sound arrives for each factor e in frequency, in the treble, shape (R,); NaN untold.

    A sweep that was recorded by a clock which is fast by ε leaves f later by ε·L·ln f, L being the sweep's
    rate: taking that off gathers the response. The slope that gathers phases most is the take's. Worked
    number: 200 parts in a million of a sweep of L = 0.4 s are 80 µs. Source: Novak, Lotton and Simon, JAES 63
    (2015) 786, for the sweep's law; the rest is closed form.
    """
    f = np.arange(*TREBLE_HZ, SPACING_HZ)
    # the phase of a delay of ln(f/f0), whose integral over f it is, taken off
    turn = 2.0 * np.pi * f * (np.log(f / TREBLE_HZ[0]) - 1.0)
    grid = np.asarray(responses.frequency_hz)
    held = (grid >= TREBLE_HZ[0]) & (grid <= TREBLE_HZ[1])
    found = np.full(len(rows), np.nan)
    for place, row in enumerate(rows):
        if responses.has_phase[row] and responses.valid[row, held].all():
            phase = np.unwrap(np.angle(np.asarray(responses.pressure[row, held])))
            told = np.exp(1j * np.interp(f, grid[held], phase)) * np.hanning(f.size)
            first = _gathering_s(told, turn, 0.0, SLOPES_S, FIRST_STEP_S)
            found[place] = _gathering_s(told, turn, first, FIRST_STEP_S, STEP_S)
    return found


def _gathering_s(told: Complexes, turn: Float64s, middle_s: float, reach_s: float, step_s: float) -> float:
    """Of slopes about a middle one the one that gathers the phases (K,) most at one time."""
    slopes = middle_s + step_s * np.arange(-round(reach_s / step_s), round(reach_s / step_s) + 1)
    turned = (told * np.exp(1j * np.outer(slopes, turn))).astype(np.complex64)
    gathered = np.abs(scipy.fft.ifft(turned, TIMES, axis=-1, workers=1)).max(axis=-1)
    return float(slopes[int(np.argmax(gathered))])


def late_in_treble_s(
    takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse], due_s: float
) -> Float64s:
    """By how much treble arrives later than `due_s` after its loopback in takes (R,); NaN untold."""
    found = np.full(len(takes), np.nan)
    for place, take in enumerate(takes):
        response = impulse_responses[take.id]
        rate = response.sample_rate_hz
        envelope = arrival.envelope(response.samples, rate, TREBLE_HZ)
        low, high = (
            int(np.clip((due_s + t - response.start_s) * rate, 0, envelope.size))
            for t in (-WINDOW_S[0], WINDOW_S[1])
        )
        if low < high and int(np.argmax(envelope)) in range(low, high):
            found[place] = response.start_s + arrival.peak_position(envelope, low, high) / rate - due_s
    return found
