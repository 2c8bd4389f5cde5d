"""Self-noise: what a loudspeaker sounds like that is on and plays nothing, beside the room without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

from earwitness.measurement import stated
from earwitness.measurement.calibration import Calibration, calibrate
from earwitness.measurement.readers.signals import read_sounds
from earwitness.methods.iec_61260 import band_edges_hz, mid_frequency_hz
from earwitness.methods.iec_61672 import a_weighting_db
from earwitness.records.errors import ReadError
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import REFERENCE_PRESSURE_PA
from earwitness.records.long_term import SelfNoise
from earwitness.records.takes import Take, TakeKind

Floats = npt.NDArray[np.float64]

#: What counts for the level, Hz, and the third octaves in it, by their number from 1 kHz.
BAND_HZ: Final = (20.0, 20_000.0)
BANDS: Final = tuple(range(-17, 14))
#: Blocks of so many seconds; at least so many of them.
BLOCK_S: Final = 0.5
FEWEST: Final = 4
#: Noise of the loudspeaker and the room together counts where it is so much over the room's alone.
OVER_DB: Final = 3.0
#: Silence in digits is told as this, Pa².
TINY_PA2: Final = 1e-14


def self_noise(facts: CaseFacts, takes: Sequence[Take], raw: Path) -> SelfNoise | None:
    """The self-noise at the stated distance of its take, or the rig's; None where a case has no such take.

    Raises
    ------
    CaseError, ReadError
        A recording can't be read, is too short, or has no level (`calibration.calibrate`).
    """
    own = sorted((t for t in takes if t.key.kind is TakeKind.SELF_NOISE), key=lambda take: take.id)
    if not own:
        return None
    room = sorted((t for t in takes if t.key.kind is TakeKind.NOISE), key=lambda take: take.id)
    calibration = calibrate(raw, takes, facts.rig.pa_per_full_scale)
    power = _power(raw, own[0], calibration)
    told, quiet, unsure, is_bound = power.weighted, None, power.spread, True
    beside: tuple[float, ...] = ()
    if room:
        hidden = _power(raw, room[0], calibration)
        quiet, beside = hidden.weighted, tuple(_db(float(p)) for p in hidden.thirds)
        is_bound = told < quiet * 10.0 ** (OVER_DB / 10.0)
        if not is_bound:
            unsure = float(np.hypot(power.spread * told, hidden.spread * quiet)) / (told - quiet)
            told -= quiet
    return SelfNoise(
        takes=tuple(take.id for take in (own[0], *room[:1])),
        distance_m=own[0].distance_m or stated.distance_m(facts.rig),
        level_dba=_db(told),
        is_bound=is_bound,
        uncertainty_db=10.0 / float(np.log(10.0)) * unsure,
        room_dba=None if quiet is None else _db(quiet),
        third_octaves_hz=tuple(float(f) for f in mid_frequency_hz(np.array(BANDS), 3)),
        third_octaves_db=tuple(_db(float(p)) for p in power.thirds),
        room_third_octaves_db=beside,
    )


@dataclass(frozen=True)
class _Power:
    """Mean square pressure by line (F,), Pa², and what a second block would differ by, a part of it."""

    frequency_hz: Floats
    power: Floats
    spread: float

    @property
    def weighted(self) -> float:
        """A-weighted, all of it."""
        inside = (self.frequency_hz >= BAND_HZ[0]) & (self.frequency_hz <= BAND_HZ[1])
        weight = 10.0 ** (0.1 * a_weighting_db(self.frequency_hz[inside]))
        return float(np.sum(weight * self.power[inside]))

    @property
    def thirds(self) -> Floats:
        """In each third octave of `BANDS`; lines that an edge cuts count by their part."""
        low, high = band_edges_hz(np.array(BANDS), 3)
        half = 0.5 / BLOCK_S
        ends = np.clip(self.frequency_hz + half, low[:, None], high[:, None])
        starts = np.clip(self.frequency_hz - half, low[:, None], high[:, None])
        return np.asarray(((ends - starts) * BLOCK_S) @ self.power)


def _power(raw: Path, take: Take, calibration: Calibration) -> _Power:
    """The mean over blocks with Hann windows."""
    (recording,) = read_sounds(raw, [take])
    rate = recording.sample_rate_hz
    block = round(BLOCK_S * rate)
    samples = recording.samples[0].astype(np.float64)
    count = samples.size // block
    if count < FEWEST:
        remedy = f"record {FEWEST * BLOCK_S:g} s of it at least"
        raise ReadError(take.path, f"is {samples.size / rate:.2f} s of noise, too short", remedy)
    window = np.hanning(block + 1)[:-1]
    blocks = samples[: count * block].reshape(count, block) * window
    lines = scipy.fft.rfftfreq(block, 1.0 / rate)[1:-1]
    square = np.abs(scipy.fft.rfft(blocks, axis=1)[:, 1:-1]) ** 2 * 2.0 / (block * np.sum(window**2))
    pa, known = calibration.pressure_per_full_scale(lines)
    each = square * np.where(known, pa, calibration.pa_per_full_scale) ** 2
    whole = np.array([_Power(lines, one, 0.0).weighted for one in each])
    spread = float(np.std(whole, ddof=1) / np.sqrt(count) / np.mean(whole))
    return _Power(lines, each.mean(axis=0), spread)


def _db(power: float) -> float:
    return float(10.0 * np.log10(max(power, TINY_PA2) / REFERENCE_PRESSURE_PA**2))
