"""Loudspeakers for measuring accuracy: some whose parameters say how they roll off, and any that are drawn.

The first four are two-ways in a ball or a box, whose cone sits in a closed or a vented body: closed with a
total Q of 1/√2 (Small, JAES 20 (10), 1972; recalled), vented as a Butterworth response of the fourth order
without losses (Thiele, JAES 19 (5), 1971; recalled: Qts 0.3827, Vas/Vb √2, both resonances alike). A shelf
makes up for the step from half to full space. Towers have two such cones in a body of twice the volume, wired
alike, and the case states that the lower one is the same as the upper, whose near field alone is measured.
"""

from __future__ import annotations

import copy
import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from earwitness.records.takes import Orbit
from earwitness.virtual.air import Air
from earwitness.virtual.designer import Wish
from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import Scenario, from_text, load
from earwitness.virtual.tables import Table
from earwitness.virtual.toml_text import toml_text

Shape = Literal["ball", "box", "tower"]

AIR: Final = Air(20.0)
BALL_M: Final = 0.28
CONE_M: Final = 0.11
PORT_M: Final = 0.05
MECHANICAL_Q: Final = 5.0
#: Of the closed box: its resonance is about 70 Hz.
CLOSED_Q: Final = math.sqrt(0.5)
CLOSED_FREE_HZ, CLOSED_FREE_Q = 40.0, 0.405
#: Of the vented box.
VENTED_Q, VENTED_VOLUMES, VENTED_HZ = 0.382683, math.sqrt(2.0), 45.0

DOME: Final = Wish(0.025, 900.0, 0.9, 3.0, 93.0)

#: The cabinets, and where in each of them the radiators are. Sound of cone and port is followed round a
#: single edge where they hardly sound.
_BALL: Final[tuple[dict[str, Any], dict[str, Any]]] = (
    {"shape": "sphere", "diameter_m": BALL_M},
    {
        "cone": {"elevation_deg": -12.0},
        "dome": {"elevation_deg": 18.0},
        "port": {"elevation_deg": -50.0},
    },
)
_BOX: Final[tuple[dict[str, Any], dict[str, Any]]] = (
    {"shape": "box", "width_m": 0.2, "height_m": 0.34, "depth_m": 0.26, "reference_up_m": 0.1},
    {
        "cone": {"up_m": -0.1, "round_one_edge_from_hz": 5000.0},
        "dome": {"up_m": 0.0},
        "port": {"up_m": -0.22, "round_one_edge_from_hz": 1000.0},
    },
)
_TOWER: Final[tuple[dict[str, Any], dict[str, Any]]] = (
    {"shape": "box", "width_m": 0.2, "height_m": 0.62, "depth_m": 0.26, "reference_up_m": 0.2},
    {
        "cone": {"up_m": -0.11, "round_one_edge_from_hz": 5000.0},
        "lower_cone": {"up_m": -0.28, "round_one_edge_from_hz": 5000.0},
        "dome": {"up_m": 0.0},
        "port": {"up_m": -0.42, "round_one_edge_from_hz": 1000.0},
    },
)
_CABINETS: Final = {"ball": _BALL, "box": _BOX, "tower": _TOWER}
_ROOM: Final = [
    {"side": "floor", "distance_m": 2.6, "reflection": 0.9},
    {"side": "ceiling", "distance_m": 3.0, "reflection": 0.8},
]


@dataclass(frozen=True)
class Made:
    """A scenario of the workshop, and ``case.toml`` as a document."""

    scenario: Scenario
    facts: dict[str, Any]


def closed(shape: Shape) -> Made:
    """One cone in a closed cabinet, Q 1/√2."""
    growth = CLOSED_Q / CLOSED_FREE_Q
    cone = _cone(CLOSED_FREE_HZ, CLOSED_FREE_Q)
    return _made(f"closed {shape}", shape, cone, _equivalent_m3(cone) / (growth**2 - 1.0), None)


def vented(shape: Shape) -> Made:
    """One cone and a port on the front, Butterworth of the fourth order."""
    cone = _cone(VENTED_HZ, VENTED_Q)
    return _made(f"vented {shape}", shape, cone, _equivalent_m3(cone) / VENTED_VOLUMES, VENTED_HZ)


def unlike_tower() -> Made:
    """A closed tower whose lower cone is a tenth heavier than the upper, and a tenth weaker in its motor."""
    made = closed("tower")
    content = copy.deepcopy(made.scenario.document.content)
    lower = content["enclosures"][0]["drive_units"][1]
    lower["mass_kg"] *= 1.1
    lower["force_factor"] *= 0.9
    other = from_text("unlike tower", toml_text(content), toml_text(_rig("tower")))
    return dataclasses.replace(made, scenario=other)


def drawn(seed: int, *, absorbing: bool = False) -> Made:
    """What the generator draws, loudspeaker and rig; in air that absorbs nothing unless it is asked for."""
    texts = generate(seed)
    scenario = from_text(f"drawn {seed}", texts.loudspeaker, texts.rig)
    return described(scenario if absorbing else _clear(scenario))


def directions_of(name: str) -> tuple[tuple[Orbit, int], ...]:
    """Where one of `MADE` is recorded: on both orbits and to the side; a box, which takes long, in front."""
    front = ((Orbit.HORIZONTAL, 0), (Orbit.HORIZONTAL, 30))
    return (
        front
        if "ball" not in name and name != "cobble_two"
        else (*front, (Orbit.HORIZONTAL, 90), (Orbit.VERTICAL, 0))
    )


def _clear(scenario: Scenario) -> Scenario:
    """The same in air of the same temperature that absorbs nothing."""
    air = Air(scenario.air.temperature_c)
    workshop = dataclasses.replace(scenario.session.workshop, air=air)
    session = dataclasses.replace(scenario.session, workshop=workshop)
    return dataclasses.replace(scenario, air=air, session=session)


def described(scenario: Scenario) -> Made:
    """A scenario with facts that follow from its own document; nothing uncertain is stated."""
    content = scenario.document.content
    cabinet = content["cabinet"]
    radiators = [
        _radiator(part.content, cabinet)
        for enclosure in scenario.document.tables("enclosures")
        for part in _parts(enclosure)
    ]
    height = next((s.distance_m for s in scenario.session.workshop.room.surfaces if s.side == "floor"), None)
    turntable = scenario.turntable
    rig = {
        "distance_m": turntable.distance_m,
        "rotation_behind_m": turntable.rotation_behind_m,
        "temperature_c": scenario.air.temperature_c,
        "pa_per_full_scale": scenario.session.workshop.chain.full_scale_pa,
        "positive_horizontal": "left",
        "positive_vertical": "up",
    }
    if scenario.air.humidity_percent is not None:
        rig["humidity_percent"] = scenario.air.humidity_percent
    if height is not None:
        rig |= {"height_m": height, "microphone_height_m": height + turntable.microphone_up_m}
    unit = {"name": scenario.name, "cabinet": _stated(cabinet), "radiators": radiators}
    return Made(scenario, {"unit": unit, "rig": rig, "uncertainty": {}})


def _cone(resonance_hz: float, total_q: float) -> dict[str, Any]:
    electrical_q = 1.0 / (1.0 / total_q - 1.0 / MECHANICAL_Q)
    return Wish(CONE_M, resonance_hz, electrical_q, MECHANICAL_Q, 88.0).values()


def _equivalent_m3(cone: dict[str, Any]) -> float:
    area = math.pi * CONE_M**2 / 4.0
    return float(AIR.density * AIR.speed**2 * area**2 / cone["stiffness"])


def _made(name: str, shape: Shape, cone: dict[str, Any], volume_m3: float, tuning_hz: float | None) -> Made:
    cabinet, places = _CABINETS[shape]
    cones = [name for name in ("cone", "lower_cone") if name in places]
    body: dict[str, Any] = {
        "name": "body",
        "volume_m3": volume_m3 * len(cones),
        "drive_units": [{"name": name, "at": places[name], **cone} for name in cones],
    }
    if tuning_hz is not None:
        port = {"name": "port", "inside": [1.0, 0.5, 0.2], "at": places["port"], "diameter_m": PORT_M}
        body["ports"] = [{**port, "tuning_hz": tuning_hz}]
    dome = {"name": "dome", "at": places["dome"], **DOME.values()}
    cut = {"kind": "cut", "family": "linkwitz_riley", "order": 4, "corner_hz": 2400.0}
    shelf = {"kind": "shelf", "centre_hz": 400.0, "depth_db": 5.0}
    document = {
        "rig": "hall",
        "near_fields": ["cone"] + ["port"] * (tuning_hz is not None),
        "cabinet": cabinet,
        "enclosures": [body, {"name": "dome's chamber", "volume_m3": 0.0002, "drive_units": [dome]}],
        "branches": [
            {"name": "low", "drivers": cones, "sections": [{**cut, "passes": "low"}, shelf]},
            {"name": "high", "drivers": ["dome"], "sections": [{**cut, "passes": "high"}], "pad_db": 10.0},
        ],
    }
    made = described(from_text(name, toml_text(document), toml_text(_rig(shape))))
    for radiator in made.facts["unit"]["radiators"]:
        if radiator["name"] in cones[1:]:
            radiator["same_as"] = cones[0]
    return made


def _rig(shape: Shape) -> dict[str, Any]:
    """The hall: two metres, a floor 2.6 m below, no noise but what `bench.quiet` puts in.

    Over a box there is no ceiling, which would come after the gate and cost a third of the work.
    """
    return {
        "air": {"temperature_c": 20.0},
        "turntable": {"distance_m": 2.0, "rotation_behind_m": 0.1},
        "session": {"drive_v": 2.83, "tail_s": 0.32, "seed": 11},
        "near_field": {"gap_m": 0.007, "drive_v": 0.283},
        "room": {"ambient_pa": 0.0, "surfaces": _ROOM if shape == "ball" else _ROOM[:1]},
        "microphone": {"resonance_hz": 24000.0, "q": 1.1, "bass_limit_hz": 3.0, "noise_pa": 0.0},
        "chain": {"sample_rate_hz": 48000, "full_scale_pa": 20.0, "latency_s": 0.0041, "edge_hz": 22200.0},
        "stimulus": {"first_hz": 10.0, "last_hz": 22000.0, "wanted_s": 3.0, "peak": 0.5},
    }


def _parts(enclosure: Table) -> list[Table]:
    return [*enclosure.tables("drive_units"), *enclosure.tables("ports")]


def _stated(cabinet: Mapping[str, Any]) -> dict[str, Any]:
    """A cabinet as a case states it."""
    return {("edge_m" if key == "edge_radius_m" else key): value for key, value in cabinet.items()}


def _radiator(part: Mapping[str, Any], cabinet: Mapping[str, Any]) -> dict[str, Any]:
    """A drive unit or port as a case states it; in a box it sits on the front or the back."""
    at = part["at"]
    if cabinet["shape"] == "sphere":
        radius = cabinet["diameter_m"] / 2.0
        up, azimuth = math.radians(at["elevation_deg"]), math.radians(at.get("azimuth_deg", 0.0))
        place = {"up_m": radius * math.sin(up), "left_m": radius * math.cos(up) * math.sin(azimuth)}
        face = "front" if math.cos(azimuth) > 0.0 else "back"
    else:
        place = {"up_m": at["up_m"], "left_m": at.get("across_m", 0.0)}
        face = at.get("face", "front")
    return {"name": part["name"], "diameter_m": part["diameter_m"], "face": face, **place}


#: What is held against stated limits, by name.
MADE: Final[dict[str, Callable[[], Made]]] = {
    "closed ball": lambda: closed("ball"),
    "vented ball": lambda: vented("ball"),
    "cobble_two": lambda: described(load("cobble_two")),
    "closed box": lambda: closed("box"),
    "vented box": lambda: vented("box"),
    "closed tower": lambda: closed("tower"),
    "vented tower": lambda: vented("tower"),
}
