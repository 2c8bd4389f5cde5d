"""The recording chain: from a transfer function to the samples of a recording.

The loudspeaker's transfer is smooth once its time of flight is taken out, so it is computed on a coarse grid
and interpolated by a cubic spline onto the bins of an impulse response; what rings long (the drivers in their
box) is computed on those bins themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from scipy.interpolate import CubicSpline

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.workshop import Microphone, Room

#: Length of an impulse response in samples: ten times as long as the box rings.
RESPONSE_SAMPLES = 2**15
#: Spacing of the coarse grid in hertz: a hundredth of a turn for a path 0.2 m longer than the straight one.
COARSE_HZ = 20.0
#: Rooms are quiet below it.
PINK_FROM_HZ = 10.0


@dataclass(frozen=True, slots=True)
class Chain:
    """Converter and preamplifier.

    `full_scale_pa` is the peak pressure that fills the converter; `latency_s` what playing and recording add
    to the time of flight; from `edge_hz` up the converter's filter falls to nothing at half the sample rate.
    """

    sample_rate_hz: int
    full_scale_pa: float
    latency_s: float
    edge_hz: float

    def bins(self) -> Floats:
        """Frequencies of an impulse response's bins without 0 Hz, shape (RESPONSE_SAMPLES/2,)."""
        return np.fft.rfftfreq(RESPONSE_SAMPLES, 1.0 / self.sample_rate_hz)[1:]

    def converter(self, frequencies: Floats) -> Complexes:
        """Latency and the filter before the converter; shape (F,)."""
        half = self.sample_rate_hz / 2.0
        fall = np.clip((frequencies - self.edge_hz) / (half - self.edge_hz), 0.0, 1.0)
        return np.asarray(np.cos(np.pi / 2 * fall) ** 2 * np.exp(-2j * np.pi * frequencies * self.latency_s))


@dataclass(frozen=True, slots=True)
class Paths:
    """The pressure at a microphone by every path, on the bins of an impulse response."""

    loudspeaker: Loudspeaker
    room: Room
    microphone: Microphone
    chain: Chain
    air: Air

    def impulse_responses(self, points: Floats, upward: Floats) -> Floats:
        """Recorded impulse responses at microphone places.

        Parameters
        ----------
        points
            Shape (D, 3), metres from the reference point.
        upward
            Shape (3,): the room's vertical as the loudspeaker sees it.

        Returns
        -------
        Shape (D, RESPONSE_SAMPLES), digital full scale for each volt at the terminals.
        """
        bins = self.chain.bins()
        sources = self.loudspeaker.volume_velocities(bins, self.air) * (2j * np.pi * bins)
        total = np.zeros((len(points), len(bins)), dtype=np.complex128)
        for reflection, seen in self.room.images(points, upward):
            total += reflection * self._one_path(seen, bins, sources)
        total *= self.microphone.transfer(bins) * self.chain.converter(bins) / self.chain.full_scale_pa
        spectrum = np.concatenate([np.zeros((len(points), 1)), total], axis=1)
        return np.asarray(scipy.fft.irfft(spectrum, RESPONSE_SAMPLES, axis=1))

    def _one_path(self, points: Floats, bins: Floats, sources: Complexes) -> Complexes:
        coarse = np.concatenate([[1.0], np.arange(COARSE_HZ, bins[-1] + COARSE_HZ, COARSE_HZ)])
        cabinet = self.loudspeaker.cabinet
        flight_s = cabinet.flight_m(points) / self.air.speed
        transfer = cabinet.transfer(points, coarse, self.air) / (2j * np.pi * coarse)
        transfer *= np.exp(2j * np.pi * flight_s[:, None] * coarse)
        total = np.zeros((len(points), len(bins)), dtype=np.complex128)
        for source, smooth in zip(sources, transfer, strict=True):
            total += source * CubicSpline(coarse, smooth, axis=-1)(bins)
        return np.asarray(total * np.exp(-2j * np.pi * flight_s[:, None] * bins))


def convolve(responses: Floats, stimulus: Floats, samples: int) -> Floats:
    """The first samples of what is recorded when `stimulus` (N,) goes through `responses` (..., M)."""
    size = scipy.fft.next_fast_len(len(stimulus) + responses.shape[-1] - 1, real=True)
    spectrum = scipy.fft.rfft(responses, size, axis=-1) * scipy.fft.rfft(stimulus, size)
    return np.asarray(scipy.fft.irfft(spectrum, size, axis=-1)[..., :samples])


@dataclass(frozen=True, slots=True)
class Noise:
    """Background of a recording: RMS of a white and of a pink part, re digital full scale.

    The white part fills 0 Hz to half the sample rate; the pink part has equal power in every octave from
    `PINK_FROM_HZ` up.
    """

    white: float
    pink: float

    def samples(self, generator: np.random.Generator, count: int, sample_rate_hz: int) -> Floats:
        """One stretch of it, shape (count,)."""
        frequencies = np.fft.rfftfreq(count, 1.0 / sample_rate_hz)
        heard = frequencies >= PINK_FROM_HZ
        pink = np.where(heard, 1.0 / np.maximum(frequencies, PINK_FROM_HZ), 0.0)
        power = self.white**2 / len(frequencies) + self.pink**2 * pink / pink.sum()
        normal = generator.normal(size=(2, len(frequencies)))
        spectrum = count / 2.0 * np.sqrt(power) * (normal[0] + 1j * normal[1])
        return np.asarray(scipy.fft.irfft(spectrum, count))
