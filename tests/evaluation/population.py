"""Which loudspeakers are evaluated: ranges of seeds, and a family that nothing is ever tuned on.

**Seeds.** `generate(seed)` is the population, as it stands in docs/virtual_workshop.md. `TUNING` is for
building; `HELD_OUT` is looked at when a version is finished. Other ranges are taken: tests of the workshop
use seeds below 1000, `make accuracy` 1000 to 1199.

**The foreign family** has what no fit assumes: two woofers that differ, above and below the tweeter, in a
ball or in a box, on a turntable that errs by 2 degrees; the front edges of every fourth case are bevelled,
if it is a box; every other case has lost its phase. Its faults are drawn by the generator.

**The family of second woofers** is for building scenes of more than two radiators. It is drawn otherwise: a
second woofer of the same make lies below the first in a taller box, or in a ball with the tweeter on top.
"""

from __future__ import annotations

import copy
import tomllib
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import Scenario, from_text
from earwitness.virtual.toml_text import toml_text

TUNING: Final = range(20_000, 30_000)
HELD_OUT: Final = range(30_000, 40_000)
FOREIGN: Final = range(40_000, 50_000)
#: Of the tuning range: two-ways that are given a second woofer.
SECOND_WOOFERS: Final = range(20_400, 20_500)

#: Of the foreign family: share of the woofer's size that the second has, and how far the edges are bevelled.
SECOND_WOOFER: Final = (0.6, 0.95)
EDGE_M: Final = (0.008, 0.025)
ANGLE_SPREAD_DEG: Final = 2.0
#: One box in so many has bevelled edges: it takes ten times as long.
BEVELLED: Final = 4
#: Of the family of second woofers: clear space between both, what takes back their sum, elevations in a ball.
BETWEEN_M: Final = (0.015, 0.05)
BOTH_DB: Final = 6.02
IN_BALL_DEG: Final = {"woofer": 2.0, "lower woofer": -46.0, "tweeter": 44.0}
#: Share of a ball's diameter by which a driver's centre lies above or below the middle, at most.
WITHIN_BALL: Final = 0.46


@dataclass(frozen=True)
class Drawn:
    """A case to be: its seed, its loudspeaker in its rig, and whether its phase is known."""

    seed: int
    scenario: Scenario
    has_phase: bool = True


def draw(seed: int) -> Drawn:
    """The case of a seed, of the family to which the seed belongs."""
    if seed in FOREIGN:
        return foreign(seed)
    if seed in SECOND_WOOFERS:
        return second_woofers(seed)
    texts = generate(seed)
    return Drawn(seed, from_text(f"drawn {seed}", texts.loudspeaker, texts.rig))


def foreign(seed: int) -> Drawn:
    """What the generator draws, changed as the module says."""
    texts = generate(seed)
    document, rig = tomllib.loads(texts.loudspeaker), tomllib.loads(texts.rig)
    lots = np.random.default_rng([seed, 40])
    cabinet = document["cabinet"]
    share = float(lots.uniform(*SECOND_WOOFER))
    first = document["enclosures"][0]["drive_units"][0]
    second = _second(first, share)
    if cabinet["shape"] == "sphere":
        size = cabinet["diameter_m"]
        first["at"] = {"elevation_deg": -38.0}
        second["at"] = {"elevation_deg": 38.0}
        document["enclosures"][1]["drive_units"][0]["at"] = {"elevation_deg": 0.0}
        _shrink(first, WITHIN_BALL * size)
        _shrink(second, WITHIN_BALL * size * share)
    else:
        edge = float(f"{lots.uniform(*EDGE_M):.3g}") if seed % BEVELLED == 0 else 0.0
        cabinet["edge_radius_m"] = edge
        cabinet["width_m"] += 3.0 * edge
        above = second["diameter_m"] / 2.0 + 0.035
        grown = second["diameter_m"] + 0.05
        cabinet["height_m"] += grown + 3.0 * edge
        cabinet["reference_up_m"] -= grown / 2.0
        second["at"] = {"up_m": float(f"{above:.4g}"), "round_one_edge_from_hz": 6000.0}
    document["enclosures"][0]["drive_units"].append(second)
    document["branches"][0]["drivers"].append(second["name"])
    rig["turntable"]["angle_spread_deg"] = ANGLE_SPREAD_DEG
    name = f"foreign {seed}"
    return Drawn(seed, from_text(name, toml_text(document), toml_text(rig)), has_phase=seed // 2 % 2 == 0)


def second_woofers(seed: int) -> Drawn:
    """What the generator draws, with another woofer of the same make below the first."""
    texts = generate(seed)
    document = tomllib.loads(texts.loudspeaker)
    lots = np.random.default_rng([seed, 41])
    cabinet, body = document["cabinet"], document["enclosures"][0]
    first = body["drive_units"][0]
    second = copy.deepcopy(first)
    second["name"] = "lower woofer"
    second.pop("bending", None)
    tweeter = document["enclosures"][1]["drive_units"][0]
    if cabinet["shape"] == "sphere":
        for unit in (first, second, tweeter):
            unit["at"] = {"elevation_deg": IN_BALL_DEG[unit["name"]]}
            _shrink(unit, 0.38 * cabinet["diameter_m"])
    else:
        lower = first["diameter_m"] + float(f"{lots.uniform(*BETWEEN_M):.3g}")
        cabinet["height_m"] += lower
        cabinet["reference_up_m"] += lower / 2.0
        second["at"] = {**first["at"], "up_m": first["at"]["up_m"] - lower}
    body["drive_units"].append(second)
    document["branches"][0]["drivers"].append(second["name"])
    document["branches"][0]["pad_db"] = BOTH_DB
    return Drawn(seed, from_text(f"second woofer {seed}", toml_text(document), texts.rig))


def _second(first: dict[str, Any], share: float) -> dict[str, Any]:
    """A smaller woofer: area and mass follow its size, the suspension is as stiff for its mass."""
    second = copy.deepcopy(first)
    second["name"] = "upper woofer"
    second.pop("bending", None)
    second["diameter_m"] *= share
    for name in ("mass_kg", "stiffness", "damping"):
        second[name] *= share**2
    if "inside" in second:
        second["inside"] = [1.0, 0.5, 0.85]
    return second


def _shrink(unit: dict[str, Any], most_m: float) -> None:
    """Make a driver fit."""
    unit["diameter_m"] = min(unit["diameter_m"], most_m)
