"""What holds the level down over a series of drives, and where a limiter sets in, as figures of merit."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.held_level import HeldBy, HeldLevel, held_level
from earwitness.derive.distortion import Distortion
from earwitness.derive.held_level import losses_of
from earwitness.derive.level_form import NO_LEVEL, drive_key, drive_over, figure_of, with_components
from earwitness.derive.numerals import frequency
from earwitness.records.distortion import LevelSeries
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, Sentence, say
from earwitness.records.uncertainty import ComponentName

PATH: Final = ("path from, Hz", "path to, Hz")
WHOLE: Final = "whole of what was looked at"
FLAT: Final = "probability of a limiter or clipping"
HEAT: Final = "probability of heat"
THIRD: Final = "third harmonic re that of clipping"
BOUNDS: Final = ("95 % from, dB", "95 % to, dB")
TAKEN: Final = "taken at the highest drive, dB"
#: Standard deviations from a value to the end of its interval.
WITHIN: Final = 1.96
_METHOD: Final = "acoustics.held_level.held_level"

_NOTHING: Final = {
    HeldBy.NOTHING: "nothing is seen to hold the level down",
    HeldBy.CANNOT_TELL: "a limiter, clipping and heat can't be told apart here",
}
_NO_LIMITER: Final = {
    **_NOTHING,
    HeldBy.NOTHING: "no limiter is seen up to the highest drive",
    HeldBy.CLIPPING: "an amplifier clips, and no limiter is seen",
    HeldBy.HEAT: "what is lost grows and spreads as heat does",
}


def held_figures(series: LevelSeries, found: Distortion | None) -> tuple[Figure, Figure]:
    """What is taken off at the highest drive, and the level from which a limiter takes it."""
    losses = losses_of(series)
    told = None if losses is None else held_level(losses[1])
    if losses is None or told is None:
        absent = NotAvailable("it takes three drives, and the level above the bass at each")
        return (
            _figure(FigureName.HELD_LEVEL, absent, EMPTY, series),
            _figure(FigureName.LIMITER_THRESHOLD, absent, EMPTY, series),
        )
    return _held(series, told, losses[0]), _threshold(series, told, losses[0], found)


def _held(series: LevelSeries, told: HeldLevel, middle_hz: Floats) -> Figure:
    """By how much less it plays at the highest drive; `reading` says what takes it."""
    name = FigureName.HELD_LEVEL
    also = _weighed(told)
    value: Value
    if told.held_by in _NOTHING:
        value = NotAvailable(_NOTHING[told.held_by])
        return _figure(name, value, EMPTY, series, also=also)
    if told.held_by is HeldBy.HEAT:
        band = (float(middle_hz[0]), float(middle_hz[-1]))
        taken, words = told.heat_db, say("by heat, where it takes most, at the highest drive")
    else:
        band = (float(middle_hz[told.first]), float(middle_hz[told.last]))
        taken = float(told.loss_db[-1])
        by = "a limiter" if told.held_by is HeldBy.LIMITER else "an amplifier that clips"
        words = say(f"by {by}, at the highest drive, ") + _path(name, band)
        also |= dict(zip(PATH, band, strict=True)) | {WHOLE: float(told.whole)}
    also[drive_key(series.drives[-1].unit)] = series.drives[-1].value
    return _figure(name, Quantity(taken), words, series, also=also, band=band, reading=told.held_by)


def _threshold(series: LevelSeries, told: HeldLevel, middle_hz: Floats, found: Distortion | None) -> Figure:
    """The mean level at 1 m that the drive would give at which a limiter sets in: its knee's middle."""
    name, at = FigureName.LIMITER_THRESHOLD, told.threshold
    if told.held_by is not HeldBy.LIMITER:
        return _figure(name, NotAvailable(_NO_LIMITER[told.held_by]), EMPTY, series, also=_weighed(told))
    if at is None:
        absent = NotAvailable("what is taken doesn't grow as one limiter has it")
        return _figure(name, absent, EMPTY, series, also=_weighed(told))
    if found is None:
        return _figure(name, NO_LEVEL, EMPTY, series, also=_weighed(told))
    lowest = float(found.nominal_db[0])
    drive = drive_over(series, at.over_db)
    band = (float(middle_hz[told.first]), float(middle_hz[told.last]))
    also = {
        drive_key(drive.unit): drive.value,
        BOUNDS[0]: lowest + at.low_db,
        BOUNDS[1]: lowest + at.high_db,
        TAKEN: float(told.loss_db[-1]),
        WHOLE: float(told.whole),
        **dict(zip(PATH, band, strict=True)),
        **_weighed(told),
    }
    for end, over in zip(("95 % from", "95 % to"), (at.low_db, at.high_db), strict=True):
        also[drive_key(drive.unit, end)] = drive_over(series, over).value
    words = say("mean level at one metre that the drive would give at the middle of the knee, ")
    told_figure = _figure(
        name, Quantity(lowest + at.over_db), words + _path(name, band), series, also=also, band=band
    )
    half = 0.5 * (at.high_db - at.low_db) / WITHIN
    return with_components(told_figure, {ComponentName.INTERPOLATION: half})


def _path(name: FigureName, band_hz: tuple[float, float]) -> Sentence:
    low, high = (
        frequency(edge, f"figure:{name}/also/{key}") for key, edge in zip(PATH, band_hz, strict=True)
    )
    return say("in third octaves from ", low, " to ", high)


def _weighed(told: HeldLevel) -> dict[str, float]:
    also = {FLAT: told.probability[HeldBy.LIMITER], HEAT: told.probability[HeldBy.HEAT]}
    return also | ({THIRD: told.third_part} if np.isfinite(told.third_part) else {})


def _figure(
    name: FigureName,
    value: Value,
    conditions: Sentence,
    series: LevelSeries,
    *,
    also: dict[str, float] | None = None,
    band: tuple[float, float] | None = None,
    reading: str = "by drive",
) -> Figure:
    return figure_of(
        name, value, "dB", conditions, series, also=also, band=band, reading=str(reading), method=_METHOD
    )
