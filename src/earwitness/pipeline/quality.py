"""All points of quality of a case, in the order in which they are shown."""

from __future__ import annotations

from pathlib import Path

from earwitness.pipeline.points.material import Material
from earwitness.pipeline.points.moment import latency, polarity
from earwitness.pipeline.points.sameness import calibration, first_last, repeats, splice
from earwitness.pipeline.points.sound import clipping, hum, signal_to_noise
from earwitness.pipeline.points.turned import missing, orbits, order, sides
from earwitness.records.quality import Point, PointName


def points_of(material: Material, raw: Path) -> tuple[Point, ...]:
    """Every point; `raw` is where the calibrator's recordings lie."""
    return (
        clipping(material),
        signal_to_noise(material),
        hum(material),
        latency(material),
        polarity(material),
        missing(material),
        order(material),
        first_last(material),
        repeats(material),
        orbits(material),
        sides(material, PointName.LEFT_RIGHT),
        sides(material, PointName.UP_DOWN),
        splice(material),
        calibration(material, raw),
    )
