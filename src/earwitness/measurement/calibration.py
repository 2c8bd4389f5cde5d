"""Level and microphone calibration: what turns full scale into pascals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.measurement.readers.contents import MeasuredResponse
from earwitness.measurement.readers.signals import read_responses, read_sounds
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.grid import REFERENCE_PRESSURE_PA
from earwitness.records.takes import Take, TakeKind

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: A calibrator and a stated level that differ by more are refused.
AGREEMENT_DB: Final = 0.5
#: So much of a calibrator recording's power has to lie in its tone.
TONE_PART: Final = 0.9
#: Half the width of the tone in bins of the windowed transform, which holds all of a Hann window's lobe.
TONE_BINS: Final = 4


@dataclass(frozen=True)
class Calibration:
    """What the recording chain makes of sound.

    `pa_per_full_scale` holds at `reference_hz`, where a calibrator gave it (None where it was stated);
    `microphone` is the microphone's own response, None where the case has none.
    """

    pa_per_full_scale: float
    reference_hz: float | None
    microphone: MeasuredResponse | None
    notes: tuple[str, ...]

    def pressure_per_full_scale(self, frequency_hz: Float64s) -> tuple[Float64s, Bools]:
        """Pa per full scale, shape (F,), and where the microphone's response is known."""
        if self.microphone is None:
            flat = np.full(frequency_hz.shape, self.pa_per_full_scale)
            return flat, np.ones(frequency_hz.shape, dtype=np.bool_)
        level, known = interpolate_level(self.microphone, frequency_hz)
        if self.reference_hz is not None:
            at_reference, _ = interpolate_level(self.microphone, np.array([self.reference_hz]))
            level = level - at_reference[0]
        known &= np.isfinite(level)
        return self.pa_per_full_scale * 10.0 ** (-np.where(known, level, 0.0) / 20.0), known


def interpolate_level(response: MeasuredResponse, frequency_hz: Float64s) -> tuple[Float64s, Bools]:
    """Level in dB at other frequencies, linear over log f, and where the response reaches."""
    f = response.frequency_hz
    level = np.interp(np.log(frequency_hz), np.log(f), response.level_db)
    return np.asarray(level), np.asarray((frequency_hz >= f[0]) & (frequency_hz <= f[-1]))


def calibrate(raw: Path, takes: Sequence[Take], pa_per_full_scale: float | None) -> Calibration:
    """The chain's calibration from a calibrator take or the stated level, and the microphone's own file.

    Raises
    ------
    CaseError
        There is neither a calibrator nor a stated level; they differ by more than 0.5 dB; there are two
        microphone calibrations.
    ReadError
        A calibrator's recording holds no steady tone, or its level isn't stated.
    """
    notes: list[str] = []
    calibrators = [t for t in takes if t.key.kind is TakeKind.CALIBRATOR]
    measured = [_calibrator(raw, take) for take in sorted(calibrators, key=lambda t: t.id)]
    level, reference_hz = _agreed(measured, calibrators, pa_per_full_scale)
    if not measured:
        notes.append("The level rests on the stated sensitivity of the recording chain, not on a calibrator.")
    files = [t for t in takes if t.key.kind is TakeKind.MICROPHONE_CALIBRATION]
    if len(files) > 1:
        problem = f"two microphone calibrations, {files[0].path} and {files[1].path}"
        raise CaseError("takes.toml", problem, "keep the one of the microphone that was used")
    if not files:
        notes.append("There is no microphone calibration: the microphone is taken as flat.")
    microphone = read_responses(raw, files)[0] if files else None
    return Calibration(level, reference_hz, microphone, tuple(notes))


def _agreed(
    measured: list[tuple[float, float]], calibrators: list[Take], stated: float | None
) -> tuple[float, float | None]:
    """The one level that calibrators and statement agree on: the calibrators' mean, else the stated one."""
    if not measured:
        if stated is None:
            raise CaseError(
                "case.toml",
                "no calibrator was recorded and no level is stated, so recordings have no level",
                "add a recording such as calibrator_94.wav or state the chain's sensitivity",
                "rig.pa_per_full_scale",
            )
        return stated, None
    levels = [level for level, _ in measured] + ([stated] if stated is not None else [])
    apart = 20.0 * np.log10(max(levels) / min(levels))
    if apart > AGREEMENT_DB:
        raise CaseError(
            "case.toml",
            f"{calibrators[0].path} and the other calibration differ by {apart:.2f} dB",
            "remove the one that doesn't hold",
            "rig.pa_per_full_scale",
        )
    mean = float(np.sqrt(np.mean([level**2 for level, _ in measured])))
    return mean, measured[0][1]


def _calibrator(raw: Path, take: Take) -> tuple[float, float]:
    """Pa per full scale from a calibrator's recording, and its frequency in Hz."""
    if take.level_db is None:
        raise ReadError(take.path, "has no calibrator level stated", "give level_db in takes.toml")
    recording = read_sounds(raw, [take])[0]
    x = recording.samples[0].astype(np.float64)
    x = x[x.size // 10 : x.size - x.size // 10]
    rms, frequency, part = steady_tone(x, recording.sample_rate_hz)
    if part < TONE_PART:
        raise ReadError(take.path, "holds no steady tone", "record the calibrator again")
    return REFERENCE_PRESSURE_PA * 10.0 ** (take.level_db / 20.0) / rms, frequency


def steady_tone(samples: Float64s, sample_rate_hz: float) -> tuple[float, float, float]:
    """RMS and frequency of the strongest tone, and its part of the power above 63 Hz."""
    n = samples.size
    window = np.hanning(n)
    power = np.abs(scipy.fft.rfft(samples * window)) ** 2
    first = min(int(np.ceil(63.0 * n / sample_rate_hz)) + TONE_BINS, power.size - 1)
    peak = first + int(np.argmax(power[first:]))
    bins = np.arange(max(peak - TONE_BINS, 0), min(peak + TONE_BINS + 1, power.size))
    tone = power[bins].sum()
    frequency = float((power[bins] * bins).sum() / tone * sample_rate_hz / n)
    rms = float(np.sqrt(2.0 * tone / (n * np.sum(window**2))))
    return rms, frequency, float(tone / power[first - TONE_BINS :].sum())
