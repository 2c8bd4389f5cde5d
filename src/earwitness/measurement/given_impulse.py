"""Impulse responses that came as files.

The samples are what the microphone's chain gives at the take's drive: where a steady sine of the drive
(volts RMS, or dBFS) is played, the magnitude of their Fourier sum Σh[n]·e^(−jωn) is the RMS value of what is
recorded, re full scale, so that the case's calibration makes it pascals, as it does with a recording of a
sweep. Where the take states ``read.pa_per_unit`` the sum times that is the sound pressure in pascals itself,
and neither the calibration nor the microphone's own response is applied to it.

A response taken at 2.83 V that is to show 86 dB at the microphone at 1 kHz (0.399 Pa) has a Fourier sum of
0.399 there with ``pa_per_unit = 1``.

Time zero may lie anywhere. Files that share it show the axis of rotation, as recordings do.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from earwitness.measurement.impulse_response import (
    Float32s,
    ImpulseResponse,
    drive_of,
    drive_units,
    kept_before,
    kept_samples,
    noise_samples,
)
from earwitness.measurement.readers.audio import LOOPBACK
from earwitness.measurement.readers.signals import read_sounds, source_of
from earwitness.measurement.readers.sound_options import PA_PER_UNIT, is_impulse_response, pa_per_unit
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take, TakeKind

#: Converters pass up to so much of the sample rate (0.4535 in most of their data sheets; common practice).
PASSED_PART: Final = 0.4535
#: A response that goes on for less after its peak can't be gated.
SHORTEST_S: Final = 1.5e-3
#: Noise ends so long before the peak, which leaves out the rise of the sound itself, and is taken from at
#: least so long a stretch, which resolves a tenth of a kilohertz.
NOISE_GAP_S: Final = 5e-3
NOISE_LEAST_S: Final = 2e-2


def is_given(take: Take) -> bool:
    """Whether a take's file holds an impulse response: by its kind, or as the case states it.

    Raises
    ------
    ReadError
        The case states it of a near field or a surface as neither true nor false.
    """
    if take.key.kind in (TakeKind.NEAR_FIELD, TakeKind.SURFACE):
        return is_impulse_response(source_of(Path(), take))
    return take.key.kind is TakeKind.IMPULSE_RESPONSE


def in_pascals(take: Take) -> bool:
    """Whether a take states what sound pressure its samples stand for."""
    return PA_PER_UNIT in dict(take.read)


def read_given(raw: Path, take: Take) -> ImpulseResponse:
    """The impulse response of a take, per unit of its drive.

    Raises
    ------
    ReadError
        The file can't be read, ends at its peak, or a loopback or an impossible `pa_per_unit` is stated.
    """
    source = source_of(raw, take)
    if source.option(LOOPBACK) is not None:
        problem = "is an impulse response, and read.loopback is stated"
        raise ReadError(take.path, problem, "leave it out; time zero may lie anywhere")
    scale = np.float32((pa_per_unit(source) or 1.0) / drive_units(drive_of(take)))
    recording = read_sounds(raw, [take])[0]
    samples, rate = recording.samples[0], recording.sample_rate_hz
    peak = int(np.argmax(np.abs(samples)))
    begin = peak - kept_before(rate)
    first, stop = max(begin, 0), min(begin + kept_samples(rate), samples.size)
    after_s = (stop - peak) / rate
    if after_s < SHORTEST_S:
        problem = f"ends {1e3 * after_s:.2f} ms after its peak"
        raise ReadError(take.path, problem, f"export {1e3 * SHORTEST_S:g} ms or more")
    return ImpulseResponse(
        samples=samples[first:stop] * scale,
        sample_rate_hz=float(rate),
        start_s=first / rate,
        noise=_noise(samples, peak, rate) * scale,
        band_hz=(0.0, PASSED_PART * rate),
    )


def _noise(samples: Float32s, peak: int, sample_rate_hz: int) -> Float32s:
    """A stretch before the sound; empty where there is too little, or most of it was set to zero."""
    stop = peak - round(NOISE_GAP_S * sample_rate_hz)
    stretch = samples[max(stop - noise_samples(sample_rate_hz), 0) : max(stop, 0)]
    stretch = stretch[np.argmax(stretch != 0.0) :] if stretch.size else stretch
    least = round(NOISE_LEAST_S * sample_rate_hz)
    if stretch.size < least or np.count_nonzero(stretch) < stretch.size // 2:
        return samples[:0]
    return stretch
