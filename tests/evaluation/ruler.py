"""What a reviewer with a ruler states of a case's loudspeaker: radiators and cabinet, rounded."""

from __future__ import annotations

from typing import Final

from earwitness.records.facts import Box, Radiator, Sphere, Unit
from earwitness.virtual.box import BoxCabinet
from earwitness.virtual.scenario import Scenario

#: Places and diameters are told to the centimetre, what is smaller than 5 cm and cabinets to 5 mm.
COARSE_M, FINE_M, SMALL_M = 0.01, 0.005, 0.05
FRONT_DEG: Final = 75.0


def unit(scenario: Scenario) -> Unit:
    """Of a scenario: what a case states under `unit`."""
    cabinet = scenario.loudspeaker.cabinet
    stated: Box | Sphere
    if isinstance(cabinet, BoxCabinet):
        stated = Box(
            width_m=rounded(cabinet.width_m, FINE_M),
            height_m=rounded(cabinet.height_m, FINE_M),
            depth_m=rounded(cabinet.depth_m, FINE_M),
            reference_up_m=rounded(cabinet.reference_up_m, FINE_M),
        )
    else:
        stated = Sphere(rounded(cabinet.diameter_m, FINE_M))  # type: ignore[attr-defined]
    return Unit(scenario.name, cabinet=stated, radiators=_radiators(scenario))


def _radiators(scenario: Scenario) -> tuple[Radiator, ...]:
    cabinet, names = scenario.loudspeaker.cabinet, scenario.loudspeaker.source.radiators
    found = []
    for number, (name, radiator) in enumerate(zip(names, cabinet.radiators, strict=True)):
        place = cabinet.in_front_of(number, 0.0)
        outward = cabinet.in_front_of(number, 1.0) - place
        diameter = float(radiator.diameter_m)  # type: ignore[attr-defined]
        found.append(
            Radiator(
                name.replace(" ", "_").replace("'", ""),
                rounded(diameter, COARSE_M if diameter > SMALL_M else FINE_M),
                up_m=rounded(float(place[2]), COARSE_M),
                face="front" if outward[0] > 0.0 else "back",
            )
        )
    return tuple(r for r in found if r.face == "front")


def rounded(value: float, step: float) -> float:
    """To whole steps."""
    return round(round(value / step) * step, 6)
