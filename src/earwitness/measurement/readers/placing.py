"""What each response of a file of arrays is, by the arrays that say it: positions, angles or labels."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.measurement.readers.arrays import ArrayFile
from earwitness.measurement.readers.contents import Float64s, Part, Source
from earwitness.measurement.readers.mapping import ANGLE_UNITS, ArrayMapping
from earwitness.measurement.readers.options import stated_unit
from earwitness.records.errors import ReadError, one_line

_LONGEST_LABEL: Final = 200
#: Decimals of a degree that count; the rest comes of arithmetic.
_DECIMALS: Final = 3


def parts_of(source: Source, file: ArrayFile, mapping: ArrayMapping, count: int) -> tuple[Part, ...]:
    """One part a response, numbered from 1; the only one has an empty selector.

    Raises
    ------
    ReadError
        What says it has another length, isn't a number or text, lies outside a circle, or may be radians.
    """
    selectors = [""] if count == 1 else [str(number) for number in range(1, count + 1)]
    if mapping.azimuth is not None and mapping.elevation is not None:
        azimuth = _degrees(source, file, mapping.azimuth, count, "azimuth")
        elevation = _degrees(source, file, mapping.elevation, count, "elevation")
        pairs = zip(azimuth.tolist(), elevation.tolist(), strict=True)
        return tuple(Part(s, position_deg=pair) for s, pair in zip(selectors, pairs, strict=True))
    if mapping.angle is not None:
        angles = _degrees(source, file, mapping.angle, count, "angle")
        orbit = f"{mapping.orbit} " if mapping.orbit else ""
        return tuple(
            Part(s, words=f"{orbit}{a:+g} deg" if a else f"{orbit}0 deg")
            for s, a in zip(selectors, angles, strict=True)
        )
    if mapping.labels is not None:
        return tuple(
            Part(s, words=text)
            for s, text in zip(selectors, _labels(source, file, mapping, count), strict=True)
        )
    return tuple(Part(s) for s in selectors)


def _degrees(source: Source, file: ArrayFile, stated: str | float, count: int, key: str) -> Float64s:
    """Angles of all responses, in degrees."""
    where = f"read.{key}"
    if not isinstance(stated, str):
        found, unit = np.full(count, stated), stated_unit(source, "angle_unit", "", ANGLE_UNITS)
    else:
        found = np.asarray(file.numbers(stated), dtype=np.float64).ravel()
        unit = stated_unit(source, "angle_unit", file.unit(stated), ANGLE_UNITS)
        if found.size != count:
            problem = f"{stated} has {found.size} entries for {count} responses"
            raise ReadError(source.name, problem, "name an array with one for each response", where)
        if unit is None and _may_be_radians(found):
            problem = f"{stated} may be degrees or radians"
            raise ReadError(source.name, problem, "state angle_unit: deg or rad", where)
    degrees = np.round(found * ANGLE_UNITS[unit or "deg"], _DECIMALS) + 0.0
    limit = 90.0 if key == "elevation" else 360.0
    if not (np.abs(degrees) <= limit).all():
        wrong = int(np.argmin(np.abs(degrees) <= limit))
        problem = f"{degrees[wrong]:g}° (response {wrong + 1}) is no {key}"
        raise ReadError(source.name, problem, f"give −{limit:g} to {limit:g} degrees", where)
    return degrees


def _may_be_radians(values: Float64s) -> bool:
    """Whether angles go no further than once round in radians."""
    return bool((np.abs(values) <= 2.0 * np.pi + 1e-6).all() and values.any())


def _labels(source: Source, file: ArrayFile, mapping: ArrayMapping, count: int) -> list[str]:
    texts = file.texts(str(mapping.labels))
    if len(texts) != count:
        problem = f"{mapping.labels} has {len(texts)} texts for {count} responses"
        raise ReadError(source.name, problem, "name an array with one for each response", "read.labels")
    return [one_line(text, _LONGEST_LABEL) for text in texts]
