"""Intermodulation of two tones, and distortion and noise between many.

Source: sums and differences of two tones are those of IEC 60268-5 (modulation distortion, recalled); many
tones at once, each a whole number of periods of a block that repeats, are common practice: what lies between
the tones and repeats is distortion, what doesn't repeat is noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class TwoTones:
    """Amplitudes of two tones and of what lies about the higher one, in the recording's unit.

    `second` are those at f2 − f1 and f2 + f1, `third` at f2 − 2·f1 and f2 + 2·f1; `noise` is the standard
    uncertainty of each of them.
    """

    low: float
    high: float
    second: tuple[float, float]
    third: tuple[float, float]
    noise: float

    @property
    def second_order(self) -> float:
        """Modulation distortion of the second order: both sidebands' sum re the higher tone."""
        return sum(self.second) / self.high

    @property
    def third_order(self) -> float:
        """That of the third order."""
        return sum(self.third) / self.high


def two_tones(recording: npt.ArrayLike, sample_rate_hz: float, low_hz: float, high_hz: float) -> TwoTones:
    """Two steady tones and their sidebands in a recording (n,), by least squares at their frequencies.

    Raises
    ------
    ValueError
        A sideband lies below 0 Hz or above half the sample rate, or two of the six share a frequency to
        within two periods in the recording.
    """
    x = np.asarray(recording, dtype=np.float64)
    frequency = np.array(
        [low_hz, high_hz, high_hz - low_hz, high_hz + low_hz, high_hz - 2 * low_hz, high_hz + 2 * low_hz]
    )
    apart = np.min(np.diff(np.sort(frequency)))
    if frequency.min() <= 0.0 or frequency.max() >= 0.5 * sample_rate_hz:
        raise ValueError("a sideband lies outside what the recording can hold")
    if apart * x.size / sample_rate_hz < 2.0:
        raise ValueError("two of the tones and sidebands can't be told apart in so short a recording")
    turn = np.exp(2j * np.pi * np.outer(np.arange(x.size) / sample_rate_hz, frequency))
    basis = np.concatenate([turn.real, turn.imag, np.ones((x.size, 1))], axis=1)
    fitted, *_ = np.linalg.lstsq(basis, x, rcond=None)
    # harmonics of both tones are in the rest too, so that it says no less than the noise
    rest = x - basis @ fitted
    amplitude = np.hypot(fitted[:6], fitted[6:12])
    return TwoTones(
        low=float(amplitude[0]),
        high=float(amplitude[1]),
        second=(float(amplitude[2]), float(amplitude[3])),
        third=(float(amplitude[4]), float(amplitude[5])),
        noise=float(np.sqrt(2.0 * np.mean(rest**2) / x.size)),
    )


@dataclass(frozen=True)
class ManyTones:
    """What a recording of a block of tones that repeats holds, by bins of that block.

    Attributes
    ----------
    frequency_hz
        Shape (K,): bins 0 to half the sample rate.
    power
        Shape (K,): mean square of the sine at each bin of the mean block, less the noise's part in it;
        scattered about zero where there is only noise.
    noise_power
        Shape (K,): the noise's mean square in each bin of one block.
    tone
        Shape (K,): bins of the tones that were played.
    blocks
        How many blocks the mean is of.
    """

    frequency_hz: Float64s
    power: Float64s
    noise_power: Float64s
    tone: Bools
    blocks: int

    def between(self, low_hz: npt.ArrayLike, high_hz: npt.ArrayLike) -> tuple[Float64s, Float64s, Float64s]:
        """Distortion's power between the tones of bands (B,), that of noise there, and that of the tones."""
        low, high = np.asarray(low_hz, dtype=float), np.asarray(high_hz, dtype=float)
        inside = (self.frequency_hz >= low[:, None]) & (self.frequency_hz < high[:, None])
        inside[:, 0] = False
        distortion = (inside & ~self.tone) @ self.power
        return distortion, (inside & ~self.tone) @ self.noise_power, (inside & self.tone) @ self.power


def many_tones(
    recording: npt.ArrayLike, sample_rate_hz: float, tone_bins: npt.ArrayLike, block: int
) -> ManyTones:
    """A recording (n,) of tones at whole `tone_bins` of a block of `block` samples, played over and over.

    It begins when all has settled; as many whole blocks as it holds are used. The mean of the blocks holds
    what repeats, and the noise over their number; what the blocks differ by is the noise.

    Raises
    ------
    ValueError
        The recording holds fewer than two blocks.
    """
    x = np.asarray(recording, dtype=np.float64)
    count = x.size // block
    if count < 2:
        raise ValueError("two blocks at least tell distortion from noise")
    spectra = scipy.fft.rfft(x[: count * block].reshape(count, block), axis=-1, workers=1) * (2.0 / block)
    mean = spectra.mean(axis=0)
    noise_power = 0.5 * np.sum(np.abs(spectra - mean) ** 2, axis=0) / (count - 1)
    tone = np.zeros(mean.size, dtype=np.bool_)
    tone[np.asarray(tone_bins, dtype=int)] = True
    frequency = np.arange(mean.size) * (sample_rate_hz / block)
    return ManyTones(frequency, 0.5 * np.abs(mean) ** 2 - noise_power / count, noise_power, tone, count)
