"""Recordings of steady tones: what the loudspeaker adds to two of them, and between many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import steady_tones
from earwitness.acoustics.tones import ManyTones, many_tones
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.impulse_response import drive_of
from earwitness.measurement.readers.contents import Recording
from earwitness.measurement.readers.signals import read_sounds
from earwitness.measurement.silence import silence
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_61260 import band_edges_hz, mid_frequency_hz
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import REFERENCE_PRESSURE_PA
from earwitness.records.takes import Take, TakeKey, TakeKind
from earwitness.records.tones import Added, Multitone, NoiseFrom, ToneSet, TwoTones

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int_]

#: Kinds that are recordings of steady tones.
TONED: Final = frozenset({TakeKind.TWO_TONES, TakeKind.MULTITONE})
#: What is less than this over the noise in power is hidden by it.
OVER_NOISE: Final = 10.0
#: Third octaves, by their number from 1 kHz, and where all of them end, Hz.
BANDS: Final = tuple(range(-17, 14))
HIGHEST_HZ: Final = 20_000.0
#: A recording holds its tones where so much of its power lies in them.
HELD_PART: Final = 0.5
#: Clocks that differ spread each tone over what lies beside it: by so much of a hertz, to −60 dB next to it.
SAME_PACE_HZ: Final = 1e-3
_AGAIN: Final = (
    "play a file of `earwitness stimulus --kind multitone` or `--kind two-tones`, and record it all"
)


def toned(facts: CaseFacts, takes: Sequence[Take], raw: Path) -> ToneSet:
    """What every recording of tones tells, by rising drive.

    The noise is that of the case's recording of silence where it has one of the same sample rate.

    Raises
    ------
    ReadError
        A recording or its stimulus can't be read, or doesn't hold steady tones.
    """
    chosen = sorted((t for t in takes if t.key.kind in TONED), key=lambda t: (drive_of(t).value, t.id))
    if not chosen:
        return ToneSet()
    heard = [_heard(facts, takes, raw, take) for take in chosen]
    return ToneSet(
        tuple(_two(one) for one in heard if one.take.key.kind is TakeKind.TWO_TONES),
        tuple(_many(one) for one in heard if one.take.key.kind is TakeKind.MULTITONE),
    )


def require_tones(raw: Path, take: Take) -> None:
    """Refuse a recording that `toned` would refuse.

    Raises
    ------
    ReadError
        See there.
    """
    _steady(raw, take)


@dataclass(frozen=True)
class _Heard:
    """Lines of a second, (K,) one a hertz: what repeats, the noise in that, and which are tones.

    `spread` is the standard uncertainty of `power`; `scale_m` turns the RMS of it into Pa at 1 m, None where
    the recording has no level.
    """

    take: Take
    tones_hz: Ints
    power: Floats
    noise: Floats
    spread: Floats
    scale_m: float | None
    noise_from: NoiseFrom

    @property
    def level_db(self) -> float | None:
        """Of all tones at 1 m."""
        if self.scale_m is None:
            return None
        power = float(self.power[self.tones_hz].sum()) * self.scale_m**2
        return float(10.0 * np.log10(power / REFERENCE_PRESSURE_PA**2))

    @property
    def hours(self) -> float | None:
        """How long NIOSH allows that."""
        level = self.level_db
        return None if level is None else float(niosh_hours_a_day(level))

    def told(self, lines: npt.NDArray[np.generic], power: float) -> tuple[float, bool, float]:
        """The power in some lines re `power`, whether it is over the noise, and its uncertainty.

        Where noise hides it: what it stays below.
        """
        found, noise = float(self.power[lines].sum()), float(self.noise[lines].sum())
        if found < OVER_NOISE * noise or found <= 0.0:
            return (max(found, 0.0) + OVER_NOISE * noise) / power, False, 0.0
        return found / power, True, float(np.sqrt(np.sum(self.spread[lines] ** 2))) / power


def _steady(raw: Path, take: Take) -> tuple[Floats, Recording, Ints]:
    """What of a recording is steady, the recording, and its tones in Hz."""
    if take.stimulus is None:
        raise ReadError(take.path, "has no stimulus stated", "name it in takes.toml")
    played = Take(take.stimulus, TakeKey(TakeKind.STIMULUS))
    (recording,), (stimulus,) = read_sounds(raw, [take]), read_sounds(raw, [played])
    rate = recording.sample_rate_hz
    if rate != stimulus.sample_rate_hz:
        problem = f"was recorded at {rate} Hz, and its stimulus {take.stimulus}"
        problem += f" has {stimulus.sample_rate_hz} Hz"
        raise ReadError(take.path, problem, "use one sample rate for both")
    try:
        tones = steady_tones.tones_in(stimulus.samples[0], rate)
    except steady_tones.NotSteadyTonesError as error:
        raise ReadError(take.stimulus, f"can't be used for {take.path}: {error}", _AGAIN) from error
    if (tones.size == 2) != (take.key.kind is TakeKind.TWO_TONES):
        count = f"{tones.size} tones, and is stated as {str(take.key.kind).replace('_', ' ')}"
        raise ReadError(take.path, f"is of {count}", "correct its kind in takes.toml")
    if tones.size == 2 and (tones[1] <= 4 * tones[0] or tones[1] + 2 * tones[0] >= rate / 2):
        problem = "has tones that are less than two octaves apart, or too high"
        raise ReadError(take.stimulus, problem, "take a low one and one over four times as high")
    try:
        samples = recording.samples[0][steady_tones.steady_part(recording.samples[0], rate)]
    except steady_tones.NotSteadyTonesError as error:
        raise ReadError(take.path, f"can't be used: {error}", _AGAIN) from error
    _require_held(take, samples, rate, tones)
    return samples.astype(np.float64), recording, tones


def _require_held(take: Take, samples: npt.NDArray[np.float32], rate: int, tones: Ints) -> None:
    if steady_tones.held_part(samples, rate, tones) < HELD_PART:
        raise ReadError(take.path, f"doesn't hold the tones of {take.stimulus}", _AGAIN)
    pace = steady_tones.pace_difference(samples, rate, tones)
    if abs(pace) * tones[-1] > SAME_PACE_HZ:
        problem = (
            f"was recorded by another clock than it was played by ({1e6 * abs(pace):.2g} parts in a million)"
        )
        raise ReadError(take.path, problem, "play and record with one device")


def _heard(facts: CaseFacts, takes: Sequence[Take], raw: Path, take: Take) -> _Heard:
    samples, recording, tones = _steady(raw, take)
    rate = recording.sample_rate_hz
    lines = np.arange(rate // 2 + 1, dtype=np.float64)
    weight, scale = np.ones(lines.size), None
    if facts.rig.distance_m is not None:
        try:
            calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)
        except CaseError:
            pass
        else:
            pa, known = calibration.pressure_per_full_scale(np.maximum(lines, 1.0))
            weight, scale = np.where(known, pa, calibration.pa_per_full_scale), facts.rig.distance_m
    found = _weighted(many_tones(samples, rate, tones, rate), weight)
    quiet_take = silence(raw, takes, rate)
    noise = found.noise_power / found.blocks
    if quiet_take is None:
        spread = np.sqrt((2.0 * np.maximum(found.power, 0.0) + noise) * noise)
        return _Heard(take, tones, found.power, noise, spread, scale, NoiseFrom.ITSELF)
    quiet = _weighted(many_tones(quiet_take.samples, rate, tones, rate), weight)
    hidden = quiet.noise_power / found.blocks
    # what stands still in silence, such as hum, stands in the recording too
    stands = quiet.power > OVER_NOISE * quiet.noise_power / quiet.blocks
    hum = np.where(stands, quiet.power, 0.0)
    noise = np.maximum(noise, hidden)
    spread = np.sqrt((2.0 * np.maximum(found.power, 0.0) + noise) * noise + hum**2)
    power = np.where(found.tone, found.power, found.power - hum)
    return _Heard(take, tones, power, noise + hum, spread, scale, NoiseFrom.SILENCE)


def _weighted(found: ManyTones, weight: Floats) -> ManyTones:
    return replace(found, power=found.power * weight**2, noise_power=found.noise_power * weight**2)


def _two(heard: _Heard) -> TwoTones:
    low, high = (int(f) for f in heard.tones_hz)
    carrier = float(heard.power[high])
    return TwoTones(
        take=heard.take.id,
        drive=drive_of(heard.take),
        low_hz=float(low),
        high_hz=float(high),
        level_db=heard.level_db,
        hours=heard.hours,
        second=_sidebands(heard, high, low, carrier),
        third=_sidebands(heard, high, 2 * low, carrier),
        noise_from=heard.noise_from,
    )


def _sidebands(heard: _Heard, high: int, apart: int, carrier: float) -> Added:
    """Amplitudes of both sidebands together re the high tone."""
    lines = np.array([high - apart, high + apart])
    power = np.maximum(heard.power[lines], 0.0) / carrier
    noise = heard.noise[lines] / carrier
    _, is_heard, _ = heard.told(lines, carrier)
    if not is_heard:
        return Added(float(np.sum(np.sqrt(power + OVER_NOISE * noise))), False, 0.0)
    # of a sideband that noise hides the amplitude is unsure by no more than the noise's own
    unsure = heard.spread[lines] / carrier / (2.0 * np.sqrt(np.maximum(power, 0.25 * noise)))
    return Added(float(np.sum(np.sqrt(power))), True, float(np.hypot(*unsure)))


def _many(heard: _Heard) -> Multitone:
    hertz = np.arange(heard.power.size)
    tone = np.isin(hertz, heard.tones_hz)
    whole = float(heard.power[tone].sum())
    low, high = band_edges_hz(np.array(BANDS), 3)
    rows = []
    for band in range(len(BANDS)):
        inside = (hertz >= low[band]) & (hertz < high[band])
        if (inside & tone).any() and (inside & ~tone).any():
            power, is_heard, unsure = heard.told(inside & ~tone, whole)
            level = _db(float(heard.power[inside & tone].sum()) / whole)
            middle = float(mid_frequency_hz(np.array([BANDS[band]]), 3)[0])
            unsure_db = float(10.0 / np.log(10.0) * unsure / power)
            rows.append((middle, level, _db(power), is_heard, unsure_db))
    counted = (hertz >= heard.tones_hz[0]) & (hertz <= HIGHEST_HZ) & ~tone
    power, is_heard, unsure = heard.told(counted, whole)
    return Multitone(
        take=heard.take.id,
        drive=drive_of(heard.take),
        tones=int(heard.tones_hz.size),
        level_db=heard.level_db,
        hours=heard.hours,
        total=Added(power**0.5, is_heard, 0.5 * unsure / power**0.5),
        bands_hz=tuple(row[0] for row in rows),
        tones_db=tuple(row[1] for row in rows),
        between_db=tuple(row[2] for row in rows),
        heard=tuple(row[3] for row in rows),
        uncertainty_db=tuple(row[4] for row in rows),
        noise_from=heard.noise_from,
    )


def _db(power: float) -> float:
    return float(10.0 * np.log10(max(power, 1e-20)))
