"""Second-order peaks, dips and shelves, and what a gate leaves of them.

H(s) = (s² + g s ω₀/Q + ω₀²)/(s² + s ω₀/Q + ω₀²) has the height g at f₀. Its half-gain width in octaves is
(2/ln 2)·asinh(√g/(2Q)) (derived from |H|² = g; checked with 3 dB, Q 10: 0.17136 octave). As an impulse and
a damped oscillation it passes a gate in closed form: H_T = 1 + (g − 1)·∫ w(t) r(t) e^(−jωt) dt with w the
gate of `gating.gate` after the arrival and r the impulse response of (s ω₀/Q)/(s² + s ω₀/Q + ω₀²).

A shelf that rises by A² from low to high frequencies is A·(A s² + s √A/Q + 1)/(s² + s √A/Q + A), s re ω₀:
A² is reached far above, A at ω₀, and turned over it is its own inverse (common practice; checked by putting
in s = 0, j, ∞). Its poles may be real; a gate takes from it as from a section.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.gating import TAIL_PART

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]


def width_octaves(gain_db: npt.ArrayLike, q: npt.ArrayLike) -> Float64s:
    """Octaves between the frequencies at which half of the gain in dB is left, of any shapes."""
    root = 10.0 ** (np.asarray(gain_db, dtype=np.float64) / 40.0)
    return np.asarray(2.0 / np.log(2.0) * np.arcsinh(root / (2.0 * np.asarray(q, dtype=np.float64))))


def q_of_width(gain_db: npt.ArrayLike, octaves: npt.ArrayLike) -> Float64s:
    """The Q that has this half-gain width, dB and octaves of any shapes: `width_octaves` turned round."""
    root = 10.0 ** (np.asarray(gain_db, dtype=np.float64) / 40.0)
    return np.asarray(root / (2.0 * np.sinh(0.5 * np.log(2.0) * np.asarray(octaves, dtype=np.float64))))


def gated_sections(
    frequency_hz: Float64s, centre_hz: Float64s, gain_db: Float64s, q: Float64s, gate_s: float
) -> Complex128s:
    """Complex responses (K, F) of K sections after a gate of `gate_s`; without a gate where that is infinite.

    Parameters
    ----------
    centre_hz, gain_db, q
        Shape (K,); every Q above 0.5, so that the poles are a pair.

    Raises
    ------
    ValueError
        A Q of 0.5 or less.
    """
    if np.any(q <= 0.5):
        raise ValueError("a section that doesn't oscillate has no pair of poles: Q must be above 0.5")
    omega0, gain = 2.0 * np.pi * centre_hz, 10.0 ** (gain_db / 20.0)
    pole = omega0 * (-0.5 / q + 1j * np.sqrt(1.0 - 0.25 / q**2))
    residue = omega0 / q * pole / (pole - pole.conj())
    turn = 2j * np.pi * frequency_hz
    passed = residue[:, None] * _gated_exponential(pole[:, None] - turn, gate_s)
    passed += residue.conj()[:, None] * _gated_exponential(pole.conj()[:, None] - turn, gate_s)
    return np.asarray(1.0 + (gain[:, None] - 1.0) * passed)


def gated_shelves(
    frequency_hz: Float64s, centre_hz: Float64s, gain_db: Float64s, q: Float64s, gate_s: float
) -> Complex128s:
    """Complex responses (K, F) of K shelves after a gate of `gate_s`, 1 far below their centres.

    Parameters
    ----------
    centre_hz, gain_db, q
        Shape (K,); half of the decibels are reached at the centre. No Q is 0.5 itself, where poles meet.

    Raises
    ------
    ValueError
        A Q of 0.5.
    """
    if np.any(np.abs(q - 0.5) < 1e-6):
        raise ValueError("the two poles of a shelf with a Q of 0.5 are one: take another Q")
    root = (10.0 ** (gain_db / 40.0)).astype(np.complex128)
    half, swing = np.sqrt(root) / (2.0 * q), np.sqrt(root / (4.0 * q**2) - root)
    poles = np.stack([-half + swing, -half - swing])
    slope, constant = 2.0 * half * root * (1.0 - root), root - root**3
    residues = (slope * poles + constant) / np.stack([2.0 * swing, -2.0 * swing])
    omega0, turn = 2.0 * np.pi * centre_hz, 2j * np.pi * frequency_hz
    passed = root[:, None] ** 2 + np.zeros(frequency_hz.shape)
    for pole, residue in zip(poles * omega0, residues * omega0, strict=True):
        passed += residue[:, None] * _gated_exponential(pole[:, None] - turn, gate_s)
    return np.asarray(passed)


def _gated_exponential(rate: Complex128s, gate_s: float) -> Complex128s:
    """∫ w(t) e^(rate·t) dt over the gate: flat to the tail, then half a Hann window."""
    if np.isinf(gate_s):
        return np.asarray(-1.0 / rate)
    start = (1.0 - TAIL_PART) * gate_s
    swing = np.pi / (gate_s - start)
    begun, ended = np.exp(rate * start), np.exp(rate * gate_s)

    # Where the tail's cosine turns by ±swing it has turned by nothing at `start`, by half a turn at the end.
    tail = (ended - begun) / (2.0 * rate)
    tail += (-ended - begun) / (4.0 * (rate + 1j * swing)) + (-ended - begun) / (4.0 * (rate - 1j * swing))
    return np.asarray((begun - 1.0) / rate + tail)
