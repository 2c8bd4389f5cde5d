"""Synchronised exponential sweeps, and the impulse responses that recordings of them hold.

Source: A. Farina, AES preprint 5093 (2000); A. Novak, P. Lotton and L. Simon, JAES 63 (2015) 786, for the
synchronised form (both recalled).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]

#: Width in octaves over which the regularisation fades in outside the sweep's band.
FADE_OCTAVES: Final = (1.0, 1.0 / 6.0)
#: Bands of this many to the octave in which a stimulus is examined.
BANDS_PER_OCTAVE: Final = 12
#: The sweep's band ends where a band holds this much less energy than the middle ones.
BAND_EDGE_DB: Final = -3.0
#: A band with so much less energy than the fullest is empty.
EMPTY_DB: Final = -80.0
#: The stretch about a pulse from which its place is found, and the part of the sweep's band.
PULSE_SAMPLES: Final = 2**10
PULSE_BAND_PART: Final = (10.0, 0.5)


def sweep_rate_s(start_hz: float, stop_hz: float, duration_s: float) -> float:
    """Time in which a synchronised sweep rises by a factor e, L = round(f1·T/ln(f2/f1))/f1.

    20 Hz to 20 kHz in 10 s: 1.45 s.
    """
    return float(np.round(start_hz * duration_s / np.log(stop_hz / start_hz)) / start_hz)


def synchronised_sweep(start_hz: float, stop_hz: float, duration_s: float, sample_rate_hz: float) -> Float64s:
    """sin(2π·f1·L·exp(t/L)) of amplitude 1, shape (n,), n = L·ln(f2/f1)·fs rounded down."""
    rate = sweep_rate_s(start_hz, stop_hz, duration_s)
    n = int(rate * np.log(stop_hz / start_hz) * sample_rate_hz)
    t = np.arange(n) / sample_rate_hz
    return np.asarray(np.sin(2.0 * np.pi * start_hz * rate * np.exp(t / rate)))


def harmonic_lead_s(rate_s: float, order: int) -> float:
    """How far the impulse response of harmonic `order` leads the linear one: L·ln(order)."""
    return float(rate_s * np.log(order))


class NotASweepError(ValueError):
    """The stimulus doesn't rise exponentially in frequency."""


def band_and_rate(stimulus: npt.ArrayLike, sample_rate_hz: float) -> tuple[tuple[float, float], float]:
    """The band in Hz that an exponential sweep fills, and its rate L in s, found from its samples (n,).

    The band holds the same energy in every fractional octave to within 3 dB; the rate is the slope of the
    group delay over ln f. A signal whose group delay isn't a line over ln f (its residual is over 5 % of
    the sweep's length) raises `NotASweepError`.
    """
    edges, energy, delay = _bands(stimulus, sample_rate_hz)
    filled = _longest_run(energy > 10.0 ** (BAND_EDGE_DB / 10.0) * _middle(energy))
    band = (float(edges[filled.start]), float(edges[filled.stop]))
    return band, _rate(np.sqrt(edges[:-1] * edges[1:])[filled], delay[filled])


def rate_in(stimulus: npt.ArrayLike, sample_rate_hz: float, band_hz: tuple[float, float]) -> float:
    """The rate L in s of an exponential sweep (n,) inside a stated band, whatever amplitude it has there.

    Raises
    ------
    NotASweepError
        The band is less than an octave, holds a part without any energy to speak of (−80 dB re the rest), or
        the group delay inside isn't a line over ln f.
    """
    edges, energy, delay = _bands(stimulus, sample_rate_hz)
    inside = (edges[:-1] >= band_hz[0]) & (edges[1:] <= band_hz[1])
    if np.any(energy[inside] <= 10.0 ** (EMPTY_DB / 10.0) * energy.max()):
        raise NotASweepError("its band has a part in which there is nothing")
    return _rate(np.sqrt(edges[:-1] * edges[1:])[inside], delay[inside])


def _bands(stimulus: npt.ArrayLike, sample_rate_hz: float) -> tuple[Float64s, Float64s, Float64s]:
    """Edges in Hz (B + 1,), energies (B,) and mean group delays in s (B,) of fractional octaves."""
    # in single precision, which tells the bands' energies and delays to 10⁻⁶ in half the memory
    x = np.asarray(stimulus, dtype=np.float32)
    length = scipy.fft.next_fast_len(2 * x.size, real=True)
    spectrum = scipy.fft.rfft(x, length)
    edges = _band_edges_hz(x.size / sample_rate_hz, sample_rate_hz)
    bins = np.round(edges * length / sample_rate_hz).astype(int)
    energy = _sums(np.abs(spectrum) ** 2, bins)
    time = (np.arange(x.size) / sample_rate_hz).astype(np.float32)
    moment = scipy.fft.rfft(x * time, length)
    moment *= np.conjugate(spectrum, out=spectrum)
    return edges, energy, _sums(moment.real, bins) / np.maximum(energy, np.finfo(float).tiny)


def _rate(frequency_hz: Float64s, delay_s: Float64s) -> float:
    """The slope of group delays over ln f, where they lie on a line."""
    log_f = np.log(frequency_hz)
    if log_f.size < BANDS_PER_OCTAVE:
        raise NotASweepError("it fills less than an octave")
    rate, start = np.polyfit(log_f, delay_s, 1)
    residual = delay_s - (rate * log_f + start)
    if rate <= 0.0 or np.sqrt(np.mean(residual**2)) > 0.05 * rate * np.ptp(log_f):
        raise NotASweepError("its frequency doesn't rise exponentially with time")
    return float(rate)


def _band_edges_hz(duration_s: float, sample_rate_hz: float) -> Float64s:
    """Edges of fractional octaves from ten periods in the signal's length up to half the sample rate."""
    lowest = int(np.ceil(BANDS_PER_OCTAVE * np.log2(max(5.0, 4.0 / duration_s) / 1000.0)))
    highest = int(np.floor(BANDS_PER_OCTAVE * np.log2(sample_rate_hz / 2000.0)))
    edges = 1000.0 * 2.0 ** (np.arange(lowest, highest + 1) / BANDS_PER_OCTAVE)
    return np.unique(np.append(edges, sample_rate_hz / 2.0))


def _sums(values: Float32s, bins: npt.NDArray[np.int_]) -> Float64s:
    """Sums of `values` between neighbouring `bins`."""
    running = np.concatenate([[0.0], np.cumsum(values, dtype=np.float64)])
    return np.asarray(running[bins[1:]] - running[bins[:-1]])


def _middle(energy: Float64s) -> float:
    """Median of the bands that hold anything to speak of."""
    return float(np.median(energy[energy > 0.1 * energy.max()]))


def _longest_run(flags: npt.NDArray[np.bool_]) -> slice:
    """The longest stretch of True."""
    steps = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    starts, stops = steps[::2], steps[1::2]
    if starts.size == 0:
        return slice(0, 0)
    best = int(np.argmax(stops - starts))
    return slice(int(starts[best]), int(stops[best]))


def block_length(recording: int, stimulus: int) -> int:
    """The transform's length for a recording and its stimulus, in samples.

    The division is circular: harmonics, which lead the linear response, come to lie at the far end.
    """
    return int(scipy.fft.next_fast_len(max(recording, stimulus), real=True))


def inverse_filter(
    stimulus: npt.ArrayLike, sample_rate_hz: float, band_hz: tuple[float, float], length: int
) -> npt.NDArray[np.complex64]:
    """The regularised inverse of a sweep's spectrum X, shape (length//2 + 1,).

    X*/(|X|² + ε(f)): ε is nothing inside `band_hz`, and grows outside it so that the product with X falls
    as a raised cosine over log f (within an octave below the band, a sixth above).
    """
    x = np.asarray(stimulus, dtype=np.float64)
    spectrum = scipy.fft.rfft(x, length)
    frequency = scipy.fft.rfftfreq(length, 1.0 / sample_rate_hz)
    weight = _band_weight(frequency, band_hz)
    inside = (frequency >= band_hz[0]) & (frequency <= band_hz[1])
    power = np.abs(spectrum) ** 2
    level = np.mean(power[inside] * frequency[inside])
    expected = level / np.maximum(frequency, band_hz[0] / 4.0)
    regularisation = expected * (1.0 / np.maximum(weight, 1e-9) - 1.0)
    return np.asarray(spectrum.conj() / (power + regularisation), dtype=np.complex64)


def _band_weight(frequency_hz: Float64s, band_hz: tuple[float, float]) -> Float64s:
    """1 inside the band, a raised cosine over log f down to 0 outside."""
    log_f = np.log2(np.maximum(frequency_hz, 1e-3))
    below = (np.log2(band_hz[0]) - log_f) / FADE_OCTAVES[0]
    above = (log_f - np.log2(band_hz[1])) / FADE_OCTAVES[1]
    distance = np.clip(np.maximum(below, above), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * distance))


def deconvolve(recordings: Float32s, inverse: npt.NDArray[np.complex64], length: int) -> Float32s:
    """Impulse responses of recordings, both of shape (B, n): what was recorded per unit of stimulus.

    Sample 0 is the stimulus' start; negative times lie at the far end of the `length` samples. One forward
    and one inverse transform a recording, in single precision.
    """
    spectrum = scipy.fft.rfft(recordings, length, axis=-1, workers=1)
    spectrum *= inverse
    return np.asarray(scipy.fft.irfft(spectrum, length, axis=-1, overwrite_x=True, workers=1))


def prominence(responses: npt.ArrayLike) -> Float64s:
    """How far the greatest peak stands out of each response (..., n): its square over the mean square.

    A recording that holds its stimulus has thousands; of Gaussian noise, whatever its colour, one over 40 is
    expected once in half a million responses of 10^6 samples: n·exp(−p/2)·√(2/πp). Another sweep than the one
    that was played, or another sample rate, is spread in time, and has fewer still.
    """
    x = np.asarray(responses)
    peak = np.max(np.abs(x), axis=-1).astype(np.float64)
    mean = np.einsum("...i,...i->...", x, x, dtype=np.float64) / x.shape[-1]
    return np.asarray(peak**2 / np.maximum(mean, np.finfo(float).tiny))


def pulse_position(response: Float32s, sample_rate_hz: float, band_hz: tuple[float, float]) -> float:
    """Where the pulse at the greatest peak of a response (n,) lies, in samples and parts of one.

    Its mean group delay in the middle of the sweep's band, from the slope of the phase over frequency. For a
    wire, which passes the band without colour, good to 10⁻⁴ of a sample; what couplings do at the band's
    lower edge shifts it alike in every take. The response is circular.
    """
    at = int(np.argmax(np.abs(response)))
    half = PULSE_SAMPLES // 2
    segment = np.take(response, np.arange(at - half, at + half), mode="wrap").astype(np.float64)
    edge = np.clip((half - np.abs(np.arange(-half, half))) / (0.5 * half), 0.0, 1.0)
    spectrum = scipy.fft.rfft(segment * np.sin(0.5 * np.pi * edge) ** 2)
    turn = 2.0 * np.pi * np.arange(spectrum.size) / PULSE_SAMPLES
    phase = np.unwrap(np.angle(spectrum * np.exp(1j * turn * half)))
    frequency = turn * sample_rate_hz / (2.0 * np.pi)
    inside = (frequency >= PULSE_BAND_PART[0] * band_hz[0]) & (frequency <= PULSE_BAND_PART[1] * band_hz[1])
    slope, _ = np.polyfit(turn[inside], phase[inside], 1, w=np.abs(spectrum[inside]))
    return float(at - slope)
