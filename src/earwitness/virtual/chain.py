"""The electronics: amplifier, preamplifier and converter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.loudspeaker import Loudspeaker

#: An impulse response is at least so long: ten times as long as a box rings.
RESPONSE_S = 0.65
#: The converter's filter has fallen to nothing at so many times its edge, or at half the sample rate.
FALLEN = 12.0 / 11.0


@dataclass(frozen=True, slots=True)
class Chain:
    """Amplifier, preamplifier and converter.

    Attributes
    ----------
    sample_rate_hz
        Of stimulus and recording.
    full_scale_pa
        The peak pressure that fills the converter.
    latency_s
        What playing and recording add to the time of flight.
    edge_hz
        From here up the converter's filter falls to nothing.
    output_ohm
        Of the amplifier and its cable. The stated drive is the voltage without a load: the loudspeaker's
        impedance takes its part of it.
    loopback
        Gain of a second channel that records what is played; 0 where there is none.
    hum_pa, mains_hz
        What the mains frequency and its harmonics, from the first up, leave in the recording: RMS, as the
        pressure that would do the same.
    """

    sample_rate_hz: int
    full_scale_pa: float
    latency_s: float
    edge_hz: float
    output_ohm: float = 0.0
    loopback: float = 0.0
    hum_pa: tuple[float, ...] = ()
    mains_hz: float = 50.0

    def __post_init__(self) -> None:
        if not 0.0 < self.edge_hz < self.sample_rate_hz / 2.0:
            raise ValueError("the converter's edge_hz lies below half the sample rate")
        if self.latency_s > RESPONSE_S / 4.0:
            raise ValueError(f"a latency_s of {self.latency_s:g} is more than {RESPONSE_S / 4.0:g}")

    @property
    def response_samples(self) -> int:
        """Length of an impulse response: a power of two."""
        return int(2 ** np.ceil(np.log2(RESPONSE_S * self.sample_rate_hz)))

    @property
    def ends_hz(self) -> float:
        """Above it the converter lets nothing through."""
        return min(self.sample_rate_hz / 2.0, FALLEN * self.edge_hz)

    def bins(self) -> Floats:
        """Frequencies of an impulse response's bins without 0 Hz, as far as anything comes through, (B,)."""
        bins = np.fft.rfftfreq(self.response_samples, 1.0 / self.sample_rate_hz)[1:]
        return np.asarray(bins[bins <= self.ends_hz])

    def converter(self, frequencies: Floats) -> Complexes:
        """Latency and the filter before the converter; shape (F,)."""
        fall = np.clip((frequencies - self.edge_hz) / (self.ends_hz - self.edge_hz), 0.0, 1.0)
        return np.asarray(np.cos(np.pi / 2 * fall) ** 2 * np.exp(-2j * np.pi * frequencies * self.latency_s))

    def amplifier(self, loudspeaker: Loudspeaker, frequencies: Floats, air: Air) -> Complexes | float:
        """Voltage at the loudspeaker's terminals for each volt without a load; 1 or shape (F,)."""
        if not self.output_ohm:
            return 1.0
        impedance = loudspeaker.impedance(frequencies, air)
        return np.asarray(impedance / (impedance + self.output_ohm))

    def impulse_responses(self, spectra: Complexes) -> Floats:
        """Spectra (..., B) on `bins` as impulse responses (..., response_samples)."""
        whole = np.zeros((*spectra.shape[:-1], self.response_samples // 2 + 1), dtype=np.complex128)
        whole[..., 1 : spectra.shape[-1] + 1] = spectra
        return np.asarray(scipy.fft.irfft(whole, self.response_samples, axis=-1))

    def looped(self, stimulus: Floats, samples: int) -> Floats:
        """The second channel, shape (samples,)."""
        frequencies = np.fft.rfftfreq(self.response_samples, 1.0 / self.sample_rate_hz)
        response = scipy.fft.irfft(self.loopback * self.converter(frequencies), self.response_samples)
        return convolve(response, stimulus, samples)


def convolve(responses: Floats, stimulus: Floats, samples: int) -> Floats:
    """The first samples of what is recorded when `stimulus` (N,) goes through `responses` (..., M)."""
    size = scipy.fft.next_fast_len(len(stimulus) + responses.shape[-1] - 1, real=True)
    spectrum = scipy.fft.rfft(responses, size, axis=-1) * scipy.fft.rfft(stimulus, size)
    return np.asarray(scipy.fft.irfft(spectrum, size, axis=-1)[..., :samples])
