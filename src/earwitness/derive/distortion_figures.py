"""Distortion, compression and clean output as figures of merit, at the drives as they arrived."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics.passing import crossing, lasting_from
from earwitness.derive.clean_limits import CLEAN_CHANGE_DB, CLEAN_DISTORTION
from earwitness.derive.compression_figures import compression_figures, of_change
from earwitness.derive.distortion import (
    BANDS,
    HIGHEST_HZ,
    CleanOutput,
    Distortion,
    clean_output,
    total_distortion,
)
from earwitness.derive.distortion_spread import (
    NO_DRAWS,
    Components,
    Draws,
    band_errors_db,
    deviation,
    distortion_errors_db,
    shared,
)
from earwitness.derive.formatting import frequency_text, number_text, value_text
from earwitness.derive.held_figures import held_figures
from earwitness.derive.level_form import NO_LEVEL, figure_of, with_components
from earwitness.derive.numerals import frequency
from earwitness.derive.wording import module_number
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_61260 import band_edges_hz
from earwitness.records.distortion import LevelSeries
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Bools, Floats
from earwitness.records.sentences import Number, say
from earwitness.records.uncertainty import ComponentName

#: Limits of total harmonic distortion re the fundamental, %, and their figures.
LIMITS: Final = (0.3, 1.0, 3.0, 10.0)
NAMES: Final = (
    FigureName.DISTORTION_0_3,
    FigureName.DISTORTION_1,
    FigureName.DISTORTION_3,
    FigureName.DISTORTION_10,
)
#: Distortion is stated at the drive whose level at 1 m comes nearest to this.
STATED_AT_DB: Final = 90.0
#: It is judged as far up as this order sounds within what counts.
LEAST_ORDER: Final = 3
#: Clean output is the least of the bands with a middle in this range.
CLEAN_BAND_HZ: Final = (49.0, 8_100.0)
#: Nominal middles of the third octaves in the middle of an octave (ISO 266, recalled), told beside it.
OCTAVES_HZ: Final = (63.0, 125.0, 250.0, 500.0, 1_000.0, 2_000.0, 4_000.0)

LEVEL: Final = "level at one metre, dB"
#: Beside clean output: the level at the highest drive, and how long a day NIOSH 98-126 allows it, A-weighted.
LOUDEST: Final = "level at the highest drive, dB"
HOURS: Final = "time a day at that level by NIOSH, h"


def distortion_figures(series: Sequence[LevelSeries], draws: Draws = NO_DRAWS) -> tuple[Figure, ...]:
    """All of the series on axis; none where it has fewer than two drives.

    `draws` are those of the response on axis: what all takes are unsure by alike.
    """
    on_axis = [one for one in series if one.radiator is None and len(one.drives) > 1]
    if not on_axis:
        return ()
    found, alike = total_distortion(on_axis[0]), shared(draws)
    row = 0 if found is None else _stated_row(found)
    errors = distortion_errors_db(on_axis[0], row, alike)
    spread = {name: None if one is None else np.std(one, axis=0, ddof=1) for name, one in errors.items()}
    limits = tuple(_below(on_axis[0], found, index, spread) for index in range(len(LIMITS)))
    return (
        *limits,
        *compression_figures(on_axis[0], found, alike),
        _clean(on_axis[0], found, alike),
        *held_figures(on_axis[0], found),
    )


def _stated_row(found: Distortion) -> int:
    """The drive at which distortion is stated."""
    return int(np.argmin(np.abs(found.arrived_db - STATED_AT_DB)))


def _below(series: LevelSeries, found: Distortion | None, index: int, spread_db: Draws) -> Figure:
    """From where up distortion stays below a limit, Hz, at one drive; at the others beside it.

    `spread_db` is what its distortion is unsure by, by component, dB (F,).
    """
    name, percent = NAMES[index], LIMITS[index]
    limit = module_number(f"{percent:g} %", percent, f"derive.distortion_figures/LIMITS/{index}")
    if found is None:
        return figure_of(name, NO_LEVEL, "Hz", say("below ", limit), series)
    row = _stated_row(found)
    value = _from_hz(found, row, found.ratio[row], percent / 100.0)
    also: dict[str, float] = {}
    band = None
    conditions = say("total harmonic distortion below ", limit, " re the fundamental")
    if not isinstance(value, NotAvailable):
        level = float(found.arrived_db[row])
        also[LEVEL] = level
        conditions += say(", at ", Number(value_text(level, "dB", 0), level, f"figure:{name}/also/{LEVEL}"))
        band = (value.value, float(found.frequency_hz[_judged(found, row)][-1]))
        for other in range(len(series.drives)):
            beside = _from_hz(found, other, found.ratio[other], percent / 100.0)
            if other != row and not isinstance(beside, NotAvailable):
                also[f"at {number_text(float(found.arrived_db[other]), 0)} dB"] = beside.value
    told = figure_of(name, value, "Hz", conditions, series, also=also, band=band)
    if not isinstance(value, Quantity):
        return told
    per_db = found.ratio[row] * np.log(10.0) / 20.0
    components: Components = {
        name: None if one is None else _spread_hz(found, row, percent / 100.0, per_db * one)
        for name, one in spread_db.items()
    }
    components[ComponentName.NOISE] = _spread_hz(found, row, percent / 100.0, found.uncertainty[row])
    return with_components(told, components)


def _from_hz(found: Distortion, row: int, ratio: Floats, limit: float) -> Quantity | Bound | NotAvailable:
    """The frequency from which up a drive's distortion stays below a limit."""
    valid = _judged(found, row)
    index = lasting_from(np.nan_to_num(ratio, nan=np.inf) < limit, valid)
    if index is None:
        top = np.flatnonzero(valid)
        if top.size and not found.heard[row, top[-1]]:
            return NotAvailable("noise hides so little distortion")
        return NotAvailable("distortion isn't that low up to the treble")
    if index == int(np.flatnonzero(valid)[0]):
        return Bound(float(found.frequency_hz[index]), "at most")
    if not found.heard[row, index - 1]:
        return Bound(float(found.frequency_hz[index]), "at most")
    return Quantity(_crossing_hz(found.frequency_hz, ratio, index, limit))


def _judged(found: Distortion, row: int) -> Bools:
    """Where a drive's distortion is valid and holds an even and an odd order at least."""
    return np.asarray(found.valid[row] & (LEAST_ORDER * found.frequency_hz <= HIGHEST_HZ))


def _crossing_hz(frequency_hz: Floats, ratio: Floats, index: int, limit: float) -> float:
    """Where the ratio falls through the limit just below a point, straight in log-log."""
    ends = ratio[index - 1 : index + 1] / limit
    if not (np.isfinite(ends).all() and np.all(ends > 0.0)):
        return float(frequency_hz[index])
    over, under = np.log(ends)
    part = over / (over - under)
    return float(frequency_hz[index - 1] * (frequency_hz[index] / frequency_hz[index - 1]) ** part)


def _spread_hz(found: Distortion, row: int, limit: float, ratio_spread: Floats) -> float | None:
    """Half of what one standard uncertainty either way changes in the frequency; None if unknown."""
    spread = np.nan_to_num(ratio_spread)
    ends = [_from_hz(found, row, found.ratio[row] + sign * spread, limit) for sign in (-1.0, 1.0)]
    if any(isinstance(end, NotAvailable) for end in ends):
        return None
    low, high = (end.value for end in ends if not isinstance(end, NotAvailable))
    return 0.5 * abs(high - low)


def _clean(series: LevelSeries, found: Distortion | None, draws: Draws) -> Figure:
    """The least clean output of the third-octave bands, dB at 1 m, and where; those of octaves beside it."""
    name = FigureName.CLEAN_OUTPUT
    percent = module_number(
        value_text(100.0 * CLEAN_DISTORTION, "%", 0), CLEAN_DISTORTION, "derive.clean_limits/CLEAN_DISTORTION"
    )
    conditions = say(
        "least of the third-octave bands, with distortion up to ",
        percent,
        " and the level changed by up to ",
        module_number(
            value_text(CLEAN_CHANGE_DB, "dB", 0), CLEAN_CHANGE_DB, "derive.clean_limits/CLEAN_CHANGE_DB"
        ),
    )
    if found is None:
        return figure_of(name, NO_LEVEL, "dB", conditions, series)
    clean = clean_output(series, found)
    mid, output = clean.mid_hz, clean.output
    known = (mid >= CLEAN_BAND_HZ[0]) & (mid <= CLEAN_BAND_HZ[1]) & np.isfinite(output.level_db)
    if not known.any():
        return figure_of(name, NotAvailable("no band is valid at every drive"), "dB", conditions, series)
    least = int(np.argmin(np.where(known, output.level_db, np.inf)))
    level = float(output.level_db[least])
    value: Value = Quantity(level)
    if not output.found[least]:
        value = Bound(level, "at least" if output.at_least[least] else "at most")
    loudest = float(found.arrived_db.max())
    also = {
        "frequency": float(mid[least]),
        LOUDEST: loudest,
        HOURS: float(niosh_hours_a_day(loudest)),
    }
    for nominal_hz in OCTAVES_HZ:
        band = int(np.argmin(np.abs(np.log(mid / nominal_hz))))
        if known[band] and output.found[band]:
            also[f"in the band at {frequency_text(nominal_hz, 3)}"] = float(output.level_db[band])
    conditions += say(", at ", frequency(float(mid[least]), f"figure:{name}/also/frequency"))
    used = mid[known]
    told = figure_of(name, value, "dB", conditions, series, also=also, band=(float(used[0]), float(used[-1])))
    return (
        told
        if isinstance(value, Bound)
        else with_components(told, _of_clean(series, found, clean, least, draws))
    )


def _of_clean(
    series: LevelSeries, found: Distortion, clean: CleanOutput, band: int, draws: Draws
) -> Components:
    """Components, dB, of the clean output of a band in which a limit is passed."""
    f, edges = found.frequency_hz, band_edges_hz(BANDS, 3)
    inside = (f >= edges[0][band]) & (f < edges[1][band])
    level = band_errors_db(draws, inside)
    by_change = clean.by_change.level_db[band] <= clean.by_distortion.level_db[band]
    values = clean.off_db if by_change else clean.distortion_db
    level_db = clean.level_db[:, band]
    limit = CLEAN_CHANGE_DB if by_change else 20.0 * np.log10(CLEAN_DISTORTION)
    row = int(np.argmax(values[:, band] > limit))
    if by_change:
        known: Components = {name: deviation(error) for name, error in level.items()}
        return known | of_change(series, inside, level_db, values[:, band], limit)
    met = crossing(level_db, values[:, band], limit)
    if met is None:
        return {ComponentName.NOISE: None}
    ratio = distortion_errors_db(series, row, draws)
    components: Components = {}
    for name, error in level.items():
        more = ratio[name]
        both = None if error is None or more is None else error - more[:, inside].mean(axis=1) / met.slope
        components[name] = deviation(both)
    with np.errstate(invalid="ignore", divide="ignore"):
        noise_db = 20.0 / np.log(10.0) * found.uncertainty[row - 1 : row + 1] / found.ratio[row - 1 : row + 1]
    worst = float(np.max(np.nan_to_num(noise_db[:, inside].mean(axis=1), nan=0.0)))
    components[ComponentName.NOISE] = worst / met.slope
    components[ComponentName.INTERPOLATION] = met.bend_db
    return components
