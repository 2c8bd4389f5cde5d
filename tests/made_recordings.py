"""A tiny made-up measurement as WAV files: a band-pass for the loudspeaker, a delay, an echo, noise."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy.signal
import soundfile

from earwitness.acoustics.sweeps import synchronised_sweep

RATE = 48_000
PEAK = 0.5
FULL_SCALE_PA = 8.0
SPEED = 343.2
LATENCY_S = 0.003
Float64s = npt.NDArray[np.float64]

LOUDSPEAKER = scipy.signal.butter(2, [60.0, 15_000.0], "bandpass", fs=RATE, output="sos")
#: Pa per volt at 1 m in the middle of the band.
SENSITIVITY_PA_V = 0.14


@dataclass(frozen=True)
class Bench:
    """Writes recordings of the made-up loudspeaker into a folder."""

    folder: Path
    sweep_s: float = 1.5
    noise_pa: float = 0.0

    @property
    def sweep(self) -> Float64s:
        return PEAK * synchronised_sweep(15.0, 22_000.0, self.sweep_s, RATE)

    def stimulus(self, name: str = "stimulus.wav") -> str:
        soundfile.write(self.folder / name, self.sweep, RATE, subtype="FLOAT")
        return name

    def calibrator(self, name: str = "calibrator_94.wav", off_db: float = 0.0) -> str:
        """94 dB is 1.0024 Pa RMS."""
        amplitude = 20e-6 * 10.0 ** ((94.0 + off_db) / 20.0) * np.sqrt(2.0) / FULL_SCALE_PA
        tone = amplitude * np.sin(2.0 * np.pi * 1_000.0 * np.arange(2 * RATE) / RATE)
        soundfile.write(self.folder / name, tone, RATE, subtype="PCM_24")
        return name

    def recording(
        self,
        name: str,
        distance_m: float,
        volts: float = 2.83,
        *,
        echo_s: float | None = None,
        echo: float = 0.4,
        latency_s: float = LATENCY_S,
    ) -> str:
        """The sweep at `volts` through the loudspeaker at a distance, with one echo."""
        drive = self.sweep * (volts * np.sqrt(2.0) / PEAK)
        sound = (
            SENSITIVITY_PA_V
            / distance_m
            * scipy.signal.sosfilt(LOUDSPEAKER, np.r_[drive, np.zeros(RATE // 4)])
        )
        flight = latency_s + distance_m / SPEED
        heard = delayed(sound, flight)
        if echo_s is not None:
            heard += echo * delayed(sound, flight + echo_s)
        heard += self.noise_pa * np.random.default_rng(len(name)).standard_normal(heard.size)
        soundfile.write(self.folder / name, heard / FULL_SCALE_PA, RATE, subtype="PCM_24")
        return name


def delayed(sound: Float64s, seconds: float) -> Float64s:
    """Delayed by any time, exactly, by a phase."""
    n = sound.size + 4_096
    frequency = np.fft.rfftfreq(n, 1.0 / RATE)
    spectrum = np.fft.rfft(sound, n) * np.exp(-2j * np.pi * frequency * seconds)
    return np.asarray(np.fft.irfft(spectrum, n)[: sound.size])


def true_level_db(frequency_hz: npt.NDArray[np.floating]) -> Float64s:
    """What a perfect measurement shows at 1 m for 2.83 V, dB re 20 µPa."""
    _, response = scipy.signal.sosfreqz(LOUDSPEAKER, frequency_hz, fs=RATE)
    return np.asarray(20.0 * np.log10(np.abs(response) * SENSITIVITY_PA_V * 2.83 / 20e-6))
