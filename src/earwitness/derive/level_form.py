"""The form of figures of a series of drives, and a drive between those that were played."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from earwitness.derive.distortion_spread import Components
from earwitness.derive.numerals import quantity
from earwitness.methods.gum import combined
from earwitness.records.distortion import LevelSeries
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Value
from earwitness.records.sentences import Number, Sentence
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Drive
from earwitness.records.uncertainty import NEGLIGIBLE

SOURCE: Final = Source("Earwitness", "", "distortion and output", Standing.OWN)
NO_LEVEL: Final = NotAvailable("the level isn't known from 300 Hz to 3 kHz at every drive")
#: The drive that belongs to a level, beside it: "drive, V", "drive, dBFS".
DRIVE: Final = "drive"


def figure_of(
    name: FigureName,
    value: Value,
    unit: str,
    conditions: Sentence,
    series: LevelSeries,
    *,
    also: Mapping[str, float] | None = None,
    band: tuple[float, float] | None = None,
    reading: str = "on axis, by drive",
    method: str = "derive.distortion_figures.distortion_figures",
) -> Figure:
    """A figure of a series, without uncertainty yet."""
    return Figure(
        name=name,
        value=value,
        unit=unit,
        uncertainty=None,
        components={},
        conditions=conditions,
        reading=reading,
        valid_band_hz=band,
        method=method,
        source=SOURCE,
        evidence=Evidence((), series.takes),
        also=also or {},
    )


def with_components(figure: Figure, components: Components) -> Figure:
    """A figure with its components, and their root sum of squares."""
    known = [value for value in components.values() if value is not None and value >= NEGLIGIBLE]
    total = float(combined(known)) if known else None
    return replace(figure, uncertainty=total, components=components)


def drive_over(series: LevelSeries, over_db: float) -> Drive:
    """The drive so many dB over the lowest one."""
    lowest = series.drives[0]
    value = lowest.value + over_db if lowest.in_decibels else lowest.value * 10.0 ** (over_db / 20.0)
    return Drive(float(value), lowest.unit)


def drive_key(unit: str, of: str = "") -> str:
    """The name under which a drive stands beside a figure: ``drive, V``; ``0.5 dB, drive, V``."""
    return f"{of}, {DRIVE}, {unit}" if of else f"{DRIVE}, {unit}"


def drive_in(figure: Figure, of: str = "") -> Number | None:
    """The drive that stands beside a figure, as a number in its own unit; None where there is none."""
    for unit in ("V", "dBFS", "dBu"):
        key = drive_key(unit, of)
        if key in figure.also:
            value, reference = figure.also[key], f"figure:{figure.name}/also/{key}"
            if unit == "V":
                return Number(f"{float(f'{value:.2g}'):g} V", value, reference)
            return quantity(value, unit, reference)
    return None
