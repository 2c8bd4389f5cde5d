"""The measuring microphone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats


@dataclass(frozen=True, slots=True)
class Microphone:
    """A pressure microphone: a membrane of the second order with a bass limit of the first, and its noise.

    `noise_pa` is the RMS of the white noise between 0 Hz and half the sample rate.
    """

    resonance_hz: float
    q: float
    bass_limit_hz: float
    noise_pa: float

    def transfer(self, frequencies: Floats) -> Complexes:
        """What it delivers for each pascal, 1 at 1 kHz in magnitude; shape (F,), f > 0."""
        reference = np.abs(self._shape(np.array([1000.0])))
        return np.asarray(self._shape(frequencies) / reference)

    def level_db(self, frequencies: Floats) -> Floats:
        """The level that a calibration laboratory would print, dB re 1 kHz; shape (F,)."""
        return np.asarray(20.0 * np.log10(np.abs(self.transfer(frequencies))))

    def _shape(self, frequencies: Floats) -> Complexes:
        membrane = 1j * frequencies / self.resonance_hz
        bass = 1j * frequencies / self.bass_limit_hz
        return np.asarray(bass / (1.0 + bass) / (1.0 + membrane / self.q + membrane**2))
