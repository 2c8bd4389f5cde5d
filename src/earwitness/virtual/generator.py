"""Any number of invented loudspeakers and rigs, drawn from a stated population; same seed, same bytes.

The distributions are in `POPULATION` and in the table of docs/virtual_workshop.md. A generated loudspeaker is
a two-way in a box or a ball, closed or vented, with ideal filters. Up to three faults are drawn without
repetition; each is given a size, and what would be without it. The rig is drawn as well: its room sets how
long a gate can be, its noise what can be seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from earwitness.virtual.designer import BENCH, Wish
from earwitness.virtual.toml_text import toml_text
from earwitness.virtual.voice_coil import VoiceCoil

#: What is drawn between two limits: (low, high, along which scale).
POPULATION: Final[dict[str, tuple[float, float, str]]] = {
    "width_m": (0.15, 0.26, "linear"),
    "height_to_width": (1.6, 2.0, "linear"),
    "depth_to_width": (1.0, 1.4, "linear"),
    "ball_diameter_m": (0.22, 0.34, "linear"),
    "woofer_to_width": (0.52, 0.64, "linear"),
    "woofer_level_db": (84.0, 90.0, "linear"),
    "woofer_resonance_hz": (30.0, 50.0, "log"),
    "tweeter_diameter_m": (0.019, 0.028, "linear"),
    "crossover_hz": (1600.0, 3200.0, "log"),
    "bending_to_crossover": (0.3, 1.2, "log"),
    "bending_q": (3.0, 40.0, "log"),
    "bending_gain_db": (1.0, 9.0, "log"),
    "panel_hz": (130.0, 500.0, "log"),
    "panel_q": (8.0, 50.0, "log"),
    "panel_area_share": (0.25, 0.9, "log"),
    "panel_mass_kg": (0.25, 0.8, "log"),
    "standing_wave_q": (8.0, 30.0, "log"),
    "pipe_diameter_m": (0.045, 0.075, "linear"),
    "delay_s": (40e-6, 250e-6, "log"),
    "level_step_db": (1.0, 5.0, "linear"),
    "lift_hz": (200.0, 8000.0, "log"),
    "lift_db": (1.5, 5.0, "linear"),
    "lift_q": (0.4, 1.2, "linear"),
    "distance_m": (1.0, 2.0, "linear"),
    "height_m": (0.9, 2.2, "linear"),
    "rotation_behind_m": (0.0, 0.15, "linear"),
    "ambient_pa": (0.0002, 0.004, "log"),
    "floor_reflection": (0.6, 0.98, "linear"),
    "temperature_c": (15.0, 27.0, "linear"),
    "angle_spread_deg": (0.0, 1.5, "linear"),
    "humidity_percent": (25.0, 70.0, "linear"),
}
#: Modal mass of a bending cone re its moving mass, counted at the coil.
BENDING_MASS: Final = 12.0
#: A cone's mode changes the level above itself for good by its height re its Q; more than this is no cone.
BENDING_STEP: Final = 0.35
#: Level of the tweeter in half space; the woofer falls by the shelf from its own to the level of both.
TWEETER_DB, SHELF_DB, SHELF_HZ = 93.0, 5.0, 400.0
#: Q of a closed box that is flat.
FLAT_Q: Final = math.sqrt(0.5)
#: The most of a box's depth that a port's length may be.
PORT_IN_DEPTH: Final = 0.8
#: How often a loudspeaker has so many faults: none, one, two, three.
COUNTS: Final = (0.15, 0.40, 0.30, 0.15)
#: How often a kind of fault is drawn first, among those that the loudspeaker can have.
WEIGHTS: Final = {
    "bending": 0.28,
    "panel": 0.12,
    "standing_wave": 0.12,
    "pipe": 0.12,
    "delay": 0.12,
    "polarity": 0.04,
    "level_step": 0.10,
    "lift": 0.10,
}
#: Kinds that only a box with a pipe, or only a box, can have.
NEEDS_BOX: Final = ("panel", "standing_wave")
NEEDS_PORT: Final = ("pipe",)
#: How often a loudspeaker is a ball, and how often it has a port.
BALLS, PORTS = 0.2, 0.5


@dataclass(frozen=True, slots=True)
class Drawn:
    """Two TOML texts: a loudspeaker, and the rig in which it is measured."""

    loudspeaker: str
    rig: str


def generate(seed: int) -> Drawn:
    """The loudspeaker and the rig of a seed; `scenario.from_text` builds them."""
    draws = Draws(np.random.default_rng([seed, 4]))
    document = _loudspeaker(draws, seed)
    return Drawn(toml_text(document), toml_text(_rig(draws, seed)))


@dataclass(frozen=True, slots=True)
class Draws:
    """A generator that knows the population."""

    generator: np.random.Generator

    def of(self, name: str) -> float:
        """A value of a quantity, at four digits as it will be written."""
        low, high, scale = POPULATION[name]
        if scale == "log":
            value = math.exp(self.generator.uniform(math.log(low), math.log(high)))
        else:
            value = self.generator.uniform(low, high)
        return float(f"{value:.4g}")

    def happens(self, chance: float) -> bool:
        """Whether something that is so likely happens."""
        return bool(self.generator.random() < chance)

    def sign(self) -> int:
        """+1 or −1, alike often."""
        return 1 if self.happens(0.5) else -1


def _loudspeaker(draws: Draws, seed: int) -> dict[str, Any]:
    ball, port = draws.happens(BALLS), draws.happens(PORTS)
    width = draws.of("ball_diameter_m" if ball else "width_m")
    height, depth = width * draws.of("height_to_width"), width * draws.of("depth_to_width")
    cone = (0.6 if ball else 1.0) * width * draws.of("woofer_to_width")
    volume = math.pi / 6.0 * width**3 * 0.75 if ball else width * height * depth * 0.7
    down = cone / 2.0 + 0.02 if ball else cone / 2.0 + 0.035
    woofer = _woofer(draws, cone, volume, port)
    body = _body(woofer, ball, volume, _place(ball, width, -down))
    document: dict[str, Any] = {
        "#": f"Drawn with seed {seed}.",
        "rig": "workshop",
        "near_fields": ["woofer"] + ["port"] * port,
        "cabinet": _cabinet(ball, width, height, depth),
        "enclosures": [
            body,
            _chamber(draws, _place(ball, width, 0.02 if ball else 0.0)),
        ],
        "branches": _branches(draws, woofer.level_db),
        "faults": [],
    }
    if port:
        low = 0.0 if ball else -document["cabinet"]["reference_up_m"] - height / 4.0
        body["ports"] = [_port(draws, woofer, volume, 0.75 * width if ball else depth)]
        body["ports"][0]["inside"] = [0.0, 0.5, 0.5 if ball else 0.25]
        body["ports"][0]["at"] = (
            {"elevation_deg": 0.0, "azimuth_deg": 180.0} if ball else {"face": "back", "up_m": low}
        )
    for kind in _kinds(draws, ball, port):
        document["faults"].append(FAULTS[kind](draws, document))
    return document


def _kinds(draws: Draws, ball: bool, port: bool) -> list[str]:
    barred = (NEEDS_BOX if ball else ()) + (() if port else NEEDS_PORT)
    possible = [kind for kind in WEIGHTS if kind not in barred]
    chances = np.array([WEIGHTS[kind] for kind in possible])
    count = int(draws.generator.choice(len(COUNTS), p=COUNTS))
    chosen = draws.generator.choice(len(possible), size=count, replace=False, p=chances / chances.sum())
    return [possible[number] for number in chosen]


def _cabinet(ball: bool, width: float, height: float, depth: float) -> dict[str, Any]:
    if ball:
        return {"shape": "sphere", "diameter_m": width}
    sizes = {"width_m": width, "height_m": height, "depth_m": depth}
    return {"shape": "box", **sizes, "reference_up_m": height / 2.0 - 0.2 * width}


def _place(ball: bool, width: float, up: float) -> dict[str, Any]:
    return {"elevation_deg": math.degrees(math.asin(2.0 * up / width))} if ball else {"up_m": up}


def _woofer(draws: Draws, cone: float, volume: float, port: bool) -> Wish:
    """The driver that suits its box: closed with Q 1/√2, or vented by Keele's rules (`tuning_hz`)."""
    resonance, level = draws.of("woofer_resonance_hz"), draws.of("woofer_level_db")

    def wish(q: float) -> Wish:
        return Wish(cone, resonance, q, 4.0, level, 3.6, 0.012)

    def too_large(q: float) -> bool:
        it = wish(q)
        if port:
            return bool(15.0 * it.total_q**2.87 * it.equivalent_volume_m3 > volume)
        return it.total_q * math.sqrt(1.0 + it.equivalent_volume_m3 / volume) > FLAT_Q

    low, high = 0.05, 2.0
    for _ in range(50):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if too_large(middle) else (middle, high)
    return wish(float(f"{low:.4g}"))


def _port(draws: Draws, woofer: Wish, volume: float, depth: float) -> dict[str, Any]:
    """Tuned by Keele's rule, 0.42·fs·Q^−0.9 (JAES 29 (1981) 612; recalled), and narrow enough to fit."""
    tuning = 0.42 * woofer.resonance_hz * woofer.total_q**-0.9
    widest = PORT_IN_DEPTH * depth * volume * (2.0 * math.pi * tuning / BENCH.speed) ** 2 * 4.0 / math.pi
    diameter = min(draws.of("pipe_diameter_m"), math.sqrt(widest))
    return {
        "name": "port",
        "diameter_m": float(f"{diameter:.4g}"),
        "tuning_hz": float(f"{tuning:.4g}"),
    }


def _body(woofer: Wish, ball: bool, volume: float, at: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": "body",
        "volume_m3": volume,
        "losses": {"at_hz": 45.0, "leak": 10.0, "absorption": 60.0, "port": 60.0},
        "drive_units": [
            {
                "name": "woofer",
                "at": at if ball else {**at, "round_one_edge_from_hz": 6000.0},
                **woofer.values(),
            }
        ],
    }


def _chamber(draws: Draws, at: dict[str, Any]) -> dict[str, Any]:
    wish = Wish(draws.of("tweeter_diameter_m"), 900.0, 0.9, 3.0, TWEETER_DB, 3.4, 0.004, 1e-5)
    unit = {"name": "tweeter", "at": at, **wish.values()}
    return {"name": "tweeter's chamber", "volume_m3": 0.0002, "drive_units": [unit]}


def _branches(draws: Draws, woofer_db: float) -> list[dict[str, Any]]:
    corner = draws.of("crossover_hz")
    cut = {"kind": "cut", "family": "linkwitz_riley", "order": 4, "corner_hz": corner}
    step = {"kind": "shelf", "centre_hz": SHELF_HZ, "depth_db": SHELF_DB}
    pad = float(f"{TWEETER_DB - (woofer_db - SHELF_DB):.4g}")
    return [
        {"name": "woofer", "drivers": ["woofer"], "sections": [{**cut, "passes": "low"}, step]},
        {"name": "tweeter", "drivers": ["tweeter"], "sections": [{**cut, "passes": "high"}], "pad_db": pad},
    ]


def _bending(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    """Height √(1 + (Q·area/mass)²) and Q as they are in the driver, whose coil takes part of its own Q."""
    corner = document["branches"][0]["sections"][0]["corner_hz"]
    woofer = document["enclosures"][0]["drive_units"][0]
    q, gain = draws.of("bending_q"), 10.0 ** (draws.of("bending_gain_db") / 20.0)
    swing = math.sqrt(gain**2 - 1.0)
    q = max(q, swing / BENDING_STEP)
    frequency = corner * draws.of("bending_to_crossover")
    turn = 2j * math.pi * frequency
    coil = VoiceCoil(**woofer["coil"]).impedance(np.array([frequency]))[0]
    link = woofer["damping"] + woofer["stiffness"] / turn + woofer["force_factor"] ** 2 / coil
    braking = (link / (1.0 + link / (turn * woofer["mass_kg"]))).real
    woofer["bending"] = [
        {
            "name": "cone bends",
            "frequency_hz": frequency,
            "q": 1.0 / (1.0 / q - braking / (BENDING_MASS * woofer["mass_kg"] * abs(turn))),
            "mass_share": BENDING_MASS,
            "area_share": draws.sign() * BENDING_MASS * swing / q,
        }
    ]
    note = "A resonance of the woofer's cone."
    return {"name": "bending", "cause": "resonance", "note": note, "silences": ["cone bends"]}


def _panel(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    cabinet = document["cabinet"]
    across = 0.8 * min(cabinet["depth_m"], cabinet["height_m"])
    middle = -cabinet["reference_up_m"]
    mouth = {
        "name": "wall",
        "inside": [0.5, 1.0, 0.5],
        "at": {
            "face": "left",
            "up_m": middle,
            "across_m": -cabinet["depth_m"] / 2.0,
            "round_one_edge_from_hz": 800.0,
        },
        "diameter_m": across,
        "area_m2": draws.of("panel_area_share") * math.pi * across**2 / 4.0,
    }
    panel = {
        "name": "left wall",
        "kind": "panel",
        "mass_kg": draws.of("panel_mass_kg"),
        "frequency_hz": draws.of("panel_hz"),
        "q": draws.of("panel_q"),
        "carries": {"woofer": 0.1},
        "mouths": [mouth],
    }
    document["enclosures"][0]["resonators"] = [panel]
    return {
        "name": "panel",
        "cause": "resonance",
        "note": "A resonance of the left wall.",
        "silences": ["left wall"],
    }


def _standing_wave(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    cabinet, body = document["cabinet"], document["enclosures"][0]
    body["size_m"] = [cabinet[key] - 0.03 for key in ("depth_m", "width_m", "height_m")]
    body["waves"] = [{"name": "upright wave", "half_waves": [0, 0, 1], "q": draws.of("standing_wave_q")}]
    height = (cabinet["reference_up_m"] + body["drive_units"][0]["at"]["up_m"]) / cabinet["height_m"]
    body["drive_units"][0]["inside"] = [1.0, 0.5, 0.5 + height]
    note = "A standing wave over the height of the box."
    return {"name": "standing_wave", "cause": "port_or_cavity", "note": note, "silences": ["upright wave"]}


def _pipe(_: Draws, document: dict[str, Any]) -> dict[str, Any]:
    document["enclosures"][0]["ports"][0]["resonant"] = True
    note = "The port is heard as a pipe."
    return {"name": "pipe", "cause": "port_or_cavity", "note": note, "silences": ["port"]}


def _delay(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    late = document["branches"][0 if draws.happens(0.5) else 1]
    late["delay_s"] = draws.of("delay_s")
    path = f"branches.{late['name']}.delay_s"
    note = f"The {late['name']}'s signal comes late."
    return {"name": "delay", "cause": "crossover_misalignment", "note": note, "instead": {path: 0.0}}


def _polarity(_: Draws, document: dict[str, Any]) -> dict[str, Any]:
    document["branches"][1]["polarity"] = -1
    note = "The tweeter is wired the wrong way round."
    instead = {"branches.tweeter.polarity": 1.0}
    return {"name": "polarity", "cause": "crossover_misalignment", "note": note, "instead": instead}


def _level_step(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    tweeter = document["branches"][1]
    instead = {"branches.tweeter.pad_db": tweeter["pad_db"]}
    tweeter["pad_db"] += draws.sign() * draws.of("level_step_db")
    note = "The tweeter's level is wrong."
    return {"name": "level_step", "cause": "voicing", "note": note, "instead": instead}


def _lift(draws: Draws, document: dict[str, Any]) -> dict[str, Any]:
    gain = draws.sign() * draws.of("lift_db")
    bell = {"kind": "bell", "centre_hz": draws.of("lift_hz"), "gain_db": gain, "q": draws.of("lift_q")}
    instead = {}
    for branch in document["branches"]:
        branch["sections"].append(bell)
        instead[f"branches.{branch['name']}.sections.{len(branch['sections'])}.gain_db"] = 0.0
    note = "A broad lift or hollow in the filters of both ways."
    return {"name": "lift", "cause": "voicing", "note": note, "instead": instead}


FAULTS: Final[dict[str, Callable[[Draws, dict[str, Any]], dict[str, Any]]]] = {
    "bending": _bending,
    "panel": _panel,
    "standing_wave": _standing_wave,
    "pipe": _pipe,
    "delay": _delay,
    "polarity": _polarity,
    "level_step": _level_step,
    "lift": _lift,
}


def _rig(draws: Draws, seed: int) -> dict[str, Any]:
    height = draws.of("height_m")
    return {
        "#": f"Drawn with seed {seed}.",
        "air": {
            "temperature_c": draws.of("temperature_c"),
            "humidity_percent": draws.of("humidity_percent"),
        },
        "turntable": {
            "distance_m": draws.of("distance_m"),
            "rotation_behind_m": draws.of("rotation_behind_m"),
            "angle_spread_deg": draws.of("angle_spread_deg"),
        },
        "session": {"drive_v": 2.83, "tail_s": 0.32, "seed": seed},
        "near_field": {"gap_m": 0.007, "drive_v": 0.283},
        "room": {
            "ambient_pa": draws.of("ambient_pa"),
            "surfaces": [
                {"side": "floor", "distance_m": height, "reflection": draws.of("floor_reflection")},
                {"side": "ceiling", "distance_m": 4.4 - height, "reflection": 0.8},
            ],
        },
        "microphone": {"resonance_hz": 24000.0, "q": 1.1, "bass_limit_hz": 3.0, "noise_pa": 0.0002},
        "chain": {"sample_rate_hz": 48000, "full_scale_pa": 40.0, "latency_s": 0.0041, "edge_hz": 22200.0},
        "stimulus": {"first_hz": 10.0, "last_hz": 22000.0, "wanted_s": 3.0, "peak": 0.5},
    }
