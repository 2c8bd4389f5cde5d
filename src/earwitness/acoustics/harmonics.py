"""Harmonics of every order from one recording of an exponential sweep.

A sweep x(t) = sin φ(t), φ = 2π·f1·L·exp(t/L), has sin nφ(t) = x(t + L·ln n): what a loudspeaker adds at n
times its frequency is the sweep again, early by L·ln n. So the recording's impulse response holds one
response for each order, one after another, and each is cut out by a window of its own.

Source: A. Farina, AES preprint 5093 (2000); A. Novak, P. Lotton and L. Simon, JAES 63 (2015) 786 (both
recalled). Subtraction of noise and its standard error: computed, tested by counting.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.acoustics import gating, noise
from earwitness.acoustics.sweep_law import SweepLaw
from earwitness.acoustics.sweeps import harmonic_lead_s

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]
Complex64s = npt.NDArray[np.complex64]
Bools = npt.NDArray[np.bool_]

#: Windows of harmonics are at most so long, and that of the fundamental.
LONGEST_S: Final = 0.2
FUNDAMENTAL_S: Final = 0.4
#: A window opens so long before its order arrives, or this part of the time since the next higher order.
LEAD_S: Final = 0.1
LEAD_PART: Final = 0.35
#: The band of a sweep is known to a twelfth of an octave, and rings at its edges: orders end so far below.
EDGE_OCTAVES: Final = 1.0 / 6.0
#: At its lower edge the band rings on: orders begin so many times 1/T of their window above it.
EDGE_GATES: Final = 4.0
#: The linear response has died away so long after it arrives, and orders above this one hold nothing to speak
#: of: between them lies the stretch that tells the noise, in as many pieces of this length as fit.
SETTLED_S: Final = 0.4
QUIET_ORDER: Final = 40
QUIET_PIECE_S: Final = 0.15
#: What is left before an order by the next higher one counts as its noise where it is so many times the
#: recording's, and where the stretch holds so many periods.
LEFT_OVER: Final = 4.0
LEFT_OVER_PERIODS: Final = 8.0
#: By how much it dies away is seen over so many points of the grid together, two thirds of an octave.
FALL_POINTS: Final = 65
#: Zero padding of a window's transform, re the window.
PADDING: Final = 4
#: Factor in amplitude of two standard uncertainties over what is found, for what can only be said to be less.
COVERAGE_FACTOR: Final = 2.0


@dataclass(frozen=True)
class OrderWindow:
    """Where one order lies: its arrival re the linear response's, and how far the window reaches either way.

    All in s; the arrival of order 1 is 0, of higher ones negative.
    """

    order: int
    arrives_s: float
    lead_s: float
    length_s: float


@dataclass(frozen=True)
class Orders:
    """Amplitudes of orders against the frequency of *excitation*.

    Attributes
    ----------
    frequency_hz
        Shape (F,): order n of f sounds at n·f.
    order
        Shape (N,): the orders, ascending; the first is 1.
    amplitude
        Shape (N, F): for a stimulus a·sin φ order n is a·|A|·sin(nφ + arg A), in the unit of the recording
        per unit of the stimulus, time of flight removed.
    noise_power
        Shape (N, F): expected |amplitude|² of noise alone; NaN where it can't be told.
    valid
        Shape (N, F): where the sweep's band and the window hold the order. What noise hides is valid too.
    """

    frequency_hz: Float64s
    order: npt.NDArray[np.int_]
    amplitude: Complex64s
    noise_power: Float64s
    valid: Bools

    def scaled(self, factor: npt.ArrayLike, known: npt.ArrayLike = True) -> Orders:
        """The orders times a factor (N, F), such as a calibration or a transfer at n·f, valid where known."""
        gain = np.asarray(factor)
        return replace(
            self,
            amplitude=np.asarray(self.amplitude * gain, dtype=np.complex64),
            noise_power=np.asarray(self.noise_power * np.abs(gain) ** 2),
            valid=self.valid & np.asarray(known),
        )

    @property
    def sounds_at_hz(self) -> Float64s:
        """Shape (N, F): n·f."""
        return np.multiply.outer(self.order.astype(np.float64), self.frequency_hz)

    @property
    def power(self) -> Float64s:
        """Shape (N, F): |amplitude|² less the noise's, an unbiased estimate that may be negative."""
        found = np.abs(self.amplitude).astype(np.float64) ** 2
        return np.asarray(found - np.nan_to_num(self.noise_power))

    @property
    def power_uncertainty(self) -> Float64s:
        """Shape (N, F): its standard uncertainty √(2SN + N²), NaN where the noise isn't known."""
        signal = np.maximum(self.power, 0.0)
        return np.asarray(np.sqrt(2.0 * signal * self.noise_power + self.noise_power**2))

    @property
    def heard(self) -> Bools:
        """Shape (N, F): valid, and 10 dB or more over the noise."""
        return self.valid & ~noise.hides(np.abs(self.amplitude).astype(np.float64) ** 2, self.noise_power)


@dataclass(frozen=True)
class Level:
    """Powers over frequency, and what is known of them.

    Attributes
    ----------
    power
        Shape (F,): where `heard`, the power less the noise's; elsewhere NaN.
    uncertainty_db
        Shape (F,): its standard uncertainty by noise; NaN where not heard.
    below
        Shape (F,): the power that it stays under where it is valid and not heard, two standard uncertainties
        over what was found; elsewhere NaN.
    valid, heard
        Shape (F,).
    """

    power: Float64s
    uncertainty_db: Float64s
    below: Float64s
    valid: Bools
    heard: Bools


def order_windows(rate_s: float, highest: int) -> tuple[OrderWindow, ...]:
    """Windows of orders 1 to `highest` for a sweep that rises by a factor e in `rate_s`.

    A window reaches to where that of the next lower order opens: L = 0.7 s parts the fifth from the fourth
    by 0.156 s, of which the fourth's window opens 0.055 s early.
    """
    arrivals = [-harmonic_lead_s(rate_s, n) for n in range(1, highest + 2)]
    leads = [min(LEAD_S, LEAD_PART * (arrivals[k] - arrivals[k + 1])) for k in range(highest)]
    lengths = [FUNDAMENTAL_S] + [
        min(LONGEST_S, arrivals[k - 1] - leads[k - 1] - arrivals[k]) for k in range(1, highest)
    ]
    return tuple(OrderWindow(k + 1, arrivals[k], leads[k], lengths[k]) for k in range(highest))


def separate(
    response: Float32s,
    sample_rate_hz: float,
    *,
    law: SweepLaw,
    band_hz: tuple[float, float],
    at: int,
    frequency_hz: Float64s,
    highest: int = 10,
    silence: Float32s | None = None,
) -> Orders:
    """Orders 1 to `highest` from the whole circular response that `sweeps.deconvolve` gave, shape (n,).

    Each order costs one transform of its window; the recording isn't transformed again. An order is valid
    where 2/T of its window is reached at n·f, where n·f lies 4/T above n times the band's lower edge, and
    up to a sixth of an octave below its upper edge. A sweep needn't be synchronised: its law says by what
    phase order n is turned.

    Parameters
    ----------
    law, band_hz
        How the sweep rises (`sweep_law.sweep_law`) and the band that it fills (`sweeps.band_and_rate`).
    at
        The sample at which the linear response arrives.
    silence
        Shape (m,): a recording of silence, deconvolved alike; noise is told from all of it, and without it
        from where the response holds no order below `QUIET_ORDER`.
    """
    windows = order_windows(law.rate_s, highest)
    quiet = _quiet_power(response, sample_rate_hz, law.rate_s, at, frequency_hz=frequency_hz, silence=silence)
    shape = (highest, frequency_hz.size)
    amplitude = np.zeros(shape, dtype=np.complex64)
    noise_power, valid = np.full(shape, np.nan), np.zeros(shape, dtype=np.bool_)
    for row, window in enumerate(windows):
        sounds_at = window.order * frequency_hz
        resolved = float(gating.valid_from_hz(window.length_s))
        low = band_hz[0] + EDGE_GATES / (window.order * window.length_s)
        inside = (
            (sounds_at >= resolved) & (frequency_hz >= low) & (sounds_at <= band_hz[1] * 2.0**-EDGE_OCTAVES)
        )
        if not inside.any():
            continue
        found, weight = _through(response, sample_rate_hz, at, window, sounds_at[inside])
        amplitude[row, inside] = found * np.exp(-1j * (window.order - 1) * law.phase_rad)
        valid[row] = inside
        held = float(np.vdot(weight, weight))
        noise_power[row, inside] = held * np.interp(
            np.log(sounds_at[inside]), np.log(quiet[0]), quiet[1], left=np.nan, right=np.nan
        )
        left_over = held * _left_over(response, sample_rate_hz, at, window, sounds_at[inside])
        more = left_over > LEFT_OVER * noise_power[row, inside]
        noise_power[row, inside] = np.where(more, left_over, noise_power[row, inside])
    return Orders(
        np.asarray(frequency_hz, dtype=np.float64), np.arange(1, highest + 1), amplitude, noise_power, valid
    )


def through_windows(
    response: Float32s, sample_rate_hz: float, *, law: SweepLaw, at: int, orders: Orders
) -> Complex64s:
    """The linear response at n·f as each order's window sees it, shape (N, F); 0 where an order isn't valid.

    What a room adds to order n it adds to the linear response at n·f alike, cut by the same window. So an
    order over this is free of the room, as far as both come from the same place.
    """
    found = np.zeros(orders.amplitude.shape, dtype=np.complex64)
    windows = order_windows(law.rate_s, int(orders.order[-1]))
    for row, window in enumerate(windows):
        inside = orders.valid[row]
        if row == 0:
            found[row] = orders.amplitude[row]
        elif inside.any():
            alike = replace(window, arrives_s=0.0)
            sounds_at = window.order * orders.frequency_hz[inside]
            found[row, inside], _ = _through(response, sample_rate_hz, at, alike, sounds_at)
    return found


@lru_cache(maxsize=64)
def _weights(lead_s: float, length_s: float, sample_rate_hz: float) -> tuple[Float32s, int]:
    """A window's weights about its arrival, not to be written to, and how many samples lie before that."""
    before = int(lead_s * sample_rate_hz)
    time_s = np.arange(-before, int(length_s * sample_rate_hz) + 1) / sample_rate_hz
    weight = gating.gate(time_s, lead_s, length_s).astype(np.float32)
    weight.flags.writeable = False
    return weight, before


def _through(
    response: Float32s, sample_rate_hz: float, at: int, window: OrderWindow, frequency_hz: Float64s
) -> tuple[Complex64s, Float32s]:
    """The spectrum of what passes a window, with time counted from its arrival, and the window's weights.

    A padded transform, turned so that the arrival lies at its first sample, and cubics between its points:
    what arrives at the window's far end, a quarter of the transform away, is off by less than 1 %, what
    arrives at once by nothing.
    """
    arrives = at + window.arrives_s * sample_rate_hz
    whole = int(np.floor(arrives))
    weight, before = _weights(window.lead_s, window.length_s, sample_rate_hz)
    first, stop = whole - before, whole - before + weight.size
    samples = np.take(response, np.arange(first, stop), mode="wrap") * weight
    length = scipy.fft.next_fast_len(PADDING * samples.size, real=True)
    turned = np.zeros(length, dtype=np.float32)
    turned[: stop - whole] = samples[whole - first :]
    turned[length - (whole - first) :] = samples[: whole - first]
    spectrum = scipy.fft.rfft(turned, workers=1)
    place = frequency_hz * (length / sample_rate_hz)
    low = np.clip(np.floor(place).astype(int) - 1, 0, spectrum.size - 4)
    p = place - low
    found = (
        -(p - 1.0) * (p - 2.0) * (p - 3.0) / 6.0 * spectrum[low]
        + p * (p - 2.0) * (p - 3.0) / 2.0 * spectrum[low + 1]
        - p * (p - 1.0) * (p - 3.0) / 2.0 * spectrum[low + 2]
        + p * (p - 1.0) * (p - 2.0) / 6.0 * spectrum[low + 3]
    )
    found *= np.exp(2j * np.pi * frequency_hz * ((arrives - whole) / sample_rate_hz))
    return np.asarray(found, dtype=np.complex64), weight


def _quiet_power(
    response: Float32s,
    sample_rate_hz: float,
    rate_s: float,
    at: int,
    *,
    frequency_hz: Float64s,
    silence: Float32s | None = None,
) -> tuple[Float64s, Float64s]:
    """Noise power per sample over frequencies up to half the sample rate; NaN where no stretch is quiet."""
    highest = 0.45 * sample_rate_hz
    steps = int(np.ceil(24.0 * np.log2(highest / frequency_hz[0])))
    over = np.geomspace(frequency_hz[0], highest, steps)
    piece = round(QUIET_PIECE_S * sample_rate_hz)
    first = at + round(SETTLED_S * sample_rate_hz)
    stop = at + response.size - round(harmonic_lead_s(rate_s, QUIET_ORDER) * sample_rate_hz)
    if silence is not None:
        response, first, stop = silence, 0, silence.size
    count = (stop - first) // piece
    if count < 1:
        return over, np.full(over.shape, np.nan)
    pieces = np.take(response, np.arange(stop - count * piece, stop), mode="wrap").reshape(count, piece)
    return over, noise.power_per_sample(pieces, sample_rate_hz, over).mean(axis=0)


def _left_over(
    response: Float32s, sample_rate_hz: float, at: int, window: OrderWindow, sounds_at_hz: Float64s
) -> Float64s:
    """Power per sample that goes on into a window from before it; 0 where too few periods lie there.

    What the next higher order left dies away: by how much is seen in the two halves of the stretch before
    the window opens, and the mean over the window is that of an exponential that falls on at this pace. What
    rises towards the window is the order's own.
    """
    half = round(0.5 * gating.TAIL_PART * window.length_s * sample_rate_hz)
    stop = at + int((window.arrives_s - window.lead_s) * sample_rate_hz)
    before = np.take(response, np.arange(stop - 2 * half, stop), mode="wrap").reshape(2, half)
    earlier, later = noise.power_per_sample(before, sample_rate_hz, sounds_at_hz)
    beside = np.ones(min(FALL_POINTS, sounds_at_hz.size))
    first, last = (np.convolve(one, beside, mode="same") for one in (earlier, later))
    fall = np.log(np.maximum(first / np.maximum(last, np.finfo(float).tiny), 1.0))
    along = (window.lead_s + window.length_s) * sample_rate_hz / half * fall
    mean = later * np.exp(-0.5 * fall) * -np.expm1(-along) / np.maximum(along, 1e-9)
    power = np.where(along > 1e-6, mean, np.minimum(earlier, later))
    return np.where(sounds_at_hz * 2 * half / sample_rate_hz >= LEFT_OVER_PERIODS, power, 0.0)


def level_of(orders: Orders, which: npt.ArrayLike) -> Level:
    """The summed power of some orders (`which`, among `orders.order`) where at least one of them is valid.

    Noise powers add too. The sum is heard where it is 10 dB or more over that of the noise; its standard
    uncertainty is the root of the sum of 2SN + N². Of two orders of which one is lost in noise nothing is
    invented and nothing left out: the lost one adds its noise, which is taken off again.
    """
    rows = np.isin(orders.order, np.asarray(which))
    used = orders.valid[rows]
    found = np.where(used, np.abs(orders.amplitude[rows]).astype(np.float64) ** 2, 0.0).sum(axis=0)
    noise_power = np.where(used, orders.noise_power[rows], 0.0).sum(axis=0)
    spread = np.sqrt(np.where(used, orders.power_uncertainty[rows] ** 2, 0.0).sum(axis=0))
    valid: Bools = np.asarray(used.any(axis=0))
    heard = valid & ~noise.hides(found, noise_power)
    power = found - np.nan_to_num(noise_power)
    upper = (np.sqrt(found) + COVERAGE_FACTOR * np.sqrt(0.5 * noise_power)) ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        uncertainty = 10.0 / np.log(10.0) * spread / power
    return Level(
        power=np.where(heard, power, np.nan),
        uncertainty_db=np.where(heard, uncertainty, np.nan),
        below=np.where(valid & ~heard, upper, np.nan),
        valid=valid,
        heard=heard,
    )


def total_distortion(orders: Orders, highest: int, highest_hz: float = 20_000.0) -> tuple[Level, Float64s]:
    """Power of orders 2 to `highest` that sound at `highest_hz` or lower, and how many orders count (F,).

    Nothing is valid where the second harmonic lies above.
    """
    within = replace(orders, valid=orders.valid & (orders.sounds_at_hz <= highest_hz))
    wanted = np.arange(2, highest + 1)
    counted = within.valid[np.isin(within.order, wanted)].sum(axis=0)
    return level_of(within, wanted), np.asarray(counted, dtype=np.float64)


def re_total(re_fundamental: npt.ArrayLike) -> Float64s:
    """Distortion re the total from that re the fundamental, d/√(1 + d²) (IEC 60268-5, recalled).

    0.10 gives 0.099504.
    """
    d = np.asarray(re_fundamental, dtype=np.float64)
    return np.asarray(d / np.sqrt(1.0 + d**2))
