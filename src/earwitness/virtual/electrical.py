"""A loudspeaker's impedance as it is recorded: two channels, the voltage at its terminals and its current.

The current flows through a small resistor in series, and what lies across that is recorded. Amplifier and
cable have a resistance; each channel has a full scale, noise and hum of its own; both go through the rig's
converter. The drive is the voltage that the amplifier gives without a load, as elsewhere.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.chain import Chain, convolve
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.noise import Noise
from earwitness.virtual.stimulus import Stimulus

#: Where an impedance at 0 Hz is worked out.
NEARLY_NOTHING_HZ = 1e-3


@dataclass(frozen=True, slots=True)
class Meter:
    """What stands between amplifier, loudspeaker and converter.

    Attributes
    ----------
    sense_ohm
        The resistor in series.
    voltage_full_scale_v, current_full_scale_v
        The peak voltages that fill either channel; that of the current lies across the resistor.
    drive_v
        Volts RMS of a steady sine at the stimulus' peak, without a load.
    over_both
        Whether the first channel lies across loudspeaker and resistor together.
    noise_v
        White noise of each channel, RMS.
    hum_v, mains_hz
        RMS of the mains frequency and its harmonics, from the first up, alike in both channels.
    """

    sense_ohm: float
    voltage_full_scale_v: float
    current_full_scale_v: float
    drive_v: float
    over_both: bool = False
    noise_v: float = 0.0
    hum_v: tuple[float, ...] = ()
    mains_hz: float = 50.0


@dataclass(frozen=True, slots=True)
class Circuit:
    """A meter, the chain that it belongs to, how long recordings go on after the stimulus, and a seed."""

    meter: Meter
    chain: Chain
    tail_s: float
    seed: int

    def loudspeaker(self, loudspeaker: Loudspeaker, air: Air, stimulus: Stimulus, name: str) -> Floats:
        """The two channels re full scale, shape (N, 2); `name` seeds the noise."""
        return self._recorded(loudspeaker.impedance(self._bins(), air), stimulus, name)

    def resistor(self, ohms: float, stimulus: Stimulus, name: str) -> Floats:
        """The same with a resistor in the loudspeaker's place."""
        return self._recorded(np.full(self._bins().shape, ohms, dtype=np.complex128), stimulus, name)

    def write(self, path: Path, channels: Floats) -> None:
        """Channels as a WAV file of 24 bits; ValueError where they don't fit in it."""
        if np.max(np.abs(channels)) >= 1.0:
            raise ValueError(f"{path.name} would clip; raise a channel's full scale or lower the drive")
        soundfile.write(path, channels, self.chain.sample_rate_hz, subtype="PCM_24", format="WAV")

    def _bins(self) -> Floats:
        bins = np.fft.rfftfreq(self.chain.response_samples, 1.0 / self.chain.sample_rate_hz)
        return np.asarray(np.maximum(bins, NEARLY_NOTHING_HZ))

    def _recorded(self, load: Complexes, stimulus: Stimulus, name: str) -> Floats:
        meter, chain = self.meter, self.chain
        current = 1.0 / (load + meter.sense_ohm + chain.output_ohm)
        across = load + meter.sense_ohm if meter.over_both else load
        spectra = np.stack([across * current, meter.sense_ohm * current])
        spectra /= np.array([[meter.voltage_full_scale_v], [meter.current_full_scale_v]])
        spectra *= chain.converter(self._bins())
        spectra[:, [0, -1]] = spectra[:, [0, -1]].real
        responses = np.fft.irfft(spectra, chain.response_samples, axis=-1)
        samples = stimulus.samples()
        count = len(samples) + round(self.tail_s * chain.sample_rate_hz)
        gain = meter.drive_v * np.sqrt(2.0) / stimulus.peak
        heard = convolve(gain * responses, samples, count)
        return np.asarray((heard + self._background(name, count)).T)

    def _background(self, name: str, count: int) -> Floats:
        meter = self.meter
        rows = []
        for channel, full_scale in enumerate((meter.voltage_full_scale_v, meter.current_full_scale_v)):
            generator = np.random.default_rng([self.seed, zlib.crc32(name.encode()), channel])
            hum = tuple(level / full_scale for level in meter.hum_v)
            noise = Noise(meter.noise_v / full_scale, 0.0, hum, meter.mains_hz)
            rows.append(noise.samples(generator, count, self.chain.sample_rate_hz))
        return np.stack(rows)
