"""A loudspeaker built from a table of parts: cabinet, enclosures with what is in their walls, branches.

Every radiator is said once: its part in the enclosure, and beside it, under `at`, its place in the cabinet:
a face of a box with metres from the reference point, or a direction from a sphere's centre. `radiates_m`
there is the diameter of the disc that it radiates as, where that isn't the part's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from earwitness.virtual.air import Air
from earwitness.virtual.bodies import Bending, DriveUnit, Mouth, Port, Resonator
from earwitness.virtual.box import BoxCabinet, RoundRadiator
from earwitness.virtual.enclosure import LOSSLESS, Enclosure, Losses
from earwitness.virtual.heating import Heating
from earwitness.virtual.interior import Interior, Opening, Place, StandingWave
from earwitness.virtual.ladder import Ladder, Step
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.loudspeaker import Cabinet, Loudspeaker
from earwitness.virtual.network import AllPass, Bell, Branch, Cut, Section, Shelf
from earwitness.virtual.port_noise import PortNoise
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.source import Source
from earwitness.virtual.tables import Part, Table
from earwitness.virtual.voice_coil import VoiceCoil

SECTIONS: Final[dict[str, type[Section]]] = {
    "cut": Cut,
    "bell": Bell,
    "shelf": Shelf,
    "all_pass": AllPass,
}
#: The air in which a port is cut to the length that tunes its box.
WORKBENCH: Final = Air(20.0)


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a radiator sits: the table `at`, and the part's own diameter."""

    at: Table
    diameter_m: float

    def on_box(self) -> RoundRadiator:
        """As a disc on a face."""
        diameter = self.at.take(float, "radiates_m", self.diameter_m)
        return self.at.build(RoundRadiator, "radiates_m", diameter_m=diameter)

    def on_sphere(self) -> Cap:
        """As a cap."""
        diameter = self.at.take(float, "radiates_m", self.diameter_m)
        return self.at.build(Cap, "radiates_m", diameter_m=diameter)


def loudspeaker(document: Table) -> Loudspeaker:
    """The loudspeaker that a document describes; see the scenarios for its form.

    Raises
    ------
    ScenarioError
        One line: file, place, what is wrong.
    """
    enclosures = tuple(map(_enclosure, document.tables("enclosures")))
    placed = [each for table in document.tables("enclosures") for each in _placed(table)]
    branches = tuple(map(_branch, document.tables("branches")))
    source = document.made(Source, enclosures, branches)
    return Loudspeaker(source, _cabinet(document.table("cabinet"), placed))


def _cabinet(table: Table, placed: list[Placed]) -> Cabinet:
    shape = table.take(str, "shape")
    if shape == "sphere":
        return table.build(SphericalCabinet, "shape", caps=tuple(each.on_sphere() for each in placed))
    if shape == "box":
        return table.build(BoxCabinet, "shape", radiators=tuple(each.on_box() for each in placed))
    raise table.error(f"shape is {shape!r}; it may be: box, sphere")


def _placed(enclosure: Table) -> list[Placed]:
    """Its radiators, in the order of `Enclosure.openings`."""
    parts = [*enclosure.tables("drive_units"), *enclosure.tables("ports")]
    parts += [mouth for part in enclosure.tables("resonators") for mouth in part.tables("mouths")]
    return [Placed(part.table("at"), part.take(float, "diameter_m")) for part in parts]


def _enclosure(table: Table) -> Enclosure:
    table.only("name", "volume_m3", "size_m", "waves", "losses", "drive_units", "ports", "resonators")
    volume = table.take(float, "volume_m3")
    interior = table.made(
        Interior,
        volume,
        table.take(Place, "size_m", (0.0, 0.0, 0.0)),
        tuple(wave.build(StandingWave) for wave in table.tables("waves")),
    )
    return table.made(
        Enclosure,
        interior,
        tuple(map(_drive_unit, table.tables("drive_units"))),
        tuple(_port(port, volume) for port in table.tables("ports")),
        tuple(map(_resonator, table.tables("resonators"))),
        table.table("losses").build(Losses) if "losses" in table.content else LOSSLESS,
    )


def _opening(table: Table) -> Opening:
    return Opening(table.take(str, "name"), table.take(Place, "inside", (1.0, 0.5, 0.5)))


def _drive_unit(table: Table) -> DriveUnit:
    if "heating" in table.content and "large_signal" not in table.content:
        raise table.error("a coil that warms has large_signal facts too: add the table, be it empty")
    coil = table.table("coil").build(VoiceCoil)
    large = _optional(table, "large_signal", LargeSignal)
    if large is not None and large.bends_flux and not coil.settles:
        raise table.error(
            "an inductance that changes with displacement needs core_inductance_h beside semi_inductance: "
            "the flux of a semi-inductance alone never settles"
        )
    return table.build(
        DriveUnit,
        "name",
        "inside",
        "at",
        "coil",
        "bending",
        "large_signal",
        "heating",
        opening=_opening(table),
        coil=coil,
        bending=tuple(mode.build(Bending) for mode in table.tables("bending")),
        large_signal=large,
        heating=_optional(table, "heating", Heating),
    )


def _optional(table: Table, key: str, kind: type[Part]) -> Part | None:
    return table.table(key).build(kind) if key in table.content else None


def _port(table: Table, volume_m3: float) -> Port:
    table.only("name", "inside", "at", "diameter_m", "length_m", "tuning_hz", "resonant", "noise")
    diameter, resonant = table.take(float, "diameter_m"), table.take(bool, "resonant", False)
    noise = _optional(table, "noise", PortNoise)
    if ("length_m" in table.content) == ("tuning_hz" in table.content):
        raise table.error("a port has either length_m or tuning_hz")
    if "length_m" in table.content:
        return Port(_opening(table), diameter, table.take(float, "length_m"), resonant, noise)
    tuning = table.take(float, "tuning_hz")
    port = table.made(Port.tuned, _opening(table), diameter, tuning, volume_m3, WORKBENCH)
    return replace(port, resonant=resonant, noise=noise)


def _resonator(table: Table) -> Resonator:
    carried = table.table("carries")
    return table.build(
        Resonator,
        "mouths",
        "carries",
        mouths=tuple(map(_mouth, table.tables("mouths"))),
        carries={name: carried.take(float, name) for name in carried.content},
    )


def _mouth(table: Table) -> Mouth:
    table.only("name", "inside", "at", "diameter_m", "area_m2")
    return Mouth(_opening(table), table.take(float, "area_m2"))


def _branch(table: Table) -> Branch:
    return table.build(
        Branch,
        "name",
        "sections",
        "ladder",
        sections=tuple(map(_section, table.tables("sections"))),
        ladder=Ladder(tuple(step.build(Step) for step in table.tables("ladder"))),
    )


def _section(table: Table) -> Section:
    kind = table.take(str, "kind")
    if kind not in SECTIONS:
        raise table.error(f"kind is {kind!r}; it may be: {', '.join(SECTIONS)}")
    return table.build(SECTIONS[kind], "kind")
