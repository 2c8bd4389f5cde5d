"""Gates, and the spectra of what passes them."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]
Complex64s = npt.NDArray[np.complex64]

#: A gated response is valid from so many times 1/T, and is accurate from so many. Source: computed on
#: featureless roll-offs, the worst of four: 0.3 dB and 0.1 dB.
VALID_FROM_GATES: Final = 2.0
ACCURATE_FROM_GATES: Final = 3.3
#: The last part of the gate over which it closes as half a Hann window. Computed on second-order roll-offs at
#: 40 to 120 Hz with Q up to 1: within 0.06 dB from 3.3/T; closing over the last quarter, 0.12 dB.
TAIL_PART: Final = 0.4
#: At the lowest frequencies it closes over more of its length: there it is a roll-off's own tail that is cut,
#: and no feature so narrow that it needs the rest. Computed on the usual roll-offs of the second and fourth
#: order with corners up to 1/T: at 2/T within 0.27 dB, where closing over 0.4 is off by 0.42 dB.
GENTLE_TAIL_PART: Final = 0.8
#: From so many times 1/T on it closes as anywhere, up to so many gently.
GENTLE_TO_GATES, PLAIN_FROM_GATES = 3.3, 4.0
#: Zero padding of the transform from which spectra are interpolated, re what is transformed.
PADDING: Final = 16


def gate(time_s: npt.ArrayLike, lead_s: float, gate_s: float, tail_part: float = TAIL_PART) -> Float64s:
    """The gate's weight at times after the arrival, of their shape.

    0 before −`lead_s`, rising as half a Hann window until −`lead_s`/2, 1 until 1 − `tail_part` (0.6) of
    `gate_s`, then falling as half a Hann window to 0 at `gate_s`.
    """
    t = np.asarray(time_s, dtype=np.float64)
    opening = np.clip((t + lead_s) / (0.5 * lead_s), 0.0, 1.0)
    closing = np.clip((gate_s - t) / (tail_part * gate_s), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * opening) ** 2 * np.sin(0.5 * np.pi * closing) ** 2)


def gentleness(frequency_hz: Float64s, gate_s: float) -> Float64s:
    """The share of a spectrum that is of the gate that closes gently, shape (F,): 1 to 3.3/T, 0 from 4/T."""
    low, high = np.log(GENTLE_TO_GATES), np.log(PLAIN_FROM_GATES)
    return np.asarray(np.clip((high - np.log(frequency_hz * gate_s)) / (high - low), 0.0, 1.0))


def valid_from_hz(gate_s: npt.ArrayLike) -> Float64s:
    """The lowest frequency at which a response gated to T is within 0.3 dB: 2/T, of the gates' shape."""
    return np.asarray(VALID_FROM_GATES / np.asarray(gate_s, dtype=np.float64))


def accurate_from_hz(gate_s: npt.ArrayLike) -> Float64s:
    """The lowest frequency at which a response gated to T is within 0.1 dB: 3.3/T, of the gates' shape."""
    return np.asarray(ACCURATE_FROM_GATES / np.asarray(gate_s, dtype=np.float64))


def cut_off(
    poles: npt.NDArray[np.complex128],
    frequency_hz: Float64s,
    gate_s: npt.ArrayLike,
    tail_part: float,
) -> npt.NDArray[np.complex128]:
    """What a gate cuts off e^(p·t), t > 0: ∫(1 − w)·e^((p − jω)·t)dt, in s, shape (P, F).

    With s = p − jω, t₀ where the gate begins to close and β = π/(T − t₀) it is
    −½·(e^(sT) + e^(st₀))·β²/(s·(s² + β²)). `poles` (P,) in rad/s decay; T is a number or has shape (F,).
    """
    length = np.asarray(gate_s, dtype=np.float64)
    closing = tail_part * length
    s = poles[:, None] - 2j * np.pi * frequency_hz
    ends = np.exp(s * length) + np.exp(s * (length - closing))
    turn = (np.pi / closing) ** 2
    return np.asarray(-0.5 * ends * turn / (s * (s**2 + turn)))


def spectra(
    segments: npt.ArrayLike, sample_rate_hz: float, frequency_hz: Float64s, start_s: npt.ArrayLike
) -> Complex64s:
    """Spectra ∫p·e^(−jωt)dt at any frequencies, of shape (..., F), for segments of shape (..., n).

    A transform padded 16-fold, interpolated by cubics: within 0.01 dB of the sum itself. `start_s` (...,) is
    the time of each segment's first sample; time 0 has phase 0. Unit: the segments' own (a sum over samples).
    """
    x = np.asarray(segments)
    length = scipy.fft.next_fast_len(PADDING * x.shape[-1], real=True)
    padded = scipy.fft.rfft(x, length, axis=-1, workers=1)
    position = np.asarray(frequency_hz) * (length / sample_rate_hz)
    first = np.clip(np.floor(position).astype(int) - 1, 0, padded.shape[-1] - 4)
    weights = _cubic_weights(position - first)
    values = sum(weights[k] * padded[..., first + k] for k in range(4))
    turn = np.exp(-2j * np.pi * np.multiply.outer(np.asarray(start_s, dtype=np.float64), frequency_hz))
    return np.asarray(values * turn, dtype=np.complex64)


def _cubic_weights(position: Float64s) -> Float64s:
    """Lagrange's weights of the points 0, 1, 2, 3 at `position`, shape (4, F)."""
    p = position
    return np.stack(
        [
            -(p - 1) * (p - 2) * (p - 3) / 6.0,
            p * (p - 2) * (p - 3) / 2.0,
            -p * (p - 1) * (p - 3) / 2.0,
            p * (p - 1) * (p - 2) / 6.0,
        ]
    )
