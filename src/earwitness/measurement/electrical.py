"""Impedance: from two channels, voltage and current, or from a file of ohms.

A sweep is played through the loudspeaker and a small resistor in series. One channel records the voltage at
the loudspeaker's terminals (or over loudspeaker and resistor together), the other the voltage over the
resistor. The resistor's ohms and what full scale of either channel is in volts set the scale; or a known
resistor does, recorded in the loudspeaker's place with nothing else changed: then none of these matters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import admittance, sweeps
from earwitness.measurement.answers import Stimulus, read_stimulus
from earwitness.measurement.holding import LEAST_PROMINENCE
from earwitness.measurement.readers.audio import selector_of, stated_channel
from earwitness.measurement.readers.contents import LevelUnit, Source
from earwitness.measurement.readers.electrical_options import (
    CURRENT,
    CURRENT_FULL_SCALE,
    KNOWN_OHM,
    SENSE_OHM,
    VOLTAGE,
    VOLTAGE_FULL_SCALE,
    ohms,
    over_both,
    volts,
)
from earwitness.measurement.readers.registry import reader_of
from earwitness.measurement.readers.signals import read_responses, read_sounds, source_of
from earwitness.methods.gum import type_a
from earwitness.records.errors import ReadError
from earwitness.records.grid import derived_grid
from earwitness.records.impedance import MeasuredImpedance
from earwitness.records.takes import ELECTRICAL, Take, TakeKind

Complex128s = npt.NDArray[np.complex128]
Float64s = npt.NDArray[np.float64]

#: An impedance whose magnitude is less sure than this is none (part of it, one standard uncertainty).
LEAST_SURE: Final = 0.1
#: Channels that differ by less than this part of the first are one signal twice.
EQUAL_PART: Final = 1e-4
#: A method of its own is off by no more (part of the magnitude, one standard uncertainty): tests tell.
OWN_PART: Final = 1e-3
_AGAIN: Final = "record the whole sweep again"


@dataclass(frozen=True)
class _Measured:
    """One recording: the admittance in siemens (or in its own unit), and its standard uncertainty."""

    take: Take
    value: Complex128s
    uncertainty: Float64s
    valid: npt.NDArray[np.bool_]


def measured_impedance(
    raw: Path, takes: Sequence[Take], stimuli: Mapping[str, Take]
) -> MeasuredImpedance | None:
    """The impedance that the takes of a case hold; None where none is of that kind.

    Several recordings at the lowest drive are repeats, and their mean counts; a file of ohms counts where
    nothing was recorded.

    Parameters
    ----------
    raw
        The folder that the takes' paths are relative to.
    stimuli
        The takes of the stimuli by path, as `answers.stimuli_of` gives them.

    Raises
    ------
    ReadError
        A file can't be read, or doesn't say what is needed; which, and what to state.
    """
    every = sorted((t for t in takes if t.key.kind is TakeKind.IMPEDANCE), key=lambda take: take.id)
    recorded = [take for take in every if is_electrical(raw, take)]
    given = [take for take in every if take not in recorded]
    if recorded:
        resistors = [take for take in takes if take.key.kind is TakeKind.RESISTOR]
        return _from_recordings(raw, recorded, sorted(resistors, key=lambda take: take.id), stimuli)
    return _from_file(raw, given[0]) if given else None


def is_electrical(raw: Path, take: Take) -> bool:
    """Whether a take is a recording of voltage and current."""
    return take.key.kind in ELECTRICAL and reader_of(source_of(raw, take)).name == "audio"


def require_electrical(raw: Path, take: Take, stimuli: Mapping[str, Take]) -> None:
    """Refuse a recording that `measured_impedance` would refuse; its stimulus may be missing yet.

    Raises
    ------
    ReadError
        See `measured_impedance`.
    """
    _channels(raw, take)
    if take.key.kind is TakeKind.RESISTOR:
        _known_ohm(source_of(raw, take))
    if take.stimulus is None or (raw / take.stimulus).exists():
        _recorded(raw, take, stimuli, {})


def _from_recordings(
    raw: Path, takes: Sequence[Take], resistors: Sequence[Take], stimuli: Mapping[str, Take]
) -> MeasuredImpedance:
    lowest = min((t.key.drive for t in takes if t.key.drive is not None), key=lambda d: d.value, default=None)
    chosen = [take for take in takes if take.key.drive == lowest]
    played: dict[str, Stimulus] = {}
    scales = [_scale_of(raw, take, resistors, stimuli, played) for take in chosen]
    found = [_recorded(raw, take, stimuli, played) for take in chosen]
    each = np.stack([scale / one.value for scale, one in zip(scales, found, strict=True)])
    for row, take in enumerate(chosen):
        if over_both(source_of(raw, take)):
            each[row] -= _inside_ohm(raw, take)
    whole = np.mean(each, axis=0)
    noise = [
        np.abs(scale) * m.uncertainty / np.abs(m.value) ** 2 for scale, m in zip(scales, found, strict=True)
    ]
    noise_ohm = np.hypot(np.sqrt(np.mean(np.square(noise), axis=0) / len(noise)), OWN_PART * np.abs(whole))
    valid = np.logical_and.reduce([one.valid for one in found])
    valid &= ~(noise_ohm > LEAST_SURE * np.abs(whole))
    return MeasuredImpedance(
        takes=tuple(take.id for take in (*chosen, *resistors)),
        drive=lowest.label if lowest is not None else "",
        ohms=whole,
        valid=valid,
        has_phase=True,
        noise_ohm=noise_ohm,
        repeat_ohm=type_a(np.abs(each), axis=0) if len(each) > 1 else None,
        known_resistor=bool(resistors),
    )


def _scale_of(
    raw: Path,
    take: Take,
    resistors: Sequence[Take],
    stimuli: Mapping[str, Take],
    played: dict[str, Stimulus],
) -> Complex128s:
    """What one over the recorded admittance is to be multiplied by, ohms, shape (F,)."""
    if resistors:
        known = [_recorded(raw, one, stimuli, played) for one in resistors]
        rows = []
        for one in known:
            source = source_of(raw, one.take)
            rows.append((_known_ohm(source) + _extra_ohm(raw, one.take)) * one.value)
        return np.asarray(np.mean(rows, axis=0))
    source = source_of(raw, take)
    sense = _needed(ohms(source, SENSE_OHM), take, SENSE_OHM, "the ohms of the resistor in series")
    first = _needed(volts(source, VOLTAGE_FULL_SCALE), take, VOLTAGE_FULL_SCALE, "the volts at full scale")
    second = _needed(volts(source, CURRENT_FULL_SCALE), take, CURRENT_FULL_SCALE, "the volts at full scale")
    return np.full(derived_grid().shape, sense * first / second, dtype=np.complex128)


def _inside_ohm(raw: Path, take: Take) -> float:
    """The resistor in series, which the first channel measured together with the loudspeaker."""
    source = source_of(raw, take)
    return _needed(ohms(source, SENSE_OHM), take, SENSE_OHM, "the ohms of the resistor in series")


def _extra_ohm(raw: Path, take: Take) -> float:
    """The same where a known resistor was measured."""
    return _inside_ohm(raw, take) if over_both(source_of(raw, take)) else 0.0


def _known_ohm(source: Source) -> float:
    known = ohms(source, KNOWN_OHM)
    if known is None:
        raise ReadError(
            source.name, "is a known resistor whose ohms aren't stated", f"state read.{KNOWN_OHM}"
        )
    return known


def _needed(value: float | None, take: Take, option: str, what: str) -> float:
    if value is None:
        raise ReadError(
            take.id,
            f"doesn't say {what}",
            f"state read.{option} in takes.toml, or record a known resistor as a take of kind resistor",
        )
    return value


def _channels(raw: Path, take: Take) -> tuple[Take, Take]:
    """The two channels of a recording as takes of their own."""
    source = source_of(raw, take)
    first, second = (stated_channel(source, role) for role in (VOLTAGE, CURRENT))
    if first is None or second is None:
        missing = VOLTAGE if first is None else CURRENT
        problem = f"doesn't say which channel is the {missing}"
        raise ReadError(take.id, problem, f"state read.{missing} in takes.toml, such as read.{missing} = 1")
    if first == second:
        problem = f"has channel {first} stated as voltage and as current"
        raise ReadError(take.id, problem, "state one of them otherwise")
    return (
        Take(take.path, take.key, selector_of(first), read=take.read),
        Take(take.path, take.key, selector_of(second), read=take.read),
    )


def _recorded(raw: Path, take: Take, stimuli: Mapping[str, Take], played: dict[str, Stimulus]) -> _Measured:
    """The current's channel over the voltage's, full scale over full scale."""
    channels = _channels(raw, take)
    if take.stimulus is None:
        raise ReadError(take.id, "has no stimulus stated", "name it in takes.toml")
    if take.stimulus not in played:
        played[take.stimulus] = read_stimulus(raw, stimuli[take.stimulus])
    stimulus = played[take.stimulus]
    first, second = read_sounds(raw, channels)
    voltage, current = first.samples[0], second.samples[0]
    if first.sample_rate_hz != stimulus.sample_rate_hz:
        problem = f"was recorded at {first.sample_rate_hz} Hz, and its stimulus {stimulus.name}"
        problem += f" has {stimulus.sample_rate_hz} Hz"
        raise ReadError(take.id, problem, "use one sample rate for both")
    if voltage.size < stimulus.sounding:
        problem = f"ends here and is shorter than its stimulus, which sounds up to sample {stimulus.sounding}"
        raise ReadError(take.id, problem, _AGAIN, f"sample {voltage.size}")
    if np.max(np.abs(voltage - current)) < EQUAL_PART * np.max(np.abs(voltage)):
        remedy = "record the voltage over the resistor on the other, or correct read in takes.toml"
        raise ReadError(take.id, "holds the same on both channels", remedy)
    _require_sweep(take, voltage, stimulus)
    grid = derived_grid()
    low, high = stimulus.band_hz
    found = admittance.admittance(
        voltage,
        current,
        float(stimulus.sample_rate_hz),
        band_hz=stimulus.band_hz,
        lead_s=sweeps.harmonic_lead_s(stimulus.rate_s, 2),
        frequency_hz=grid,
    )
    return _Measured(take, found.value, found.uncertainty, (grid >= low) & (grid <= high))


def _require_sweep(take: Take, voltage: npt.NDArray[np.float32], stimulus: Stimulus) -> None:
    """Refuse a channel of voltage that doesn't hold the sweep that is stated."""
    length = sweeps.block_length(voltage.size, stimulus.samples.size)
    inverse = sweeps.inverse_filter(stimulus.samples, stimulus.sample_rate_hz, stimulus.band_hz, length)
    response = sweeps.deconvolve(voltage[None, :], inverse, length)
    if float(sweeps.prominence(response)[0]) < LEAST_PROMINENCE:
        raise ReadError(
            take.id,
            f"doesn't hold the sweep in {stimulus.name} on its channel of voltage",
            "name the stimulus that was played in takes.toml, and check the sample rate and the channel",
        )


def _from_file(raw: Path, take: Take) -> MeasuredImpedance:
    """A file of ohms, and phase where it has one, on the derived grid."""
    (found,) = read_responses(raw, [take])
    if found.unit is not LevelUnit.OHM:
        raise ReadError(take.path, "isn't in ohms", 'state read.level = "ohm" in takes.toml, or its kind')
    grid = derived_grid()
    log_f, at = np.log(found.frequency_hz), np.log(grid)
    level = np.interp(at, log_f, found.level_db, left=np.nan, right=np.nan)
    valid = np.isfinite(level)
    phase = np.zeros(grid.shape)
    if found.phase_deg is not None:
        phase = np.interp(at, log_f, np.unwrap(np.deg2rad(found.phase_deg)))
    magnitude = 10.0 ** (np.where(valid, level, 0.0) / 20.0)
    return MeasuredImpedance(
        takes=(take.id,),
        drive=take.key.drive.label if take.key.drive is not None else "",
        ohms=np.asarray(magnitude * np.exp(1j * phase)),
        valid=valid,
        has_phase=found.phase_deg is not None,
        noise_ohm=np.full(grid.shape, np.nan),
    )
