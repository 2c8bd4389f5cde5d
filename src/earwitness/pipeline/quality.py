"""All points of quality of a case, in the order in which they are shown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from earwitness.measurement.quality_reference import reference_reading
from earwitness.pipeline.points.clocks import clocks, flight, heights
from earwitness.pipeline.points.material import Material
from earwitness.pipeline.points.moment import latency, polarity
from earwitness.pipeline.points.reference import Earlier, reference
from earwitness.pipeline.points.sameness import calibration, first_last, repeats
from earwitness.pipeline.points.smooth import levels, orbits_of, order, zero
from earwitness.pipeline.points.sound import clipping, hum, recordings, signal_to_noise
from earwitness.pipeline.points.splice import splice
from earwitness.pipeline.points.turned import missing, orbits, sides
from earwitness.records.quality import Point, PointName, ReferenceReading


def points_of(
    material: Material, raw: Path, earlier: Sequence[Earlier]
) -> tuple[tuple[Point, ...], ReferenceReading | None]:
    """Every point, and how the rig's reference loudspeaker reads.

    `raw` is where recordings lie, `earlier` how that loudspeaker read in earlier cases.
    """
    reading = reference_reading(material.takes, material.impulse_responses, material.facts.rig, raw)
    turned = orbits_of(material.powers, material.responses)
    points = (
        recordings(material),
        clipping(material),
        signal_to_noise(material),
        hum(material, raw),
        latency(material),
        clocks(material),
        flight(material),
        polarity(material),
        missing(material),
        order(turned),
        levels(turned),
        zero(turned),
        first_last(material),
        repeats(material),
        orbits(material),
        sides(material, PointName.LEFT_RIGHT),
        sides(material, PointName.UP_DOWN),
        heights(material),
        splice(material),
        calibration(material, raw),
        reference(reading, earlier),
    )
    return points, reading
