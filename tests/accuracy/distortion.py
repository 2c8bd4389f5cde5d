"""Large signals: a scenario recorded at its drives, and what the product makes of it, against what is true.

The truth is that of steady tones (`virtual.tones`), another computation than that of the sweeps. Variations
by seed change how a driver's parameters depend on its displacement, and how loud the room is. Coils stay
cold, so that nothing but the drive changes a level.
"""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from pydantic import TypeAdapter

from earwitness.derive.distortion import change, clean_output, total_distortion
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.levels import level_series
from earwitness.measurement.reduction import reduce
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.virtual.files import MICROPHONE, STIMULUS
from earwitness.virtual.scenario import FOLDER, Scenario, from_text
from earwitness.virtual.toml_text import toml_text
from earwitness.virtual.tones import Tones

Floats = npt.NDArray[np.floating]
Complexes = npt.NDArray[np.complexfloating]
Bools = npt.NDArray[np.bool_]

#: Frequencies of the truth, each a point of the derived grid: 1000·2^(k/12) Hz, every eighth point.
TONES_HZ: Final = 1000.0 * 2.0 ** (np.arange(-67, 52) / 12.0)
REFERENCE_PA: Final = 20e-6
#: Names of the loudspeakers that are recorded at six drives and more.
LARGE: Final = ("thimble", "ladle")
LARGE_SEEDS: Final = (None, 21, 22, 23)
#: A driver's facts at large signal, and by what they vary: shares of themselves, or of the first named.
VARIES: Final = {
    "force_half_m": (0.8, 1.5),
    "stiffness_double_m": (0.8, 1.5),
}
OFFSETS: Final = {"force_offset_m": "force_half_m", "stiffness_offset_m": "stiffness_double_m"}
OFFSET_SHARE: Final = 0.15
#: Sweeps last so long; a faster one lets a vented box settle less about its tuning, which is to be noticed.
SWEEP_S: Final = 6.0
#: From this signal-to-noise ratio up a harmonic is to be within half a decibel; from the other it is heard.
CLEAR_DB: Final = 28.0
HEARD_DB: Final = 10.0
OCTAVES_HZ: Final = tuple(1000.0 * 2.0**k for k in range(-4, 3))
LOUDER_DB: Final = (-20.0, 10.0)
#: Steps of drive in which the truth of what passes a limit is looked for.
FINE_DB: Final = 0.5
#: Bands of clean output: third octaves from 50 Hz to 1 kHz (IEC 61260-1, base ten), of which four tones each.
BANDS: Final = tuple(range(-13, 1))
CLEAN_RATIO: Final = 0.03
CLEAN_CHANGE_DB: Final = 1.0


@dataclass(frozen=True)
class LargeCase:
    """A scenario's level series as the product found it, and steady tones of the same loudspeaker."""

    scenario: Scenario
    series: LevelSeries
    near: tuple[LevelSeries, ...]

    @cached_property
    def tones(self) -> Tones:
        """The loudspeaker asked for steady tones at the microphone."""
        player = self.scenario.session.player
        assert player is not None
        ahead = np.array([[self.scenario.turntable.distance_m, 0.0, 0.0]])
        return Tones(self.scenario.loudspeaker, player.electronics, self.scenario.air, TONES_HZ, ahead)

    def true_pa(self, drives_v: Sequence[float]) -> Complexes:
        """Pressure at 1 m of orders 1 to 5 at rising drives, Pa RMS, (D, 5, F)."""
        moved = self.tones.volume_velocities(drives_v)
        return np.stack(self.tones.pressures(moved)) * self.scenario.turntable.distance_m

    @cached_property
    def true(self) -> Complexes:
        """That at the drives of the series."""
        return self.true_pa([drive.value for drive in self.series.drives])

    @cached_property
    def fine(self) -> tuple[Floats, Complexes]:
        """Drives `FINE_DB` apart from the lowest to the highest of the series, V, and the truth at them."""
        ends = [self.series.drives[row].value for row in (0, -1)]
        steps = round(20.0 * np.log10(ends[1] / ends[0]) / FINE_DB)
        drives = np.geomspace(ends[0], ends[1], steps + 1)
        return drives, self.true_pa(drives.tolist())

    @property
    def at(self) -> npt.NDArray[np.int_]:
        """Places of `TONES_HZ` on the derived grid."""
        grid = self.series.frequency_hz
        return np.asarray(np.argmin(np.abs(np.log(grid[None] / TONES_HZ[:, None])), axis=1))


def varied(name: str, seed: int | None = None) -> Scenario:
    """A scenario with cold coils; with a seed its driver and its room's noise are others."""
    document = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    rng = np.random.default_rng(seed)
    for box in document["enclosures"]:
        for unit in box["drive_units"]:
            unit.pop("heating", None)
            if seed is not None and "large_signal" in unit:
                unit["large_signal"] = _varied(unit["large_signal"], rng)
        for port in box.get("ports", []):
            port.pop("noise", None)
    scenario = from_text(name, toml_text(document))
    if seed is None:
        return scenario
    room = scenario.session.workshop.room
    ambient = room.ambient_pa * 10.0 ** (rng.uniform(*LOUDER_DB) / 20.0)
    workshop = dataclasses.replace(
        scenario.session.workshop, room=dataclasses.replace(room, ambient_pa=float(ambient))
    )
    session = dataclasses.replace(scenario.session, workshop=workshop, seed=1000 + seed)
    return dataclasses.replace(scenario, session=session)


def _varied(large: dict[str, float], rng: np.random.Generator) -> dict[str, float]:
    found = dict(large)
    for name, share in VARIES.items():
        found[name] = large[name] * float(rng.uniform(*share))
    for name, of in OFFSETS.items():
        found[name] = large[of] * float(rng.uniform(-OFFSET_SHARE, OFFSET_SHARE))
    found["inductance_fall"] = float(rng.uniform(0.0, 0.4))
    return found


def record(scenario: Scenario, folder: Path, sweep_s: float = SWEEP_S) -> LargeCase:
    """Record on axis at all drives and near by, and take the files through the product's own steps."""
    session = scenario.session
    ahead = next(t for t in session.turns if t.angle_deg == 0 and t.orbit == "horizontal")
    turns, near = (ahead, *session.levels), session.near_fields
    names = [STIMULUS, MICROPHONE, *(t.name for t in turns), *(n.name for n in near)]
    session.record(folder, only=names, sweep_s=sweep_s)
    on_axis = Direction(Orbit.HORIZONTAL, 0.0)
    takes = [
        Take(STIMULUS, TakeKey(TakeKind.STIMULUS)),
        Take(MICROPHONE, TakeKey(TakeKind.MICROPHONE_CALIBRATION)),
        *(Take(t.name, TakeKey(TakeKind.SWEEP, on_axis, Drive(t.drive_v)), stimulus=STIMULUS) for t in turns),
        *(
            Take(
                n.name,
                TakeKey(TakeKind.NEAR_FIELD, drive=Drive(n.drive_v), radiator=n.way),
                stimulus=STIMULUS,
                distance_m=n.gap_m,
            )
            for n in near
        ),
    ]
    facts = _facts(scenario)
    heard = {take.id: response for take, response in deconvolve(folder, takes)}
    responses = reduce(facts, takes, heard, folder)
    found = level_series(facts, takes, heard, responses, folder)
    on = next(one for one in found if one.radiator is None)
    return LargeCase(scenario, on, tuple(one for one in found if one.radiator))


def _facts(scenario: Scenario) -> CaseFacts:
    document: dict[str, Any] = tomllib.loads(scenario.facts.read_text(encoding="utf-8"))
    kept = {key: document[key] for key in ("unit", "rig", "uncertainty")}
    kept["rig"]["pa_per_full_scale"] = scenario.session.workshop.chain.full_scale_pa
    return TypeAdapter(CaseFacts).validate_python(kept)


def true_distortion(pressure: Complexes) -> Floats:
    """Orders 2 to 5 re the fundamental, (..., F), of pressures (..., 5, F)."""
    power = np.abs(pressure) ** 2
    return np.asarray(np.sqrt(power[..., 1:, :].sum(axis=-2) / power[..., 0, :]))


def true_clean_db(case: LargeCase) -> Floats:
    """Level at 1 m at which 3 % or 1 dB is passed first in each of `BANDS`; inf where neither is, (B,)."""
    drives, pressure = case.fine
    power = np.abs(pressure) ** 2
    gain_db = 20.0 * np.log10(drives / drives[0])
    found = np.full(len(BANDS), np.inf)
    for place, number in enumerate(BANDS):
        middle = 1000.0 * 10.0 ** (number / 10.0)
        # each tone stands for the twelfth of an octave about it, as far as the band reaches into it
        low = np.maximum(TONES_HZ * 2.0 ** (-1 / 24), middle * 10.0**-0.05)
        high = np.minimum(TONES_HZ * 2.0 ** (1 / 24), middle * 10.0**0.05)
        weight = np.maximum(np.log(high / low), 0.0)
        level = 10.0 * np.log10(power[:, 0] @ weight / weight.sum() / REFERENCE_PA**2)
        ratio = np.sqrt((power[:, 1:].sum(axis=1) @ weight) / (power[:, 0] @ weight))
        off = np.abs(level - level[0] - gain_db)
        over = (ratio > CLEAN_RATIO) | (off > CLEAN_CHANGE_DB)
        if over.any():
            first = int(np.argmax(over))
            found[place] = -np.inf if first == 0 else _passes(level, ratio, off, first)
    return found


def _passes(level: Floats, ratio: Floats, off: Floats, first: int) -> float:
    """Between two fine drives, straight."""
    places = [
        (limit - values[first - 1]) / (values[first] - values[first - 1])
        for values, limit in ((ratio, CLEAN_RATIO), (off, CLEAN_CHANGE_DB))
        if values[first] > limit
    ]
    return float(level[first - 1] + min(places) * (level[first] - level[first - 1]))


@dataclass(frozen=True)
class Harmonics:
    """Levels of harmonics in the free field less the true ones, dB, and their uncertainty by noise alone.

    Each of shape (n,): of orders 2 to 5 from 10 dB of signal to noise up.
    """

    error_db: Floats
    uncertainty_db: Floats
    snr_db: Floats

    @property
    def clear(self) -> Bools:
        """Where half a decibel is promised."""
        return np.asarray(self.snr_db >= CLEAR_DB)


def harmonics(case: LargeCase) -> Harmonics:
    """Of all drives."""
    series, at = case.series, case.at
    found = np.abs(series.pressure[:, 1:5][..., at]).astype(np.float64) ** 2
    added = series.noise_power[:, 1:5][..., at]
    true = np.abs(case.true[:, 1:5])
    known = series.valid[:, 1:5][..., at] & series.free_field[1:5][..., at]
    known &= true > 0.0
    with np.errstate(invalid="ignore", divide="ignore"):
        snr = 10.0 * np.log10(found / added)
        known &= snr >= HEARD_DB
        power = np.where(known, found - added, 1.0)
        error = 10.0 * np.log10(power / np.where(known, true, 1.0) ** 2)
        spread = 10.0 / np.log(10.0) * np.sqrt(2.0 * power * added + added**2) / power
    return Harmonics(error[known], spread[known], snr[known])


def octave_change_db(case: LargeCase) -> Floats:
    """True change of the mean level of each of `OCTAVES_HZ` against the lowest drive, dB, (D, B)."""
    power = np.abs(case.true[:, 0]) ** 2
    gain_db = 20.0 * np.log10([drive.value / case.series.drives[0].value for drive in case.series.drives])
    found = []
    for middle in OCTAVES_HZ:
        apart = np.abs(np.log2(TONES_HZ / middle))
        weight = np.clip(12.0 * (0.5 - apart) + 0.5, 0.0, 1.0)
        found.append(10.0 * np.log10((power @ weight) / (power[0] @ weight)) - gain_db)
    return np.stack(found, axis=-1)


def true_from_hz(case: LargeCase, row: int, limit: float) -> float:
    """From where up the true distortion at one drive stays below a limit, as far as third orders sound."""
    ratio = true_distortion(case.true[row])[3.0 * TONES_HZ <= 20_000.0]
    last = int(np.flatnonzero(ratio > limit)[-1])
    over, under = np.log(ratio[last : last + 2] / limit)
    return float(TONES_HZ[last] * 2.0 ** (over / (over - under) / 12.0))


def mean_level_db(case: LargeCase) -> Floats:
    """True mean level from 300 Hz to 3 kHz at 1 m at each drive, power over log f, (D,)."""
    inside = (TONES_HZ > 299.0) & (TONES_HZ < 3001.0)
    power = np.abs(case.true[:, 0, inside]) ** 2
    return np.asarray(10.0 * np.log10(power.mean(axis=-1) / REFERENCE_PA**2))


@dataclass(frozen=True)
class LargeErrors:
    """Largest errors of one case, dB, and how many values they are of.

    `inside` is the share of harmonics from 10 to 28 dB of signal to noise within two uncertainties;
    `clean_db` is of the bands of clean output in which a limit is passed.
    """

    count: int
    rms_db: float
    largest_db: float
    inside: float
    change_db: float
    clean_count: int
    clean_db: float


def large_errors(name: str, seed: int | None, folder: Path) -> LargeErrors:
    """Record a case and hold it against its truth."""
    case = record(varied(name, seed), folder)
    found = harmonics(case)
    clear, error = found.clear, np.abs(found.error_db)
    at = [int(np.argmin(np.abs(np.log(case.series.frequency_hz / f)))) for f in OCTAVES_HZ]
    changed = change(case.series).broad_db[:, at] - octave_change_db(case)
    distortion = total_distortion(case.series)
    assert distortion is not None
    clean = clean_output(case.series, distortion)
    bands = [int(np.argmin(np.abs(np.log10(clean.mid_hz / 1000.0) - k / 10.0))) for k in BANDS]
    passed = clean.output.found[bands]
    off = np.abs(clean.output.level_db[bands] - true_clean_db(case))[passed]
    return LargeErrors(
        count=int(clear.sum()),
        rms_db=float(np.sqrt(np.mean(error[clear] ** 2))),
        largest_db=float(error[clear].max()),
        inside=float((error <= 2.0 * found.uncertainty_db)[~clear].mean()),
        change_db=float(np.abs(changed).max()),
        clean_count=int(passed.sum()),
        clean_db=float(off.max()) if passed.any() else np.nan,
    )
