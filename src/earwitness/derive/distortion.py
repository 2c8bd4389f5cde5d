"""Distortion, change of level and clean output of one place, from its orders at several drives.

Definitions of our own where the documents leave room: powers of harmonics and of the fundamental are means
over a sixth of an octave each, so that neither a dip nor noise at one point speaks; clean output is the level
of the fundamental in a third-octave band at the drive at which the first of two limits is passed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from earwitness.acoustics import noise
from earwitness.acoustics.harmonics import COVERAGE_FACTOR
from earwitness.acoustics.passing import Passing, earliest, first_passing
from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.clean_limits import CLEAN_CHANGE_DB, CLEAN_DISTORTION
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ, mean_level_db
from earwitness.methods.iec_61260 import band_edges_hz, mid_frequency_hz
from earwitness.records.distortion import LevelSeries
from earwitness.records.grid import POINTS_PER_OCTAVE, REFERENCE_PRESSURE_PA, Bools, Floats

#: Harmonics that sound above this don't count.
HIGHEST_HZ: Final = 20_000.0
#: Powers are means over one over this many octaves.
FRACTION: Final = 6
#: The bands of clean output: third octaves from 25 Hz to 8 kHz, by their number from 1 kHz.
BANDS: Final = tuple(range(-16, 10))
#: Changes of level are told down to this part of their limit.
LEAST_CHANGE: Final = 0.05
#: Ratios of power are told down to this.
LEAST_POWER: Final = 1e-16


@dataclass(frozen=True)
class Distortion:
    """Total harmonic distortion at each drive.

    Attributes
    ----------
    frequency_hz
        Shape (F,): of excitation.
    nominal_db, arrived_db
        Shape (D,): mean level from 300 Hz to 3 kHz at 1 m: at the lowest drive raised by the drive's gain,
        and as it was found at each drive.
    ratio
        Shape (D, F): harmonics re the fundamental, noise taken off; where they aren't heard, what they stay
        below, two standard uncertainties over what was found. NaN where not valid.
    re_mean
        Shape (D, F): the same re the fundamental's mean level, which no dip on axis can fake.
    heard
        Shape (D, F): 10 dB or more over the noise.
    uncertainty
        Shape (D, F): standard uncertainty of `ratio` by noise; NaN where not heard or not known.
    valid
        Shape (D, F).
    """

    frequency_hz: Floats
    nominal_db: Floats
    arrived_db: Floats
    ratio: Floats
    re_mean: Floats
    heard: Bools
    uncertainty: Floats
    valid: Bools


@dataclass(frozen=True)
class Change:
    """How the fundamental changes with the drive, against the lowest one, dB, shape (D, F) each.

    `narrow_db` is of means over a sixth of an octave, `broad_db` over an octave; positive is expansion.
    """

    narrow_db: Floats
    broad_db: Floats


@dataclass(frozen=True)
class CleanOutput:
    """Clean output by third-octave band: mid frequencies (B,), and the level at which a limit is passed.

    `output` is of the limit that is passed first; `by_distortion` and `by_change` are of each alone.
    `level_db`, `distortion_db` and `off_db` (D, B) are what they rest on: the band's level at 1 m, its
    distortion re the fundamental and the magnitude of its change; NaN where not known.
    """

    mid_hz: Floats
    output: Passing
    by_distortion: Passing
    by_change: Passing
    level_db: Floats
    distortion_db: Floats
    off_db: Floats


def total_distortion(series: LevelSeries) -> Distortion | None:
    """Total harmonic distortion of a series; None where its level can't be told from 300 Hz to 3 kHz."""
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    power = np.abs(series.pressure).astype(np.float64) ** 2
    orders = np.array(series.order)
    sounding = np.multiply.outer(orders, f) <= HIGHEST_HZ
    used = series.valid & sounding & (orders > 1)[:, None]
    valid = series.valid[:, 0] & used[:, 1]
    found = np.where(used, power, 0.0).sum(axis=1)
    hidden = np.where(used, series.noise_power, 0.0).sum(axis=1)
    levels = _fundamental_db(series)
    inside = (f >= SENSITIVITY_BAND_HZ[0] / 1.01) & (f <= SENSITIVITY_BAND_HZ[1] * 1.01)
    if not np.isfinite(levels[:, inside]).all():
        return None
    arrived = np.array([float(mean_level_db(f[inside], row[inside])) for row in levels])
    total, whole = smooth_power(found, valid, FRACTION, POINTS_PER_OCTAVE)
    noise_power, _ = smooth_power(hidden, valid, FRACTION, POINTS_PER_OCTAVE)
    fundamental, _ = smooth_power(power[:, 0], valid, FRACTION, POINTS_PER_OCTAVE)
    with np.errstate(invalid="ignore", divide="ignore"):
        heard = whole & ~noise.hides(np.asarray(total, dtype=float), np.asarray(noise_power, dtype=float))
        signal = np.where(heard, total - np.nan_to_num(noise_power), np.nan)
        below = (np.sqrt(total) + COVERAGE_FACTOR * np.sqrt(0.5 * noise_power)) ** 2
        told = np.where(heard, signal, below)
        spread = np.sqrt(2.0 * signal * noise_power + noise_power**2)
        ratio = np.sqrt(told / fundamental)
        uncertainty = 0.5 * spread / signal * ratio
    mean_power = REFERENCE_PRESSURE_PA**2 * 10.0 ** (0.1 * arrived)
    return Distortion(
        frequency_hz=f,
        nominal_db=arrived[0] + drives_db(series),
        arrived_db=arrived,
        ratio=ratio,
        re_mean=np.sqrt(told / mean_power[:, None]),
        heard=heard,
        uncertainty=uncertainty,
        valid=whole,
    )


def change_passing(level_db: Floats, changed_db: Floats, gain_db: Floats, limit_db: float) -> Passing:
    """The level (D, B) at which its change (D, B) against the lowest drive first passes a limit.

    Between drives the change is straight in its logarithm over the gain: one that grows as a power of the
    drive, as that of a weak nonlinearity does, is met exactly.
    """
    off = log_change(np.abs(changed_db), limit_db)
    gain, ends = first_passing(gain_db[:, None], off, 0.0), first_passing(level_db, off, 0.0)
    first = np.argmax(np.nan_to_num(off, nan=-1.0) > 0.0, axis=0)
    sign = np.sign(np.take_along_axis(changed_db, first[None], axis=0)[0])
    met = level_db[0] + gain.level_db + sign * limit_db
    return replace(ends, level_db=np.where(ends.found, met, ends.level_db))


def log_change(off_db: Floats, limit_db: float) -> Floats:
    """The magnitude of a change re its limit, as its natural logarithm, from a twentieth of it up."""
    return np.asarray(np.log(np.maximum(off_db / limit_db, LEAST_CHANGE)))


def drives_db(series: LevelSeries) -> Floats:
    """Each drive over the lowest one, dB, shape (D,)."""
    values = np.array([drive.value for drive in series.drives])
    if series.drives[0].in_decibels:
        return np.asarray(values - values[0])
    return np.asarray(20.0 * np.log10(values / values[0]))


def change(series: LevelSeries) -> Change:
    """How much more or less the fundamental rises than the drive."""
    power = np.abs(series.pressure[:, 0]).astype(np.float64) ** 2
    told = [smooth_power(power, series.valid[:, 0], b, POINTS_PER_OCTAVE)[0] for b in (FRACTION, 1)]
    narrow, broad = (10.0 * np.log10(one / one[:1]) - drives_db(series)[:, None] for one in told)
    return Change(narrow, broad)


def clean_output(series: LevelSeries, distortion: Distortion) -> CleanOutput:
    """The level of the fundamental up to which distortion and change stay within their limits, by band.

    A band is told where all of it is valid, from the lowest drive up at which noise hides no more than is
    allowed: below that, distortion is taken to be no higher. Its distortion is that of the mean powers of
    the band, its change that of its mean level.
    """
    low, high = band_edges_hz(BANDS, 3)
    power = np.abs(series.pressure[:, 0]).astype(np.float64) ** 2
    unknown = ~distortion.heard & ~(distortion.ratio <= CLEAN_DISTORTION)
    harmonics = np.where(unknown, np.nan, distortion.ratio**2) * power
    valid = series.valid[:, 0]
    level = _band_means(power, valid, distortion.frequency_hz, low, high)
    added = _band_means(harmonics, valid & distortion.valid, distortion.frequency_hz, low, high)
    level_db = 10.0 * np.log10(level / REFERENCE_PRESSURE_PA**2)
    gain_db = drives_db(series)
    changed_db = level_db - level_db[:1] - gain_db[:, None]
    with np.errstate(invalid="ignore"):
        added_db = 10.0 * np.log10(np.maximum(added / level, LEAST_POWER))
    distorted = first_passing(level_db, added_db, 20.0 * np.log10(CLEAN_DISTORTION), hidden_below=True)
    changed = change_passing(level_db, changed_db, gain_db, CLEAN_CHANGE_DB)
    first = earliest([distorted, changed])
    return CleanOutput(
        mid_frequency_hz(BANDS, 3), first, distorted, changed, level_db, added_db, np.abs(changed_db)
    )


def _fundamental_db(series: LevelSeries) -> Floats:
    power = np.abs(series.pressure[:, 0]).astype(np.float64) ** 2
    heard = series.valid[:, 0] & (power > 0.0)
    return np.where(heard, 10.0 * np.log10(np.where(heard, power, 1.0) / REFERENCE_PRESSURE_PA**2), np.nan)


def _band_means(power: Floats, valid: Bools, frequency_hz: Floats, low_hz: Floats, high_hz: Floats) -> Floats:
    """Mean power of each band, shape (D, B); NaN where part of it isn't valid."""
    found = np.full((power.shape[0], len(low_hz)), np.nan)
    for band, (low, high) in enumerate(zip(low_hz, high_hz, strict=True)):
        inside = (frequency_hz >= low) & (frequency_hz < high)
        whole = low >= frequency_hz[0] / 1.01 and inside.any()
        if whole:
            mean = np.where(valid[:, inside], power[:, inside], np.nan).mean(axis=1)
            found[:, band] = mean
    return found
