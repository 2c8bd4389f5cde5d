"""What still rings when a gate ends: resonances that are seen within it, and what of them it cuts off.

A resonance at f₀ rings for Q/(π·f₀). Narrower than the gate resolves (Q over f₀·T) it goes on after the
gate's end, and from 2/T to 4/T there are too few of its cycles to tell its pole. So no pole is chosen: the
late part of the gate is described by a slow tail and one resonance of each pole of a grid, by least squares,
and each pole counts by its evidence against the slow tail alone, that of a Gaussian misfit of unknown
variance (marginal likelihood of a linear model by its leading terms; G. Schwarz, Annals of Statistics 6
(1978) 461, recalled). What a gate cuts off a damped exponential has a closed form (`gating.cut_off`); its
second moment over the poles, and over what each fit leaves open, is the square of an uncertainty.

Two resonances that are close to each other, or a great one beside a small, are described as one. Where the
slow tail describes the late part, nothing rings and nothing is said.

Times are in lengths T of the gate here, frequencies in 1/T.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import gating

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: The late part of the gate: it rises from here over so much, and falls over so much to the gate's end. The
#: sound that goes round a cabinet's edges is over by then.
LATE_FROM: Final = 0.25
RISE: Final = 0.15
FALL: Final = 0.15
#: Its spectrum is looked at up to so many times 1/T, at steps that its own length makes independent.
LOOKED_AT_TO: Final = 7.0
#: The resonances that are tried. Above 6/T what rings with a Q of some tens outlasts the gate by little.
LOWEST, HIGHEST, PER_DECADE = 1.0, 6.0, 50
LEAST_Q, GREATEST_Q, QS = 1.5, 60.0, 12
#: Those with less of a Q than this times f₀·T are over: e^(−π/0.6) = 0.5 % of them is left at the gate's end.
OVER_BELOW: Final = 0.6
#: The slow tail: corners of real poles, and the corner and Q of a roll-off's.
SLOW: Final = (0.05, 0.15, 0.4)
SLOW_PAIR: Final = (0.15, 0.75)
#: Directions of the slow tail's space that are smaller than this, re the greatest, are left out.
DEPENDENT: Final = 1e-3
#: Frequencies at which what is cut off is worked out; further up it is nothing.
CUT_FROM, CUT_TO, CUT_PER_OCTAVE = 1.0, 16.0, 24
#: Steps of the integrals over the gate.
STEPS: Final = 400
#: A misfit is never taken for less than this part of what is fitted, in power: single precision.
LEAST_MISFIT: Final = 1e-10
#: Amplitudes under this are silence.
LEAST_AMPLITUDE: Final = 1e-30


@dataclass(frozen=True)
class _Poles:
    """The grid of M poles, and what the late part shows of each: K values, the slow tail taken out of them.

    `slow` is an orthonormal basis of the slow tail's values, (S, K); `shown` those of Re and −Im of each
    exponential beside it, (M, 2, K); `inverse` that of their normal equations, (M, 2, 2).
    """

    poles: Complex128s
    slow: Float64s
    shown: Float64s
    inverse: Float64s


def uncertainty_db(
    segments: npt.NDArray[np.float32],
    start_s: Float64s,
    sample_rate_hz: float,
    *,
    gate_s: float,
    frequency_hz: Float64s,
    spectrum: npt.NDArray[np.complex64],
    length_s: Float64s | None = None,
) -> Float64s:
    """Standard uncertainty, dB, (R, F), because resonances still ring when the gate ends.

    Parameters
    ----------
    segments
        Responses about their arrivals, shape (R, n), before they are gated.
    start_s
        When each begins after its arrival, shape (R,).
    spectrum
        Their gated spectra, (R, F), sums over samples as `gating.spectra` gives them.
    length_s
        Shape (F,): where the gate ends sooner than `gate_s` at a frequency. None: nowhere.

    Notes
    -----
    Of a spectrum that is off by the part z it is 20·lg(1 + √mean Re(z)²).
    """
    late = _late_part(segments, start_s, sample_rate_hz, gate_s)
    counts = _weighted(late)
    hz = np.geomspace(CUT_FROM, CUT_TO, 1 + int(CUT_PER_OCTAVE * np.log2(CUT_TO / CUT_FROM))) / gate_s
    length = np.full(hz.size, gate_s)
    if length_s is not None:
        length = np.minimum(length, np.exp(np.interp(np.log(hz), np.log(frequency_hz), np.log(length_s))))
    square, magnitude = _moments(counts, _cut_off(hz, length, gate_s) / gate_s)
    scaled = np.asarray(spectrum, dtype=np.complex128) / (sample_rate_hz * gate_s)
    scaled = np.where(np.abs(scaled) > LEAST_AMPLITUDE, scaled, 1.0)
    part = np.real(_on(magnitude, hz, frequency_hz) / np.abs(scaled) ** 2)
    part += np.real(_on(square, hz, frequency_hz) / scaled**2)
    return np.asarray(20.0 * np.log10(1.0 + np.sqrt(np.maximum(0.5 * part, 0.0))))


def _late_window(time: Float64s) -> Float64s:
    opening = np.clip((time - LATE_FROM) / RISE, 0.0, 1.0)
    closing = np.clip((1.0 - time) / FALL, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * opening) ** 2 * np.sin(0.5 * np.pi * closing) ** 2)


def _looked_at() -> Float64s:
    step = 1.0 / (1.0 - LATE_FROM)
    return np.asarray(np.arange(1, 1 + int(LOOKED_AT_TO / step)) * step, dtype=np.float64)


def _late_part(
    segments: npt.NDArray[np.float32], start_s: Float64s, sample_rate_hz: float, gate_s: float
) -> Float64s:
    """Real and imaginary parts of the late part's spectrum, shape (R, K)."""
    time = (start_s[:, None] + np.arange(segments.shape[-1]) / sample_rate_hz) / gate_s
    late = (segments * _late_window(time)).astype(np.float32)
    values = gating.spectra(late, sample_rate_hz, _looked_at() / gate_s, start_s) / (sample_rate_hz * gate_s)
    return np.concatenate([values.real, values.imag], axis=-1).astype(np.float64)


def _shown(waves: Float64s) -> Float64s:
    """The same of waves (..., STEPS) over one length of the gate, shape (..., K)."""
    time = (np.arange(STEPS) + 0.5) / STEPS
    turn = np.exp(-2j * np.pi * time[:, None] * _looked_at()) * _late_window(time)[:, None] / STEPS
    values = waves @ turn
    return np.concatenate([values.real, values.imag], axis=-1)


def _pole(frequency: npt.ArrayLike, q: npt.ArrayLike) -> Complex128s:
    f, quality = np.asarray(frequency, dtype=np.float64), np.asarray(q, dtype=np.float64)
    return np.asarray(np.pi * f / quality * (-1.0 + 1j * np.sqrt(4.0 * quality**2 - 1.0)))


@lru_cache(maxsize=1)
def _grid() -> _Poles:
    count = 1 + int(PER_DECADE * np.log10(HIGHEST / LOWEST))
    f, q = np.meshgrid(np.geomspace(LOWEST, HIGHEST, count), np.geomspace(LEAST_Q, GREATEST_Q, QS))
    poles = _pole(f, q)[q > OVER_BELOW * f]
    time = (np.arange(STEPS) + 0.5) / STEPS
    pair = np.exp(_pole(*SLOW_PAIR) * time)
    slow = _shown(np.stack([*(np.exp(-2.0 * np.pi * f * time) for f in SLOW), pair.real, pair.imag]))
    _, size, basis = np.linalg.svd(slow / np.linalg.norm(slow, axis=-1, keepdims=True), full_matrices=False)
    basis = np.asarray(basis[size > DEPENDENT * size[0]], dtype=np.float64)
    waves = np.exp(poles[:, None] * time)
    shown = _shown(np.stack([waves.real, -waves.imag], axis=1))
    shown -= (shown @ basis.T) @ basis
    inverse = np.linalg.inv(shown @ shown.swapaxes(-1, -2))
    return _Poles(poles, basis, shown, np.asarray(inverse, dtype=np.float64))


def _weighted(late: Float64s) -> Float64s:
    """Second moments of each pole's two amplitudes times its weight, shape (R, M, 3): aa, ab, bb."""
    grid = _grid()
    beside = late - (late @ grid.slow.T) @ grid.slow
    along = np.einsum("mik,rk->rmi", grid.shown, beside)
    amplitude = np.einsum("mij,rmj->rmi", grid.inverse, along)
    power = np.maximum((beside**2).sum(axis=-1), np.finfo(np.float64).tiny)[:, None]
    misfit = np.maximum(power - (along * amplitude).sum(axis=-1), LEAST_MISFIT * power)
    values = late.shape[-1] - len(grid.slow)
    # two amplitudes cost a factor of one over the root of the values each
    evidence = -0.5 * values * np.log(misfit / power) - np.log(values)
    most = np.maximum(evidence.max(axis=-1, keepdims=True), 0.0)
    weight = np.exp(evidence - most) / len(grid.poles)
    weight /= weight.sum(axis=-1, keepdims=True) + np.exp(-most)
    open_to = misfit / (values - 4.0)
    a, b = amplitude[..., 0], amplitude[..., 1]
    inverse = grid.inverse
    return np.stack(
        [
            weight * (a * a + open_to * inverse[:, 0, 0]),
            weight * (a * b + open_to * inverse[:, 0, 1]),
            weight * (b * b + open_to * inverse[:, 1, 1]),
        ],
        axis=-1,
    )


def _cut_off(frequency_hz: Float64s, length_s: Float64s, gate_s: float) -> Complex128s:
    """What gates cut off Re and −Im of each exponential, in s, shape (M, 2, F)."""
    poles = _grid().poles / gate_s
    gentle = gating.gentleness(frequency_hz, gate_s)

    def both(of: Complex128s) -> Complex128s:
        plain = gating.cut_off(of, frequency_hz, length_s, gating.TAIL_PART)
        return np.asarray(
            plain + gentle * (gating.cut_off(of, frequency_hz, length_s, gating.GENTLE_TAIL_PART) - plain)
        )

    one, other = both(poles), both(poles.conj())
    return np.stack([0.5 * (one + other), 0.5j * (one - other)], axis=1)


def _moments(counts: Float64s, cut: Complex128s) -> tuple[Complex128s, Complex128s]:
    """Means of E² and |E|² over the poles, shape (R, F), of E in lengths of the gate."""
    a, b = cut[:, 0], cut[:, 1]
    squares = np.stack([a * a, 2.0 * a * b, b * b], axis=1)
    magnitudes = np.stack([np.abs(a) ** 2, 2.0 * np.real(a * b.conj()), np.abs(b) ** 2], axis=1)
    flat = counts.reshape(len(counts), -1)
    points = cut.shape[-1]
    return flat @ squares.reshape(-1, points), (flat @ magnitudes.reshape(-1, points)).astype(np.complex128)


def _on(values: Complex128s, from_hz: Float64s, to_hz: Float64s) -> Complex128s:
    """Values (R, F') joined by straight lines over log frequency, shape (R, F); nothing outside."""
    place = np.log(to_hz / from_hz[0]) / np.log(from_hz[1] / from_hz[0])
    inside = (place >= 0.0) & (place <= from_hz.size - 1.0)
    left = np.clip(np.floor(place).astype(int), 0, from_hz.size - 2)
    part = place - left
    return np.asarray(np.where(inside, (1.0 - part) * values[:, left] + part * values[:, left + 1], 0.0))
