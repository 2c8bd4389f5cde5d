"""At which level and drive, and where, the fundamental is off by so much, over an octave and over a sixth."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.passing import crossing, first_passing
from earwitness.derive.distortion import FRACTION, Distortion, change, log_change
from earwitness.derive.distortion_spread import (
    Components,
    Draws,
    band_errors_db,
    deviation,
    in_sensitivity_band,
    mean_noise_db,
)
from earwitness.derive.formatting import value_text
from earwitness.derive.level_form import NO_LEVEL, drive_key, drive_over, figure_of, with_components
from earwitness.derive.wording import band_words, module_number
from earwitness.records.distortion import LevelSeries
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Bools, Floats
from earwitness.records.sentences import Sentence, say
from earwitness.records.uncertainty import ComponentName

#: Compression is looked for in this band; its figures are of the second of these limits.
CHANGE_BAND_HZ: Final = (50.0, 8_000.0)
CHANGES_DB: Final = (0.5, 1.0, 2.0, 3.0)
STATED_CHANGE: Final = 1
FREQUENCY: Final = "frequency"
#: What the change of the narrowest and of the broadest means is at the highest drive, the greatest of each.
GREATEST: Final = "greatest change at the highest drive, dB"
_OCTAVES: Final = {FigureName.COMPRESSION: 0.5, FigureName.COMPRESSION_NARROW: 0.5 / FRACTION}


def compression_figures(series: LevelSeries, found: Distortion | None, draws: Draws) -> tuple[Figure, Figure]:
    """Both: of an octave, and of a sixth of one."""
    changed = change(series)
    return (
        _compression(FigureName.COMPRESSION, series, found, changed.broad_db, draws),
        _compression(FigureName.COMPRESSION_NARROW, series, found, changed.narrow_db, draws),
    )


def _compression(
    name: FigureName, series: LevelSeries, found: Distortion | None, changed_db: Floats, draws: Draws
) -> Figure:
    """The level at 1 m from which the fundamental is off by 1 dB somewhere, dB; by others beside it."""
    conditions, stated = _conditions(name), CHANGES_DB[STATED_CHANGE]
    if found is None:
        return figure_of(name, NO_LEVEL, "dB", conditions, series)
    f = found.frequency_hz
    inside = (f >= CHANGE_BAND_HZ[0]) & (f <= CHANGE_BAND_HZ[1])
    off = np.abs(changed_db[:, inside])
    known = np.isfinite(off).all(axis=0)
    if not known.any():
        absent = NotAvailable("no octave is valid at every drive")
        return figure_of(name, absent, "dB", conditions, series)
    most, at_hz = off[:, known].max(axis=1), f[inside][known][np.argmax(off[:, known], axis=1)]
    greatest = int(np.argmax(off[-1, known]))
    also = {GREATEST: float(changed_db[-1, inside][known][greatest])}
    for limit in CHANGES_DB:
        also |= _beside(series, found, most, at_hz, limit)
    passed = first_passing(found.nominal_db[:, None], log_change(most, stated)[:, None], 0.0)
    value: Value = Quantity(float(passed.level_db[0]))
    if not passed.found[0]:
        value = Bound(float(passed.level_db[0]), "at least" if passed.at_least[0] else "at most")
        return figure_of(name, value, "dB", conditions, series, also=also, band=CHANGE_BAND_HZ)
    octave = np.abs(np.log2(f / also[FREQUENCY])) <= _OCTAVES[name]
    level = band_errors_db(draws, in_sensitivity_band(f))
    components = {each: deviation(error) for each, error in level.items()}
    components |= of_change(series, octave, found.nominal_db, most, stated)
    told = figure_of(name, value, "dB", conditions, series, also=also, band=CHANGE_BAND_HZ)
    return with_components(told, components)


def _conditions(name: FigureName) -> Sentence:
    stated = CHANGES_DB[STATED_CHANGE]
    path = f"derive.compression_figures/CHANGES_DB/{STATED_CHANGE}"
    return say(
        "mean level at which the response has changed by ",
        module_number(value_text(stated, "dB", 0), stated, path),
        " over " + ("an octave" if name is FigureName.COMPRESSION else "a sixth of an octave"),
        ", from ",
        band_words("derive.compression_figures", "CHANGE_BAND_HZ", CHANGE_BAND_HZ),
    )


def _beside(
    series: LevelSeries, found: Distortion, most: Floats, at_hz: Floats, limit: float
) -> dict[str, float]:
    """The level, the drive and the frequency at which a change (D,) first passes a limit; nothing without.

    Those of the stated limit are called by their own names: the figure's value is that level.
    """
    passed = first_passing(found.nominal_db[:, None], log_change(most, limit)[:, None], 0.0)
    if not passed.found[0]:
        return {}
    level = float(passed.level_db[0])
    stated = limit == CHANGES_DB[STATED_CHANGE]
    of = "" if stated else f"{limit:g} dB"
    drive = drive_over(series, level - float(found.nominal_db[0]))
    also = {} if stated else {of: level}
    also[drive_key(drive.unit, of)] = drive.value
    also[FREQUENCY if stated else f"{of}, {FREQUENCY}"] = float(at_hz[int(np.argmax(most > limit))])
    return also


def of_change(
    series: LevelSeries, inside: Bools, level_db: Floats, off_db: Floats, limit: float
) -> Components:
    """Components, dB, of the level (D,) at which a change (D,) passes a limit between two drives."""
    met = crossing(level_db, log_change(off_db, limit), 0.0)
    row = int(np.argmax(off_db > limit))
    noise = [mean_noise_db(series, each, inside) for each in (0, row - 1, row)]
    if met is None or any(one is None for one in noise):
        return {ComponentName.NOISE: None}
    lowest, *near = (one for one in noise if one is not None)
    # the slope is of the logarithm of the change re its limit
    noise_db = float(np.hypot(lowest, max(near))) / limit / met.slope
    return {ComponentName.NOISE: noise_db, ComponentName.INTERPOLATION: met.bend_db}
